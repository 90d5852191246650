"""Keeps the roll-up tables: readings summed up by 10 s, 1 min and 10 min.

The writer calls it within a transaction of its own, every few seconds. The table holds exactly
the readings up to the place in the order that ``rollup_mark`` names; what has come since is few
enough to be summed up when asked for. So nothing needs to be repaired after a kill.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, func, select, true, update
from sqlalchemy.dialects import sqlite
from sqlalchemy.dialects.sqlite import Insert

from service.store.marks import by_time, marks_between, stray_rows
from service.store.schema import STRAY, kept_from, reading, rollup, rollup_mark
from service.store.summing import Figures, raw_figures, slot_of

SPANS_S = (10, 60, 600)
"""Widths of the slots [s]; each a multiple of the one before."""

SECOND_US = 1_000_000

Key = tuple[int, int, int]
"""Channel, unit, slot."""


def rolled_seq(connection: Connection) -> int:
    """The last place in the order that the table holds."""
    return int(connection.execute(select(rollup_mark.c.seq)).scalar_one())


@dataclass(frozen=True, slots=True)
class Where:
    """One channel's readings from one time (included) to another (excluded) [µs UTC]."""

    channel_id: int
    start_us: int
    end_us: int

    def found_by_time(self, earliest_us: int) -> list[ColumnElement[bool]]:
        """For the primary key; none is earlier than ``earliest_us``."""
        return [
            reading.c.channel_id == self.channel_id,
            # One lower bound: of two, the database might search by the worse.
            reading.c.t_us >= max(self.start_us, earliest_us),
            reading.c.t_us < self.end_us,
        ]

    def looked_at(self) -> list[ColumnElement[bool]]:
        """The same as sums, which keep the database from searching by the primary key."""
        return [
            reading.c.channel_id + 0 == self.channel_id,
            reading.c.t_us + 0 >= self.start_us,
            reading.c.t_us + 0 < self.end_us,
        ]


def since(
    connection: Connection, query: Select[Any], seq: int, where: Where | None = None
) -> list[Select[Any]]:
    """A query on ``reading``, in parts that find quickly what came after a place in the order.

    Args:
        connection: Open for reading.
        query: Selects from ``reading`` without conditions on channel and time.
        seq: The place.
        where: Those conditions.
    """
    later = query.where(reading.c.seq > seq)
    parts = [later.where(stray_rows(), *(where.looked_at() if where else ()))]
    marks = marks_between(connection, seq + 1, None)
    if marks:
        earliest_us = min(mark.earliest_us for mark in marks)
        by_key = (
            where.found_by_time(earliest_us)
            if where
            else [by_time(), reading.c.t_us >= earliest_us]
        )
        parts.append(later.where(reading.c.flags < STRAY, *by_key))
    return parts


def roll_up(connection: Connection) -> None:
    """Take in every reading that has come since the last time."""
    before = rolled_seq(connection)
    top_seq, sums = before, dict[Key, Figures]()
    query = _by_slot(SPANS_S[0]).add_columns(func.max(reading.c.seq))
    for part in since(connection, query, before):
        for channel_id, unit_id, slot, *values, part_top_seq in connection.execute(part):
            _add(sums, (channel_id, unit_id, slot), Figures(*values))
            top_seq = max(top_seq, part_top_seq)
    if top_seq == before:
        return
    for finer_s, span_s in zip((SPANS_S[0], *SPANS_S), SPANS_S, strict=False):
        sums = _coarser(sums, span_s // finer_s)
        _merge(connection, span_s, sums)
    connection.execute(update(rollup_mark).values(seq=top_seq))


def mend(connection: Connection, places: Iterable[tuple[int, int]]) -> None:
    """Sum up anew the slots of readings that came out of turn, behind the mark.

    Args:
        connection: In the writing transaction.
        places: Channel id and time [µs] of each.
    """
    rolled = rolled_seq(connection)
    gone_us = connection.execute(select(kept_from.c.from_us).where(kept_from.c.span_s == 0))
    # What was thrown away cannot be summed up again: there a late reading stands by itself.
    from_us = gone_us.scalar()
    places = [place for place in places if from_us is None or place[1] >= from_us]
    for span_s in SPANS_S:
        width_us = span_s * SECOND_US
        for channel_id, slot in sorted({(place[0], place[1] // width_us) for place in places}):
            connection.execute(
                rollup.delete().where(
                    rollup.c.span_s == span_s,
                    rollup.c.channel_id == channel_id,
                    rollup.c.slot == slot,
                )
            )
            rows = connection.execute(
                _by_slot(span_s).where(
                    reading.c.seq <= rolled,
                    reading.c.channel_id == channel_id,
                    reading.c.t_us >= slot * width_us,
                    reading.c.t_us < (slot + 1) * width_us,
                )
            )
            sums = {(row[0], row[1], row[2]): Figures(*row[3:]) for row in rows}
            _merge(connection, span_s, sums)


def _by_slot(span_s: int) -> Select[Any]:
    """Readings summed up by channel, unit and slot."""
    slot = slot_of(reading.c.t_us, span_s * SECOND_US).label("slot")
    return select(reading.c.channel_id, reading.c.unit_id, slot, *raw_figures(true())).group_by(
        reading.c.channel_id, reading.c.unit_id, slot
    )


def _add(sums: dict[Key, Figures], key: Key, figures: Figures) -> None:
    there = sums.get(key)
    if there is None:
        sums[key] = figures
    else:
        there.add(figures)


def _coarser(sums: dict[Key, Figures], factor: int) -> dict[Key, Figures]:
    coarser: dict[Key, Figures] = {}
    for (channel_id, unit_id, slot), figures in sums.items():
        _add(coarser, (channel_id, unit_id, slot // factor), figures.copy())
    return coarser


def _merge(connection: Connection, span_s: int, sums: dict[Key, Figures]) -> None:
    """Add to the rows that are there, or make them."""
    if sums:
        # Through the driver, like the readings: the figures of a slot come once in ten of those.
        connection.exec_driver_sql(
            _UPSERT, [(span_s, *key, *figures.values()) for key, figures in sums.items()]
        )


def _upsert() -> Insert:
    insert = sqlite.insert(rollup)
    new = insert.excluded

    def either(pick: Callable[..., Any], name: str) -> ColumnElement[Any]:
        """The lower or higher one; SQLite's ``min`` of two is nothing if one is nothing."""
        return func.coalesce(pick(rollup.c[name], new[name]), rollup.c[name], new[name])

    def together(name: str) -> ColumnElement[Any]:
        return func.coalesce(rollup.c[name] + new[name], rollup.c[name], new[name])

    return insert.on_conflict_do_update(
        index_elements=list(rollup.primary_key),
        set_={
            "low": either(func.min, "low"),
            "high": either(func.max, "high"),
            "first_us": either(func.min, "first_us"),
            "last_us": either(func.max, "last_us"),
        }
        | {name: together(name) for name in ("total", "good", "suspect", "bad")},
    )


_UPSERT = str(_upsert().compile(dialect=sqlite.dialect(paramstyle="qmark")))
