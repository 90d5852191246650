"""A heat's readings as CSV: one row for each, in order of run time, nothing left out.

Columns: run seconds, UTC, local time with its offset, channel, what it measures, raw value and unit
as they came, corrected value and unit, quality, reason. UTF-8, comma, CR LF (RFC 4180).

A text that a spreadsheet would take for a formula is written with an apostrophe before it, as its
makers advise; the readings themselves are numbers and stay as they are.
"""

from __future__ import annotations

import csv
from typing import TextIO
from zoneinfo import ZoneInfo

from service.records.gather import clock_of
from service.records.heat_readings import readings_of_heat
from service.records.heat_record import HeatRecord
from service.records.local_time import local_text, utc_text
from service.store.database import Store

COLUMNS = (
    "run_s", "utc", "local", "channel", "measures", "raw", "raw_unit", "corrected",
    "corrected_unit", "quality", "reason",
)  # fmt: skip

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
"""A cell that begins so may be run by a spreadsheet. An apostrophe itself is marked as well, so
that what is marked can be told from what was so."""


def inert(text: str | None) -> str:
    """A text that no spreadsheet runs; ``plain`` gives it back."""
    if text is None:
        return ""
    return f"'{text}" if text.lstrip(" ").startswith(FORMULA_STARTS) else text


def plain(text: str) -> str:
    """What ``inert`` was given."""
    return text[1:] if text.startswith("'") else text


def write_csv(store: Store, record: HeatRecord, zone: ZoneInfo | None, out: TextIO) -> int:
    """Write every reading of the heat's channels; how many there were."""
    kinds = {each.name: each.kind for each in record.channels}
    names: dict[str, None] = dict.fromkeys(kinds)
    terminals = [each.cold_junction for each in record.channels]
    names.update({name: None for name in terminals if name is not None})
    clock = clock_of(store, record.heat_id)
    with store.connect() as connection:
        told = sorted(readings_of_heat(connection, names, clock, record.begun_us, record.to_us))
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for each in told:
        writer.writerow(
            [
                f"{(each.run_us - record.begun_us) / 1e6:.6f}",
                utc_text(each.t_us),
                local_text(each.t_us, zone),
                inert(each.channel),
                inert(kinds.get(each.channel) or ""),
                _number(each.raw),
                inert(each.unit),
                _number(each.corrected),
                inert(each.corrected_unit),
                each.quality,
                inert(each.reason),
            ]
        )
    return len(told)


def _number(value: float | None) -> str:
    return "" if value is None else repr(value)
