"""Readings into rows: each once, none lost.

The hot path is one ``executemany`` of a statement compiled beforehand. Only when the database
says that a row was already there is it looked at closer.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

from sqlalchemy import Connection, Dialect, or_, select
from sqlalchemy.dialects import postgresql, sqlite

from service.readings import Quality, Reading
from service.store.codes import CODE_OF, Codes
from service.store.marker import Marker
from service.store.marks import NEAR_US
from service.store.schema import GOOD, STRAY, TIMED, reading

CHAIN_LOOK_BACK_US = 2000
"""How far from the end of a run of moved readings a second delivery is looked for [µs].

A run so long comes only from a source whose clock stands still; a delivery repeated after 2,000
others would then be kept twice.
"""

CHAIN_PIECE = 1000
"""Rows of such a run read at once."""

CHAIN_ENDS_MAX = 256


class Row(NamedTuple):
    """A row of ``reading``, in the order of its columns."""

    channel_id: int
    t_us: int
    value: float | None
    quality: int
    delay_us: int
    seq: int
    unit_id: int
    flags: int
    reason: str | None


@dataclass(slots=True)
class Counts:
    """What became of readings: new rows, second deliveries, and new rows moved by 1 µs or more."""

    new: int = 0
    duplicates: int = 0
    moved: int = 0

    def add(self, other: Counts) -> None:
        self.new += other.new
        self.duplicates += other.duplicates
        self.moved += other.moved


def insert_sql(dialect: Dialect) -> str:
    """``INSERT`` of a row that leaves an existing one alone, for the driver itself."""
    make = postgresql.insert if dialect.name == "postgresql" else sqlite.insert
    return str(make(reading).on_conflict_do_nothing().compile(dialect=dialect))


class ReadingRows:
    """Writes readings inside the caller's transaction."""

    def __init__(self, dialect: Dialect, codes: Codes, marker: Marker) -> None:
        self.sql = insert_sql(dialect)
        self._codes = codes
        self._marker = marker
        self._chain_ends: dict[tuple[int, int], int] = {}
        self._out_of_turn: list[tuple[int, int]] = []

    def forget(self) -> None:
        """After a rollback: what was remembered may not be in the database."""
        self._chain_ends.clear()
        self._out_of_turn.clear()

    def take_out_of_turn(self) -> list[tuple[int, int]]:
        """Channel id and time [µs] of what came at a place in the order that had been passed."""
        taken, self._out_of_turn = self._out_of_turn, []
        return taken

    def insert(self, connection: Connection, readings: Iterable[Reading]) -> Counts:
        """Write readings; second deliveries are recognised and left out."""
        rows = self._rows(connection, readings)
        if not rows:
            return Counts()
        new = connection.exec_driver_sql(self.sql, rows).rowcount
        if new == len(rows):
            return Counts(new=new)
        return self._look_closer(connection, rows, new)

    def plain(self, readings: Iterable[Reading]) -> list[tuple[Any, ...]] | None:
        """The rows of readings that need nothing else written or looked up; ``None``: they do."""
        return self._rows(None, readings)

    def _rows(
        self, connection: Connection | None, readings: Iterable[Reading]
    ) -> list[tuple[Any, ...]] | None:
        """The hot loop: nothing is called in it for a reading like the one before.

        ``None``, and no more than the marker changed, where the database would have to be asked
        and there is no ``connection``.
        """
        rows: list[tuple[Any, ...]] = []
        ids, place, expects = self._codes.ids, self._marker, self._marker.expects
        for each in readings:
            # A reading unpacks in the order of its fields; that is half as dear as asking for each.
            channel, unit, value, quality, reason, t_us, arrived_us, mono_us, seq, timed = each
            known = ids.get((channel, unit))
            if known is None:
                if connection is None:
                    return None
                known = self._codes.of(connection, channel, unit)
            channel_id, unit_id = known
            delay_us = arrived_us - t_us
            flags = TIMED if timed else 0
            if not expects(seq, mono_us, arrived_us):
                if connection is None:
                    return None
                if seq <= place.top_seq:
                    self._out_of_turn.append((channel_id, t_us))
                flags |= place.exceptional(connection, seq, mono_us, arrived_us)
            if not -NEAR_US <= delay_us <= NEAR_US:
                flags |= STRAY
            if value != value:  # noqa: PLR0124 - only NaN differs from itself
                # SQL has no NaN. A decoder never lets one through; should one come all the
                # same, the row says what it was.
                value, reason = None, reason or "not a number"
            code = GOOD if quality is Quality.GOOD else CODE_OF[quality]
            rows.append((channel_id, t_us, value, code, delay_us, seq, unit_id, flags, reason))
        return rows

    def _look_closer(self, connection: Connection, rows: list[tuple[Any, ...]], new: int) -> Counts:
        counts = Counts(new=new)
        for row in map(Row._make, rows):
            there = self._at(connection, row.channel_id, row.t_us)
            if there is None or there.seq == row.seq:
                continue  # this very row: just written, or by an earlier attempt
            if _same(there, row):
                continue
            if self._move_on(connection, row):
                counts.new += 1
                counts.moved += 1
        counts.duplicates = len(rows) - counts.new
        return counts

    def _at(self, connection: Connection, channel_id: int, t_us: int) -> Row | None:
        found = connection.execute(
            select(reading).where(reading.c.channel_id == channel_id, reading.c.t_us == t_us)
        ).first()
        return None if found is None else Row._make(found)

    def _move_on(self, connection: Connection, row: Row) -> bool:
        """Keep a different value at a taken instant, at the next free one.

        Returns:
            ``False`` if it is there already: a second delivery.
        """
        key = (row.channel_id, row.t_us)
        free_us = self._first_free(connection, row.channel_id, self._chain_ends.get(key, row.t_us))
        if self._is_among(connection, row, free_us):
            return False
        moved = row._replace(
            t_us=free_us,
            delay_us=row.delay_us - (free_us - row.t_us),
            flags=row.flags | STRAY,
        )
        connection.exec_driver_sql(self.sql, tuple(moved))
        if (row.channel_id, row.t_us) in self._out_of_turn:
            self._out_of_turn.append((row.channel_id, free_us))
        if len(self._chain_ends) >= CHAIN_ENDS_MAX:
            self._chain_ends.clear()
        self._chain_ends[key] = free_us + 1
        return True

    def _first_free(self, connection: Connection, channel_id: int, at_us: int) -> int:
        """The first instant from ``at_us`` on at which the channel has no reading."""
        while True:
            taken = connection.execute(
                select(reading.c.t_us)
                .where(reading.c.channel_id == channel_id, reading.c.t_us >= at_us)
                .order_by(reading.c.t_us)
                .limit(CHAIN_PIECE)
            ).scalars()
            before_us = at_us
            for t_us in taken:
                if t_us != at_us:
                    return at_us
                at_us += 1
            if at_us - before_us < CHAIN_PIECE:
                return at_us

    def _is_among(self, connection: Connection, row: Row, free_us: int) -> bool:
        """Whether the row is one of the moved ones before ``free_us``."""
        from_us = max(row.t_us, free_us - CHAIN_LOOK_BACK_US)
        alike = connection.execute(
            select(reading).where(
                reading.c.channel_id == row.channel_id,
                reading.c.t_us.between(from_us, free_us - 1),
                or_(reading.c.seq == row.seq, reading.c.value.is_not_distinct_from(row.value)),
            )
        )
        return any(_same(Row._make(other), row) for other in alike)


def _same(there: Row, row: Row) -> bool:
    """Whether ``row`` is a second delivery of what is there.

    Only a source that sends its own times can deliver twice with the same time. Quality is not
    compared: the second delivery may have been judged in another context.
    """
    if there.seq == row.seq:
        return True
    return (
        bool(there.flags & row.flags & TIMED)
        and there.value == row.value
        and there.unit_id == row.unit_id
        and (row.value is not None or there.reason == row.reason)
    )
