"""The thread that lets simulated time pass and has the nodes sample it."""

from __future__ import annotations

import logging
import threading
from collections.abc import Sequence
from typing import Protocol

from service.clock import Clock
from service.demo.shop import SimulatedShop

log = logging.getLogger(__name__)


def sample_interval_s(speed: float) -> float:
    """How often a node samples [shop s] at a pace [shop s per real s].

    Once a second at ordinary pace. A sped-up shop has slower nodes, for two reasons: the machine
    is not faster (never more than ten samples a real second), and a reading counts as stale after
    three of these intervals, which at pace 10 and one second would be a hiccup of 0.3 real
    seconds that any machine may have. Beyond 2 s the story's shorter events would be missed, so
    from pace 20 on the first reason alone decides.
    """
    return max(1.0, min(0.2 * speed, 2.0), 0.1 * speed)


class Node(Protocol):
    """What sends samples."""

    def send(self, utc_us: int) -> None:
        """Sample at this time [µs UTC] and send."""


class Engine:
    """Advances the shop with the clock.

    Args:
        shop: Must have been made at this clock's ``monotonic_us() / 1e6``.
        nodes: Sampled in turn.
        clock: The same clock the service runs on.
    """

    def __init__(self, shop: SimulatedShop, nodes: Sequence[Node], clock: Clock) -> None:
        self._shop = shop
        self._nodes = nodes
        self._clock = clock
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="demo nature", daemon=True)
        self.interval_s = sample_interval_s(clock.speed)
        """Between two samples [shop s]."""
        self.failure: Exception | None = None
        """What ended the thread before it was told to stop."""

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End, within one interval."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(5.0)

    def _run(self) -> None:
        try:
            self._pass_time()
        except Exception as error:
            self.failure = error
            log.exception("the simulated shop stopped")

    def _pass_time(self) -> None:
        due_s = self._clock.monotonic_us() / 1e6
        while not self._stop.is_set():
            now_s = self._clock.monotonic_us() / 1e6
            if now_s >= due_s:
                self._shop.advance_to(now_s)
                for node in self._nodes:
                    node.send(self._clock.utc_us())
                due_s = max(due_s + self.interval_s, now_s)
            self._stop.wait(max(0.001, (due_s - now_s) / self._clock.speed))
