"""The house rules a program can check: types, style, floors, and names that do not belong here."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[1]
TOOLS = Path(sys.executable).parent


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "."],
        ["ruff", "format", "--check", "."],
        ["mypy"],
        ["lint-imports"],
    ],
    ids=" ".join,
)
def test_the_tools_find_nothing(command: list[str]) -> None:
    program = TOOLS / command[0]
    found = subprocess.run(
        [program, *command[1:]], cwd=PROJECT, capture_output=True, text=True, check=False
    )
    assert found.returncode == 0, found.stdout + found.stderr


def texts() -> list[Path]:
    rooms = ("service", "dashboard", "tests", "firmware_notes", ".ci")
    ends = {".py", ".md", ".js", ".css", ".html", ".json", ".toml", ".mako", ".conf", ""}
    found = [PROJECT / name for name in ("README.md", "DEVELOPERS.md", "pyproject.toml")]
    for room in rooms:
        found += [p for p in (PROJECT / room).rglob("*") if p.is_file() and p.suffix in ends]
    return [path for path in found if "__pycache__" not in path.parts and path != Path(__file__)]


@pytest.mark.parametrize(
    ("what", "pattern"),
    [
        ("work left open", r"\b(TODO|FIXME|XXX|NotImplementedError)\b"),
        ("a path of one machine", r"(?<![\w.])/(home|Users|work|root)/\w"),
        ("a promise nobody can make", r"(?i)\bweld is (sound|good|safe)\b(?!.*never)"),
    ],
)
def test_nothing_in_the_project_has(what: str, pattern: str) -> None:
    hits = []
    for path in texts():
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
            if re.search(pattern, line) and "never" not in line.lower():
                hits.append(f"{path.relative_to(PROJECT)}:{number}: {line.strip()[:100]}")
    assert not hits, f"{what}: " + "\n".join(hits)
