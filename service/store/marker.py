"""Sets the marks (table ``seq_mark``) while readings are written in order of arrival."""

from __future__ import annotations

from sqlalchemy import Connection, select

from service.store.arrivals import highest, latest_mono_us
from service.store.marks import Mark, mark_at
from service.store.schema import STRAY, seq_mark

RENEW_US = 600_000_000
"""A mark is followed by another after this time [µs] ..."""

RENEW_SEQ = 4096
"""... or this many places in the order, so that a look-up reads little too much."""


class Marker:
    """Knows the mark in force and where in the order the database stands."""

    def __init__(self) -> None:
        self.top_seq = 0
        self._top_mono_us = 0
        self._adopt(None)

    def load(self, connection: Connection) -> None:
        """Take up where the database stands; also after a transaction that was rolled back."""
        self.top_seq, self._top_mono_us = highest(connection)
        self._adopt(mark_at(connection))

    def _adopt(self, mark: Mark | None) -> None:
        """Make this the mark in force; with ``None``, the next reading sets one."""
        self._offset_us = mark.offset_us if mark else 0
        self._until_seq = mark.seq + RENEW_SEQ if mark else 0
        self._until_us = mark.mono_us + RENEW_US if mark else 0

    def place(self) -> tuple[int, int]:
        """Where it stands, for ``back_to``."""
        return self.top_seq, self._top_mono_us

    def back_to(self, place: tuple[int, int]) -> None:
        """What was expected since ``place`` was not written after all."""
        self.top_seq, self._top_mono_us = place

    def expects(self, seq: int, mono_us: int, arrived_us: int) -> bool:
        """Whether a reading simply follows under the mark in force; it is then noted.

        Otherwise, ``exceptional`` must be told of it.
        """
        if (
            self.top_seq < seq < self._until_seq
            and self._top_mono_us <= mono_us < self._until_us
            and arrived_us - mono_us == self._offset_us
        ):
            self.top_seq, self._top_mono_us = seq, mono_us
            return True
        return False

    def exceptional(self, connection: Connection, seq: int, mono_us: int, arrived_us: int) -> int:
        """Place a reading that does not simply follow.

        Returns:
            ``STRAY`` if it is to be found by ``seq``, else 0.
        """
        if seq <= self.top_seq:
            self._out_of_turn(connection, seq, mono_us, arrived_us - mono_us)
            return STRAY
        self.top_seq = seq
        in_step = mono_us >= self._top_mono_us
        self._top_mono_us = max(self._top_mono_us, mono_us)
        offset_us = arrived_us - mono_us
        if (
            offset_us != self._offset_us
            or seq >= self._until_seq
            or self._top_mono_us >= self._until_us
        ):
            mark = Mark(seq, offset_us, self._top_mono_us)
            _insert(connection, mark)
            self._adopt(mark)
        return 0 if in_step else STRAY

    def _out_of_turn(self, connection: Connection, seq: int, mono_us: int, offset_us: int) -> None:
        """A place in the order that has been passed: a second delivery, or a late hand-over."""
        mark = mark_at(connection, seq)
        if mark is None:
            _insert(connection, Mark(seq, offset_us, mono_us))
        elif mark.offset_us != offset_us:
            if mark.seq == seq:
                raise ValueError(f"two readings have the place {seq} in the order")
            mono_us = latest_mono_us(connection, mark, seq)
            _insert(connection, Mark(seq, offset_us, mono_us))
            if not _is_mark(connection, seq + 1):
                _insert(connection, Mark(seq + 1, mark.offset_us, mono_us))
        self._adopt(mark_at(connection))


def _is_mark(connection: Connection, seq: int) -> bool:
    found = connection.execute(select(seq_mark.c.seq).where(seq_mark.c.seq == seq))
    return found.first() is not None


def _insert(connection: Connection, mark: Mark) -> None:
    connection.execute(
        seq_mark.insert().values(seq=mark.seq, offset_us=mark.offset_us, mono_us=mark.mono_us)
    )
