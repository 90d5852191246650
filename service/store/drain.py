"""The spool back into the database, in order, a piece at a time."""

from __future__ import annotations

import logging
from itertools import islice

from service.store.entries import Entry, NotAnEntry, decode, latest
from service.store.keeper import Keeper
from service.store.reading_rows import Counts
from service.store.spool import Spool

log = logging.getLogger(__name__)

PIECE_ENTRIES = 500
"""Entries written in one transaction, so that new ones need not wait long."""


class Drain:
    """Remembers how far the spool has been written into the database.

    Killed in between, the next service begins at the front again: an entry is kept once however
    often it is given.
    """

    def __init__(self, spool: Spool, keeper: Keeper) -> None:
        self._spool = spool
        self._keeper = keeper
        self._at_byte = 0

    def step(self) -> Counts:
        """Write the next piece; empties the file once everything is written.

        Raises:
            SQLAlchemyError, OSError: The storage failed; the piece stays for another attempt.
        """
        entries: list[Entry] = []
        at_byte = self._at_byte
        for body, end in islice(self._spool.read(at_byte), PIECE_ENTRIES):
            at_byte = end
            try:
                entries.append(decode(body))
            except NotAnEntry as error:
                log.exception("a whole record of the spool cannot be understood; put aside")
                self._keeper.put_aside(body.decode("utf-8", "backslashreplace"), str(error))
        if not entries and at_byte == self._at_byte:
            self._spool.clear()
            self._at_byte = 0
            return Counts()
        counts = self._keeper.keep(entries)
        self._at_byte = at_byte
        return counts


def highest_in(spool: Spool) -> tuple[int, int]:
    """Highest place in the order and latest monotonic time [µs] of anything in the spool."""
    seq, mono_us = 0, 0
    for body, _ in spool.read():
        try:
            entry_seq, entry_mono_us = latest(decode(body))
        except NotAnEntry:
            continue  # the drain reports it
        seq, mono_us = max(seq, entry_seq), max(mono_us, entry_mono_us)
    return seq, mono_us
