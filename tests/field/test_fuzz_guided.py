"""The guided fuzzer says clearly when what it needs is not there."""

from __future__ import annotations

import subprocess
import sys
from importlib.util import find_spec

from tests.field import fuzz_guided


def test_it_says_what_it_needs() -> None:
    done = subprocess.run(
        [sys.executable, fuzz_guided.__file__], capture_output=True, text=True, check=False
    )
    if find_spec("atheris") is None:
        assert (done.returncode, done.stderr) == (3, f"{fuzz_guided.ABSENT}\n")
    else:
        assert done.returncode == 2
        assert "say which reader: action" in done.stderr
