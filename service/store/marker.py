"""Sets the marks (table ``seq_mark``) while readings are written in order of arrival."""

from __future__ import annotations

from sqlalchemy import Connection, select

from service.readings import Reading
from service.store.arrivals import highest, latest_mono_us
from service.store.marks import NEAR_US, Mark, mark_at
from service.store.schema import seq_mark

RENEW_US = 600_000_000
"""A mark is followed by another after this time [µs] ..."""

RENEW_SEQ = 4096
"""... or this many places in the order, so that a look-up reads little too much."""


class Marker:
    """Knows the mark in force and where in the order the database stands."""

    def __init__(self) -> None:
        self._mark: Mark | None = None
        self._top_seq = 0
        self._top_mono_us = 0

    def load(self, connection: Connection) -> None:
        """Take up where the database stands; also after a transaction that was rolled back."""
        self._mark = mark_at(connection)
        self._top_seq, self._top_mono_us = highest(connection)

    def is_stray(self, connection: Connection, item: Reading) -> bool:
        """Place a reading under a mark, made if needed; whether it is to be found by ``seq``."""
        if item.seq <= self._top_seq:
            self._out_of_turn(connection, item)
            return True
        self._top_seq = item.seq
        in_step = item.mono_us >= self._top_mono_us
        if in_step:
            self._top_mono_us = item.mono_us
        offset_us = item.arrived_us - item.mono_us
        mark = self._mark
        if (
            mark is None
            or offset_us != mark.offset_us
            or item.seq - mark.seq >= RENEW_SEQ
            or self._top_mono_us - mark.mono_us >= RENEW_US
        ):
            self._mark = Mark(item.seq, offset_us, self._top_mono_us)
            _insert(connection, self._mark)
        return not in_step or not -NEAR_US <= item.arrived_us - item.t_us <= NEAR_US

    def _out_of_turn(self, connection: Connection, item: Reading) -> None:
        """A place in the order that has been passed: a second delivery, or a late hand-over."""
        offset_us = item.arrived_us - item.mono_us
        mark = mark_at(connection, item.seq)
        if mark is None:
            _insert(connection, Mark(item.seq, offset_us, item.mono_us))
        elif mark.offset_us != offset_us:
            if mark.seq == item.seq:
                raise ValueError(f"two readings have the place {item.seq} in the order")
            mono_us = latest_mono_us(connection, mark, item.seq)
            _insert(connection, Mark(item.seq, offset_us, mono_us))
            if not _is_mark(connection, item.seq + 1):
                _insert(connection, Mark(item.seq + 1, mark.offset_us, mono_us))
        self._mark = mark_at(connection)


def _is_mark(connection: Connection, seq: int) -> bool:
    found = connection.execute(select(seq_mark.c.seq).where(seq_mark.c.seq == seq))
    return found.first() is not None


def _insert(connection: Connection, mark: Mark) -> None:
    connection.execute(
        seq_mark.insert().values(seq=mark.seq, offset_us=mark.offset_us, mono_us=mark.mono_us)
    )
