"""What a decoder made of a line, in the words of the pages' tables."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from service.readings import Measurement
from service.wire.pack import Pack
from tests.firmware_notes.pages import Row


def row_of(found: Measurement) -> Row:
    """What the page's table says of a measurement."""
    if found.value is None:
        reads = "no number"
    elif found.unit == "on/off":
        reads = "on" if found.value else "off"
    else:
        reads = f"{found.value:.9g} {found.unit}"
    time = "arrival"
    if found.time_us is not None:
        moment = datetime.fromtimestamp(found.time_us / 1e6, UTC)
        time = f"{moment:%Y-%m-%dT%H:%M:%S.%f}".rstrip("0").rstrip(".") + "Z"
    elif found.offset_us:
        time = f"arrival − {-found.offset_us / 1e6:g} s"
    if found.update_us is not None:
        time += f", next within {found.update_us / 1e6:g} s"
    return [found.name, reads, found.reason or "", time]


def rows_of(packs: Iterable[Pack]) -> list[Row]:
    """The measurements of some packs, then their refusals."""
    packs = list(packs)
    found = [row_of(each) for pack in packs for each in pack.measurements]
    return found + [
        [f"refused: {each.cause}", "", "", ""] for pack in packs for each in pack.rejects
    ]
