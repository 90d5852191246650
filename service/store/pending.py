"""What has been handed to the writer and is not safe yet, in order.

An item is *settled* when it is on a disk (in the database or in the spool file). It is
acknowledged when it and everything before it is settled; or, while nothing can be recorded
(``released``), as soon as it is held, so that a broker goes on delivering and the page stays
live.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from service.store.entries import Arrived, Entry, Lost

log = logging.getLogger(__name__)

BATCH_READINGS = 5_000
"""About so many readings are written in one transaction."""

GATHER_S = 0.0005
"""A commit costs as much as a hundred readings do. Without this breath between the first reading
and the commit, a burst from a broker (which sends twenty and waits for their acknowledgement) is
torn into commits of one. As many as came the last time are not waited for any longer: a broker's
window is the same each time, and of single readings each is committed at once."""

GATHER_BREATHS = 6
"""As many breaths at the most, so that what came first is not long unsafe."""

ACKS_AT_ONCE = 100

OVERFLOW = "more readings came than could be held in memory while the disk took none"


@dataclass(slots=True, eq=False)
class Item:
    """One thing handed over."""

    entry: Entry | None
    """``None`` for readings that could not be held: only their acknowledgement is left."""
    readings: int
    put_s: float
    ack: Callable[[], None] | None = None
    recorded: Callable[[], None] | None = None
    settled: bool = False


class Pending:
    """The line of items between ``put`` and safety. Safe for any threads.

    Args:
        max_readings: Readings held at most; what comes beyond is counted as lost.
    """

    def __init__(self, max_readings: int) -> None:
        self._max_readings = max_readings
        self._lock = threading.Lock()
        self._arrived = threading.Condition(self._lock)
        self._ack_lock = threading.Lock()
        self._waiting: deque[Item] = deque()
        self._unsettled: deque[Item] = deque()
        self._unacknowledged: deque[Item] = deque()
        self._held = 0
        self._usual = 1
        self._released = False
        self._closing = False
        self._unreported: Lost | None = None
        self.lost = 0
        """Readings that could not be held, since the start."""

    # In -----------------------------------------------------------------------------------

    def put(
        self,
        entry: Entry,
        ack: Callable[[], None] | None = None,
        recorded: Callable[[], None] | None = None,
    ) -> None:
        """Take an entry; returns at once.

        Args:
            entry: Readings beyond the limit are counted as lost; anything else is always taken.
            ack: Called in order, see above.
            recorded: Called when the entry is settled, whatever the order.
        """
        readings = len(entry.readings) if isinstance(entry, Arrived) else 0
        with self._lock:
            if readings and self._held + readings > self._max_readings:
                self._lose(entry)
                item = Item(None, 0, time.monotonic(), ack, settled=True)
                self._unacknowledged.append(item)
            else:
                self._held += readings
                item = Item(entry, readings, time.monotonic(), ack, recorded)
                self._waiting.append(item)
                self._unsettled.append(item)
                self._unacknowledged.append(item)
            if len(self._waiting) in (1, self._usual) or self._held >= BATCH_READINGS:
                self._arrived.notify_all()

    def _lose(self, entry: Entry) -> None:
        if not isinstance(entry, Arrived):
            raise TypeError("only readings may be lost")
        times = [reading.arrived_us for reading in entry.readings]
        self.lost += len(times)
        self._add_lost(Lost(len(times), min(times), max(times), OVERFLOW))

    def _add_lost(self, lost: Lost) -> None:
        before = self._unreported
        self._unreported = (
            lost
            if before is None
            else Lost(
                readings=before.readings + lost.readings,
                from_us=min(before.from_us, lost.from_us),
                to_us=max(before.to_us, lost.to_us),
                why=lost.why,
            )
        )

    def take_lost(self) -> Lost | None:
        """What has been lost since the last call, for the database to remember."""
        with self._lock:
            lost, self._unreported = self._unreported, None
            return lost

    def return_lost(self, lost: Lost) -> None:
        """It could not be written; for the next ``take_lost``."""
        with self._lock:
            self._add_lost(lost)

    # Out ----------------------------------------------------------------------------------

    def _gather(self) -> None:
        """Wait while more keeps coming; ``_lock`` is held, and let go of while waiting."""
        for _ in range(GATHER_BREATHS):
            have = len(self._waiting)
            if not have or have >= self._usual:
                return
            if self._closing or self._held >= BATCH_READINGS:
                return
            self._arrived.wait(GATHER_S)
            if len(self._waiting) == have:
                return

    def take(self, wait_s: float, window_s: float) -> list[Item]:
        """The next items, in order; empty after ``wait_s`` without any.

        Args:
            wait_s: Longest wait for the first one [s].
            window_s: How long to collect more after the first [s]; 0 takes what is there.
        """
        with self._lock:
            if not self._waiting and not self._closing:
                self._arrived.wait(wait_s)
            if window_s <= 0:
                self._gather()
            if window_s > 0 and self._waiting:
                until_s = self._waiting[0].put_s + window_s
                while (left_s := until_s - time.monotonic()) > 0 and not (
                    self._closing or self._held >= BATCH_READINGS
                ):
                    self._arrived.wait(left_s)
            taken: list[Item] = []
            readings = 0
            while self._waiting and readings < BATCH_READINGS and len(taken) < BATCH_READINGS:
                item = self._waiting.popleft()
                readings += item.readings
                taken.append(item)
            if taken:
                self._usual = max(len(taken), self._usual * 3 // 4)
            return taken

    def settle(self, items: Sequence[Item]) -> None:
        """The oldest unsettled items, ``items``, are on a disk now."""
        with self._lock:
            for item in items:
                if self._unsettled.popleft() is not item:
                    raise RuntimeError("items were settled out of order")
                item.settled = True
                self._held -= item.readings
        for item in items:
            if item.recorded is not None:
                _call(item.recorded)
        self.acknowledge()

    def acknowledge(self) -> None:
        """Acknowledge, in order, whatever may be acknowledged by now."""
        # The lock keeps two threads from acknowledging in turns, out of order.
        with self._ack_lock:
            while ready := self._take_ready():
                for item in ready:
                    if item.ack is not None:
                        _call(item.ack)

    def _take_ready(self) -> list[Item]:
        """What may be acknowledged and is not yet, in order; a handful at a time, so that it is
        counted as told soon after it is."""
        ready: list[Item] = []
        with self._lock:
            line = self._unacknowledged
            while line and len(ready) < ACKS_AT_ONCE and (line[0].settled or self._released):
                ready.append(line.popleft())
        return ready

    def release(self, released: bool) -> None:
        """From now on acknowledge what is held only in memory, or no more."""
        with self._lock:
            self._released = released
        self.acknowledge()

    # State --------------------------------------------------------------------------------

    def close(self) -> None:
        """Nothing more is waited for."""
        with self._lock:
            self._closing = True
            self._arrived.notify_all()

    @property
    def closing(self) -> bool:
        return self._closing

    @property
    def held(self) -> int:
        """Readings not yet on a disk."""
        return self._held

    @property
    def overflowing(self) -> bool:
        """Readings have been lost that the database does not know of yet."""
        return self._unreported is not None

    def oldest_s(self) -> float | None:
        """Age of the oldest item that is not on a disk [s]; ``None`` without one."""
        with self._lock:
            if not self._unsettled:
                return None
            return time.monotonic() - self._unsettled[0].put_s

    def is_idle(self) -> bool:
        """Everything handed over is on a disk, and those who wait have been told."""
        if not self._ack_lock.acquire(blocking=False):
            return False  # somebody is being told at this moment
        try:
            with self._lock:
                return not self._unsettled and not self._unacknowledged
        finally:
            self._ack_lock.release()


def _call(callback: Callable[[], None]) -> None:
    try:
        callback()
    except Exception:
        # A connection that has gone meanwhile; the sender will deliver again, and the second
        # delivery will be recognised.
        log.exception("an acknowledgement failed")
