"""A CSV file of some other logger, read by a mapping of its columns that a person has given.

Nothing is guessed that changes a number: units, decimal sign and time zone are as said, or as the
defaults say in the preview. A cell that is no number is kept as a bad reading with what it said; an
empty one is no reading.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

from service.readings import ChannelKind
from service.records.local_time import EPOCH
from service.wire.text_units import TEXT_UNITS, name_fault

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
DECIMALS = {"point": ".", "comma": ","}
ROWS_MOST = 5_000_000
HEADER_WITHIN = 100
"""Loggers write serial numbers and settings first: the header is looked for so far down."""


class BadLoggerFile(ValueError):
    """The file or the mapping cannot be used; one sentence: where, the value, what is allowed."""


@dataclass(frozen=True, slots=True)
class Column:
    """One channel: its name here, the file's column, unit of its numbers, what it measures."""

    channel: str
    title: str
    unit: str
    kind: ChannelKind

    @classmethod
    def parsed(cls, text: str) -> Column:
        """``NAME=COLUMN[:UNIT[:KIND]]``; a colon within a column's title is written ``\\:``."""
        name, sign, rest = text.partition("=")
        marked = rest.replace("\\:", "\0").split(":")
        title, *more = [each.replace("\0", ":").strip() for each in marked]
        fault = name_fault(name.strip())
        if not sign or not title or len(more) > 2:
            raise BadLoggerFile(f"channel {text!r} is not NAME=COLUMN[:UNIT[:KIND]]")
        if fault is not None:
            raise BadLoggerFile(f"channel {text!r}: {fault.text}")
        unit, kind = (*more, "", "")[:2]
        unit, kind = unit or "degC", kind or "thermocouple"
        if unit not in TEXT_UNITS:
            raise BadLoggerFile(f"unit {unit!r} is not one of {', '.join(sorted(TEXT_UNITS))}")
        if kind not in set(ChannelKind):
            raise BadLoggerFile(f"kind {kind!r} is not one of {', '.join(ChannelKind)}")
        return cls(name.strip(), title, unit, ChannelKind(kind))


@dataclass(frozen=True, slots=True)
class Mapping:
    """How the file is to be read.

    Attributes:
        times: Titles of the columns that make up the time, joined by a space.
        time_format: "auto" (ISO 8601 or a number of seconds), "s", "min", "h", or a pattern as for
            ``strptime``.
        start_us: UTC of time zero, where times are counted [µs].
        zone: Of clock times without an offset; ``None``: this machine's.
        columns: The channels.
        delimiter: The character; ``None``: the one that fits.
        decimal: "." or ",".
        encoding: Of the text.
    """

    times: tuple[str, ...]
    columns: tuple[Column, ...]
    time_format: str = "auto"
    start_us: int | None = None
    zone: ZoneInfo | None = None
    delimiter: str | None = None
    decimal: str = "."
    encoding: str = "utf-8-sig"


class Cell(NamedTuple):
    """One value of one channel: number in the unit inside, or why there is none."""

    t_us: int
    channel: str
    unit: str
    value: float | None
    reason: str | None
    line: int


@dataclass(frozen=True, slots=True)
class Table:
    """The file as rows of texts, below its header.

    ``first_line``: line number of the first row (from 1).
    """

    delimiter: str
    header: tuple[str, ...]
    first_line: int
    rows: list[list[str]]


def read_table(path: Path, mapping: Mapping) -> Table:
    """Find delimiter and header, and cut the file into cells.

    Raises:
        BadLoggerFile: Not readable, or no row has all the mapped columns.
    """
    try:
        text = path.read_text(encoding=mapping.encoding)
    except OSError as error:
        raise BadLoggerFile(f"{path}: cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise BadLoggerFile(
            f"{path}: is not {mapping.encoding} text (byte {error.start}); say --encoding, for "
            "instance cp1252"
        ) from error
    except LookupError as error:
        raise BadLoggerFile(f"encoding {mapping.encoding!r} is not known") from error
    tried = [mapping.delimiter] if mapping.delimiter else list(DELIMITERS.values())
    tables = [table for each in tried if (table := _cut(path, text, each, mapping)) is not None]
    if not tables:
        wanted = [*mapping.times, *(each.title for each in mapping.columns)]
        raise BadLoggerFile(
            f"{path}: none of its first {HEADER_WITHIN} lines has the columns "
            f"{', '.join(repr(each) for each in wanted)}; --preview shows what there is"
        )
    return max(tables, key=lambda table: len(table.header))


def _cut(path: Path, text: str, delimiter: str, mapping: Mapping) -> Table | None:
    wanted = {*mapping.times, *(each.title for each in mapping.columns)}
    lines = text.splitlines()
    try:
        rows = list(csv.reader(lines, delimiter=delimiter, strict=False))
    except csv.Error as error:
        raise BadLoggerFile(f"{path}: is not a CSV file: {error}") from error
    if len(rows) > ROWS_MOST:
        raise BadLoggerFile(f"{path}: has {len(rows)} rows; {ROWS_MOST} are allowed")
    for place, row in enumerate(rows[:HEADER_WITHIN]):
        titles = tuple(each.strip() for each in row)
        if wanted <= set(titles) and (wanted or len(titles) > 1):
            return Table(delimiter, titles, place + 2, rows[place + 1 :])
    return None


