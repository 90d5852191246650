"""Waiting in shop time, with things that happen meanwhile."""

from __future__ import annotations

import heapq
import itertools
import threading
from collections.abc import Callable

from service.clock import Clock

LOOK_REAL_S = 0.1
"""How often somebody who waits for something looks [real s]."""


class StoryEnded(Exception):
    """The demo is being stopped."""


class Pacing:
    """Shop-time waits on one thread.

    Args:
        clock: The clock the service runs on.
        stop: Set from a signal handler; every wait then ends with ``StoryEnded``.
    """

    def __init__(self, clock: Clock, stop: threading.Event) -> None:
        self._clock = clock
        self._stop = stop
        self._later: list[tuple[float, int, Callable[[], None]]] = []
        self._count = itertools.count()
        self.start_s = self.now_s

    @property
    def now_s(self) -> float:
        """Shop time [s]."""
        return self._clock.monotonic_us() / 1e6

    @property
    def speed(self) -> float:
        """Shop seconds per real second."""
        return self._clock.speed

    def later(self, seconds: float, do: Callable[[], None]) -> None:
        """Do something ``seconds`` [shop s] from now, during whatever wait runs then."""
        heapq.heappush(self._later, (self.now_s + seconds, next(self._count), do))

    def pause(self, seconds: float) -> None:
        """Let ``seconds`` [shop s] pass."""
        self.wait_until(lambda: False, seconds)

    def wait_until(self, happened: Callable[[], bool], patience_s: float) -> bool:
        """Wait for something, at most ``patience_s`` [shop s]; whether it happened."""
        end_s = self.now_s + patience_s
        while True:
            self._do_what_is_due()
            if happened():
                return True
            left_s = end_s - self.now_s
            if left_s <= 0:
                return False
            self._sleep(min(LOOK_REAL_S, left_s / self.speed))

    def wait_for_stop(self) -> None:
        """Nothing more to do than what is due later."""
        while True:
            self._do_what_is_due()
            self._sleep(0.5)

    def _do_what_is_due(self) -> None:
        while self._later and self._later[0][0] <= self.now_s:
            heapq.heappop(self._later)[2]()

    def _sleep(self, real_s: float) -> None:
        if self._stop.wait(max(real_s, 0.001)):
            raise StoryEnded
