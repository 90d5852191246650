"""The dependency audit says what it did and never passes in silence."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

AUDIT = Path(__file__).resolve().parents[1] / ".ci" / "audit"

SOUND = {"name": "flask", "version": "3.1.0", "vulns": []}
SKIPPED = {"name": "alembic", "skip_reason": "Dependency not found and could not be audited"}
WEAK = {
    "name": "waitress",
    "version": "1.0",
    "vulns": [{"id": "CVE-0000-0", "fix_versions": ["3.0.1"]}],
}


@pytest.mark.parametrize(
    ("packages", "code", "said"),
    [
        ([SOUND], 0, ["1 of 1 looked up, 0 weak"]),
        ([SOUND, SKIPPED], 0, ["1 of 2 looked up", "not looked up: alembic"]),
        ([SKIPPED], 0, ["NOT DONE: none of 1 packages", "not looked up: alembic"]),
        ([SOUND, WEAK], 1, ["waitress 1.0: CVE-0000-0, mended in 3.0.1", "1 weak"]),
        (None, 0, ["NOT DONE: no report"]),
    ],
)
def test_what_is_said(tmp_path: Path, packages: object, code: int, said: list[str]) -> None:
    report = tmp_path / "report.json"
    report.write_text("" if packages is None else json.dumps({"dependencies": packages}))
    done = subprocess.run(
        [sys.executable, str(AUDIT), str(report)], capture_output=True, text=True, check=False
    )
    assert done.returncode == code, done.stderr
    for words in said:
        assert words in done.stdout