def cells(path: Path, table: Table, mapping: Mapping) -> Iterator[Cell]:
    """Every value in order of the file.

    Raises:
        BadLoggerFile: A time that cannot be read, or times that go back.
    """
    places = {title: place for place, title in reversed(list(enumerate(table.header)))}
    clock = _Clock(mapping)
    for line, row in enumerate(table.rows, table.first_line):
        if not any(each.strip() for each in row):
            continue
        given = " ".join(_cell(row, places[title]) for title in mapping.times)
        try:
            t_us = clock.read(given)
        except ValueError as error:
            raise BadLoggerFile(f"{path}, line {line}: time {given!r} {error}") from error
        for column in mapping.columns:
            text = _cell(row, places[column.title])
            if text:
                value, reason = _number(text, column, mapping.decimal)
                unit = TEXT_UNITS[column.unit].inside
                yield Cell(t_us, column.channel, unit, value, reason, line)


def _cell(row: Sequence[str], place: int) -> str:
    return row[place].strip() if place < len(row) else ""


def _number(text: str, column: Column, decimal: str) -> tuple[float | None, str | None]:
    unit = TEXT_UNITS[column.unit]
    plain = text.replace(decimal, ".") if decimal != "." else text
    try:
        value = float(plain) * unit.factor + unit.offset
    except ValueError:
        return None, f"the file says {text[:60]!r}"
    if not math.isfinite(value):
        return None, f"the file says {text[:60]!r}"
    return value, None


SCALES_S = {"s": 1.0, "min": 60.0, "h": 3600.0}


class _Clock:
    """Times of the rows, in order; the hour that comes twice is told apart by the order."""

    def __init__(self, mapping: Mapping) -> None:
        self._mapping = mapping
        self._before_us: int | None = None

    def read(self, text: str) -> int:
        t_us = self._one(text)
        before_us, self._before_us = self._before_us, t_us
        if before_us is not None and t_us < before_us:
            raise ValueError(
                "is before that of the row above; rows must be in order of time "
                "(is it another date order, or another time zone?)"
            )
        return t_us

    def _one(self, text: str) -> int:
        kind = self._mapping.time_format
        if kind in SCALES_S or (kind == "auto" and _is_number(text, self._mapping.decimal)):
            return self._counted(text, SCALES_S.get(kind, 1.0))
        try:
            moment = (
                datetime.fromisoformat(text) if kind == "auto" else datetime.strptime(text, kind)  # noqa: DTZ007 - the zone is put on below
            )
        except ValueError as error:
            wanted = "ISO 8601 or a number of seconds" if kind == "auto" else f"like {kind!r}"
            raise ValueError(f"is not {wanted}; say --time-format") from error
        return self._clocked(moment)

    def _counted(self, text: str, scale_s: float) -> int:
        if self._mapping.start_us is None:
            raise ValueError("is counted from a start that was not said; say --start")
        try:
            seconds = float(text.replace(self._mapping.decimal, ".")) * scale_s
            return self._mapping.start_us + round(seconds * 1e6)
        except (ValueError, OverflowError) as error:
            raise ValueError("is not a number") from error

    def _clocked(self, moment: datetime) -> int:
        if moment.tzinfo is not None:
            return _us(moment)
        first, second = (
            _us(moment.replace(tzinfo=self._mapping.zone, fold=fold))
            if self._mapping.zone is not None
            else _us(moment.replace(fold=fold).astimezone(UTC))
            for fold in (0, 1)
        )
        if self._before_us is not None and first < self._before_us <= second:
            return second
        return first


def _us(moment: datetime) -> int:
    return (moment - EPOCH) // timedelta(microseconds=1)


def _is_number(text: str, decimal: str) -> bool:
    try:
        float(text.replace(decimal, "."))
    except ValueError:
        return False
    return True


@dataclass(frozen=True, slots=True)
class Summary:
    """What a preview tells of one channel."""

    channel: str
    unit: str
    good: int
    bad: int
    low: float | None
    high: float | None
    first_bad: Cell | None


def summaries(found: Sequence[Cell], columns: Sequence[Column]) -> list[Summary]:
    """One for each channel, in the order of the mapping."""
    told = []
    for column in columns:
        mine = [each for each in found if each.channel == column.channel]
        values = [each.value for each in mine if each.value is not None]
        bad = [each for each in mine if each.value is None]
        told.append(
            Summary(
                column.channel,
                TEXT_UNITS[column.unit].inside,
                len(values),
                len(bad),
                min(values, default=None),
                max(values, default=None),
                bad[0] if bad else None,
            )
        )
    return told


def usual_step_s(found: Sequence[Cell]) -> float | None:
    """The usual time between rows [s]; ``None``: fewer than two."""
    times_us = sorted({each.t_us for each in found})
    steps = sorted(after - before for before, after in pairwise(times_us))
    return steps[len(steps) // 2] / 1e6 if steps else None
