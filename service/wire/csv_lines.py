"""Comma-separated lines with a header, from an instrument's own log or a simple board.

Two shapes are read, told apart by the header::

    time,port2 [Cel],argon [l/min]          time,channel,value,unit
    2026-03-01T08:15:00Z,312.5,12.0         2026-03-01T08:15:00Z,port2,312.5,Cel

Fields are separated by commas, semicolons or tabs (then a decimal comma is read too); an empty
field is no reading. ``time`` is RFC 3339 with its zone, or seconds since 1970. Smaller numbers
of seconds (a log that counts from its own start) say nothing about when; such rows, and rows
without a time, count from their arrival.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from datetime import datetime

from service.wire.pack import Pack, Reject, RejectCause, shown
from service.wire.plain import plain_text
from service.wire.resolve import ABSOLUTE_BEFORE_S, ABSOLUTE_FROM_S
from service.wire.text_units import NOW, When, text_measurement

_TIME_COLUMNS = {"time", "time_utc", "timestamp", "t", "t_s"}
_COLUMN = re.compile(r"(?P<name>[^\[\](]+)(?:\[(?P<square>[^\]]*)\]|\((?P<round>[^)]*)\))?")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_SUFFIXES = {
    "_c": "Cel",
    "_f": "degF",
    "_k": "K",
    "_l_min": "l/min",
    "_ppm": "ppm",
    "_mv": "mV",
    "_pa": "Pa",
    "_a": "A",
}
"""Column names that carry their unit last, as ours do."""


@dataclass(frozen=True, slots=True)
class _Header:
    delimiter: str
    cells: tuple[str, ...]
    time: int | None
    long: tuple[int, int, int | None] | None
    """Places of channel, value and unit in the long shape."""
    wide: tuple[tuple[int, str, str | None], ...]
    """Place, channel and unit of each column in the wide shape."""


class CsvLines:
    """Rows after a header.

    Args:
        header: The header line where the instrument sends none; a line that is a header still
            replaces it.

    Raises:
        ValueError: ``header`` is not one.
    """

    def __init__(self, header: str | None = None) -> None:
        self._given: _Header | None = None
        if header is not None:
            self._given = _read_header(header)
            if self._given is None:
                raise ValueError(f"{shown(header)} is not a header with names and units")
        self._header = self._given

    def restart(self) -> None:
        """The next line should be the header again."""
        self._header = self._given

    def decode(self, line: bytes) -> list[Pack]:
        text = plain_text(line)
        if isinstance(text, Reject):
            return [Pack(rejects=[text])]
        header = _read_header(text)
        if header is not None:
            self._header = header
            return []
        pack = Pack()
        if self._header is None:
            reject = Reject(RejectCause.LABEL, f"{shown(text)} came before any header")
            pack.rejects.append(reject)
        else:
            _read_row(self._header, text, pack)
        return [pack]


def _split(text: str, delimiter: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([text], delimiter=delimiter), [])]


def _read_header(text: str) -> _Header | None:
    """The header a line is, or ``None``: a header holds names and no number."""
    delimiter = next((mark for mark in "\t;," if mark in text), ",")
    try:
        cells = _split(text, delimiter)
    except csv.Error:
        return None
    if any(_NUMBER.fullmatch(cell.replace(",", ".")) for cell in cells):
        return None
    names = [cell.lower() for cell in cells]
    time = next((place for place, name in enumerate(names) if name in _TIME_COLUMNS), None)
    if "channel" in names and "value" in names:
        unit = names.index("unit") if "unit" in names else None
        long = (names.index("channel"), names.index("value"), unit)
        return _Header(delimiter, tuple(cells), time, long, ())
    wide = tuple(
        column
        for place, cell in enumerate(cells)
        if place != time and (column := _column(place, cell)) is not None
    )
    if not any(unit for _, _, unit in wide):
        return None
    return _Header(delimiter, tuple(cells), time, None, wide)


def _column(place: int, cell: str) -> tuple[int, str, str | None] | None:
    match = _COLUMN.fullmatch(cell)
    if match is None:
        return None
    name, unit = match["name"].strip(), match["square"] or match["round"]
    if unit is None:
        for suffix, meant in _SUFFIXES.items():
            if name.lower().endswith(suffix) and len(name) > len(suffix):
                return place, name[: -len(suffix)], meant
    return place, name, unit.strip() if unit else None


def _read_row(header: _Header, text: str, pack: Pack) -> None:
    try:
        cells = _split(text, header.delimiter)
    except csv.Error as error:
        pack.rejects.append(Reject(RejectCause.SYNTAX, f"{shown(text)}: {error}"))
        return
    if len(cells) != len(header.cells):
        what = f"{shown(text)} has {len(cells)} fields; the header has {len(header.cells)}"
        pack.rejects.append(Reject(RejectCause.SYNTAX, what))
        return
    when = NOW if header.time is None else _time(cells[header.time])
    if isinstance(when, Reject):
        pack.rejects.append(when)
        return
    if header.delimiter != ",":
        cells = [cell.replace(",", ".") for cell in cells]
    if header.long is not None:
        channel, value, unit = header.long
        _take(pack, cells[channel], cells[value], None if unit is None else cells[unit], when)
        return
    for place, name, unit_name in header.wide:
        _take(pack, name, cells[place], unit_name, when)


def _take(pack: Pack, name: str, value: str, unit: str | None, when: When) -> None:
    if value:
        text_measurement(pack, name, value, unit or None, when)


def _time(cell: str) -> When | Reject:
    if not cell:
        return NOW
    if _NUMBER.fullmatch(cell.replace(",", ".")):
        seconds = float(cell.replace(",", "."))
        if seconds < ABSOLUTE_FROM_S:
            return NOW
    else:
        try:
            moment = datetime.fromisoformat(cell)
        except ValueError:
            return Reject(RejectCause.TIME, f"time {shown(cell)} is not RFC 3339 or seconds")
        if moment.tzinfo is None:
            return Reject(RejectCause.TIME, f"time {shown(cell)} does not say its zone, as Z does")
        seconds = moment.timestamp()
    if not 0 <= seconds < ABSOLUTE_BEFORE_S:
        return Reject(RejectCause.TIME, f"time {shown(cell)} is before 1970 or after 9999")
    return round(seconds * 1_000_000), 0
