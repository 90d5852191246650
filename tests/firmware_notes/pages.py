"""The pages of the firmware notes taken apart: code blocks, their tables, links, words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

NOTES = Path(__file__).resolve().parents[2] / "firmware_notes"
PAGES = sorted(path.name for path in NOTES.glob("*.md"))

_FENCE = re.compile(r"^```(?P<language>[a-z]*)\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL)
_LINK = re.compile(r"!?\[[^\]]*\]\((?P<target>[^)\s]+)\)")

Row = list[str]


@dataclass(frozen=True, slots=True)
class Block:
    """A fenced block.

    Attributes:
        page: File name.
        line: Where its text begins, from 1.
        language: The tag after the fence.
        text: Between the fences.
        table: The first table after it and before the next block, without its head.
    """

    page: str
    line: int
    language: str
    text: str
    table: list[Row]

    def __str__(self) -> str:
        return f"{self.page}:{self.line}"

    @property
    def lines(self) -> list[str]:
        return [line for line in self.text.splitlines() if line.strip()]


def page_text(page: str) -> str:
    return (NOTES / page).read_text(encoding="utf-8")


def blocks(*languages: str) -> list[Block]:
    """Every block of the pages with one of these tags, or all of them."""
    found = []
    for page in PAGES:
        text = page_text(page)
        matches = list(_FENCE.finditer(text))
        for place, match in enumerate(matches):
            until = matches[place + 1].start() if place + 1 < len(matches) else len(text)
            line = text.count("\n", 0, match.start("text")) + 1
            table = next(iter(tables(text[match.end() : until])), [])
            found.append(Block(page, line, match["language"], match["text"], table))
    return [block for block in found if not languages or block.language in languages]


def tables(text: str) -> list[list[Row]]:
    """Every table of a text: rows of cells, head and ruler left out, code marks taken off."""
    found: list[list[Row]] = []
    rows: list[Row] = []
    for line in [*text.splitlines(), ""]:
        if line.startswith("|"):
            cells = line.strip().removeprefix("|").removesuffix("|").split("|")
            rows.append([cell.strip().replace("`", "") for cell in cells])
        elif rows:
            found.append(rows[2:])
            rows = []
    return found


def section(page: str, heading: str) -> str:
    """What stands under a heading, up to the next one of any level."""
    text = page_text(page)
    match = re.search(rf"^#+ {re.escape(heading)}$(.*?)(?=^#|\Z)", text, re.MULTILINE | re.DOTALL)
    assert match is not None, f"{page} has no heading {heading!r}"
    return match[1]


def links(page: str) -> list[str]:
    """Targets of the links of a page."""
    return [match["target"] for match in _LINK.finditer(page_text(page))]


def words(page: str) -> str:
    """The page on one line, for looking up a phrase wherever it is broken."""
    return " ".join(page_text(page).replace("**", "").split())
