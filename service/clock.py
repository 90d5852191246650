"""The two clocks, passed in: monotonic for durations, UTC for records.

Only the collector and what starts it hold a clock; nothing below asks one. ``speed`` scales the
monotonic clock and lets UTC run on at the same pace from the moment of start, so a demo at ten
times the pace is an ordinary shop whose clock runs fast.
"""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """What the collector needs from time."""

    @property
    def speed(self) -> float:
        """Shop seconds per real second; 1 outside the demo."""

    def monotonic_us(self) -> int:
        """Monotonic shop time [µs]; never steps, origin arbitrary."""

    def utc_us(self) -> int:
        """Wall clock [µs since 1970-01-01 UTC]; may step when the machine's date is corrected."""


class SystemClock:
    """The machine's clocks, optionally sped up."""

    def __init__(self, speed: float = 1.0) -> None:
        if not 0.1 <= speed <= 1000:
            raise ValueError(f"speed {speed} is not between 0.1 and 1000")
        self._speed = speed
        self._mono_origin_ns = time.monotonic_ns()
        self._utc_origin_ns = time.time_ns()

    @property
    def speed(self) -> float:
        return self._speed

    def monotonic_us(self) -> int:
        if self._speed == 1.0:
            return time.monotonic_ns() // 1000
        elapsed_ns = time.monotonic_ns() - self._mono_origin_ns
        return self._mono_origin_ns // 1000 + int(elapsed_ns * self._speed) // 1000

    def utc_us(self) -> int:
        if self._speed == 1.0:
            return time.time_ns() // 1000
        elapsed_ns = time.monotonic_ns() - self._mono_origin_ns
        return self._utc_origin_ns // 1000 + int(elapsed_ns * self._speed) // 1000
