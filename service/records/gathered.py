"""The records that were asked for last: opening a heat on the page asks for the same one thrice.

A record is gathered anew when something was done since, and after a while in any case: readings
that a node held back may come long after their time. One is gathered at a time, so that a page
full of questions takes no more than one thread from the live side.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import func, select

from service.records.gather import gather
from service.records.heat_record import HeatRecord
from service.store.database import Store
from service.store.schema import journal

KEPT = 8
"""Records held, the newest asked for; each a few hundred kilobytes at most."""
OPEN_S, CLOSED_S = 2.0, 30.0
"""For how long one is held [s, real]: of a heat that still runs, of one that is over."""


@dataclass(frozen=True, slots=True)
class _Kept:
    record: HeatRecord
    journal_seq: int
    until_s: float


class Gathered:
    """Records of one database.

    Args:
        store: It may be in use by a running service.
        real_s: A monotonic clock [s].
    """

    def __init__(self, store: Store, real_s: Callable[[], float] = time.monotonic) -> None:
        self._store, self._real_s = store, real_s
        self._kept: OrderedDict[int, _Kept] = OrderedDict()
        self._lock = threading.Lock()

    def record(self, heat_id: int) -> HeatRecord:
        """One heat.

        Raises:
            UnknownHeat: There is none of that number.
            StoreError: The database cannot be read.
        """
        with self._lock:
            with self._store.connect() as connection:
                seq = connection.execute(select(func.max(journal.c.seq))).scalar() or 0
            kept = self._kept.get(heat_id)
            if kept is None or kept.journal_seq != seq or self._real_s() >= kept.until_s:
                record = gather(self._store, heat_id)
                lasts_s = OPEN_S if record.ended_us is None else CLOSED_S
                kept = _Kept(record, seq, self._real_s() + lasts_s)
                self._kept[heat_id] = kept
            self._kept.move_to_end(heat_id)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
            return kept.record

    def once(self, heat_id: int) -> HeatRecord:
        """One heat that is not likely to be asked for again: it takes nobody's place here."""
        with self._lock:
            kept = self._kept.get(heat_id)
            return gather(self._store, heat_id) if kept is None else kept.record
