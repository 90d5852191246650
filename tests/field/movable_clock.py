"""A pair of clocks under the test's hand: both run, and either can be moved."""

from __future__ import annotations

import threading
import time


class MovableClock:
    """The machine's clocks, with the wall clock set at will and time let go by at will.

    It satisfies ``service.clock.Clock``.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._gone_by_us = 0
        self._set_by_us = 0

    @property
    def speed(self) -> float:
        return 1.0

    def monotonic_us(self) -> int:
        with self._lock:
            return time.monotonic_ns() // 1000 + self._gone_by_us

    def utc_us(self) -> int:
        with self._lock:
            return time.time_ns() // 1000 + self._gone_by_us + self._set_by_us

    def set_wall_clock(self, by_s: float) -> None:
        """Somebody, or a time server, corrects the date; no time passes."""
        with self._lock:
            self._set_by_us += round(by_s * 1e6)

    def let_pass(self, seconds: float) -> None:
        """So much time has gone by at once on both clocks, as when the machine was asleep."""
        with self._lock:
            self._gone_by_us += round(seconds * 1e6)
