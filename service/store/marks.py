"""Milestones in the order of arrival (table ``seq_mark``).

They make two things possible without a column or an index for each reading: to give back the
monotonic arrival time exactly, and to find readings in the order in which they arrived.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import ColumnElement, Connection, literal_column, select

from service.store.schema import STRAY, channel, reading, seq_mark

NEAR_US = 10_000_000
"""A reading whose time is further than this from its arrival is a stray [µs]."""


@dataclass(frozen=True, slots=True)
class Mark:
    """What holds from ``seq`` on, until the next mark; see ``seq_mark``."""

    seq: int
    offset_us: int
    mono_us: int

    @property
    def earliest_us(self) -> int:
        """No reading under this mark, strays apart, has an earlier time [µs UTC]."""
        return self.mono_us + self.offset_us - NEAR_US

    def latest_us(self, following: Mark) -> int:
        """... nor a later one, if ``following`` is the next mark [µs UTC]."""
        return following.mono_us + self.offset_us + NEAR_US


def mark_at(connection: Connection, seq: int | None = None) -> Mark | None:
    """The mark in force at a place in the order; without one, the last of all."""
    query = select(seq_mark).order_by(seq_mark.c.seq.desc()).limit(1)
    if seq is not None:
        query = query.where(seq_mark.c.seq <= seq)
    row = connection.execute(query).first()
    return None if row is None else Mark(row.seq, row.offset_us, row.mono_us)


def marks_between(connection: Connection, from_seq: int, to_seq: int | None) -> list[Mark]:
    """Every mark in force anywhere from ``from_seq`` to ``to_seq``, both included."""
    first = mark_at(connection, from_seq)
    query = select(seq_mark).where(seq_mark.c.seq >= (first.seq if first else from_seq))
    if to_seq is not None:
        query = query.where(seq_mark.c.seq <= to_seq)
    rows = connection.execute(query.order_by(seq_mark.c.seq))
    return [Mark(row.seq, row.offset_us, row.mono_us) for row in rows]


def stray_rows() -> ColumnElement[bool]:
    """The condition of the partial index; a bound parameter in it would not be recognised."""
    return reading.c.flags >= literal_column(str(STRAY))


def by_time() -> ColumnElement[bool]:
    """Always true, and lets the database find times by the primary key, channel by channel.

    Without it (or with a join in its place) SQLite reads the whole table.
    """
    return reading.c.channel_id.in_(select(channel.c.id))
