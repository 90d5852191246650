"""What breaks in a shop and the test that proves what is done instead, as a table in Markdown.

.venv/bin/python tests/field/behaviours.py
"""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[2]
FILE = Path(__file__).with_suffix(".toml")


def behaviours() -> list[dict[str, Any]]:
    """Every entry, as written."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))["behaviour"]  # type: ignore[no-any-return]


def missing(test: str) -> bool:
    """Whether there is no such test: ``path::name``, or a name alone anywhere."""
    place, _, name = test.rpartition("::")
    files = [PROJECT / place] if place else sorted((PROJECT / "tests").rglob("test_*.py"))
    definition = re.compile(rf"^\s*def {re.escape(name)}\(", re.M)
    return not any(f.is_file() and definition.search(f.read_text(encoding="utf-8")) for f in files)


def table() -> str:
    """All of them, one row each."""
    rows = ["| | what it does | proven by | by hand |", "|---|---|---|---|"]
    for each in behaviours():
        tests = "<br>".join(f"`{test}`" for test in each["tests"])
        what = each["short"] + (f"<br>{each['instead']}" if "instead" in each else "")
        rows.append(f"| {each['number']} | {what} | {tests} | {each.get('hands', '')} |")
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    sys.stdout.write(table())
