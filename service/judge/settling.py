"""Has a probe just put on reached the temperature of the part?

A clamped probe approaches the part exponentially, so what it still lacks is its slope times its
time constant (1 to 10 s for a clamped tip; common practice, no source). It has settled when over
the last seconds it neither climbs nor falls faster than a part can, and its slope is steady. Among
readings of which many cannot be, those few that agree prove nothing: it has to go on settling.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

WINDOW_US = 12_000_000
SPAN_LEAST_US = 8_000_000
READINGS_LEAST = 5
MEMORY = 60
RISE_MAX_K_PER_S = 0.25
"""Off the heat nothing warms a part; at 10 s time constant 2.5 K would be missing, on the safe
side for preheat."""
FALL_MAX_K_PER_S = 1.0
"""A bare 2 mm tube at 350 °C loses 58 K/min (own calculation)."""
BEND_MAX_K_PER_S = 0.2
OVEN_RISE_MAX_K_PER_S = 1.0
GOOD_PER_DOUBTED = 3
"""At least so many good readings for each that was doubted (common practice, no source)."""


@dataclass(slots=True)
class Settling:
    """``since_us``: settling since then (shop time [µs]); ``None``: settled."""

    since_us: int | None = None
    times_us: list[int] = field(default_factory=list)
    values_c: list[float] = field(default_factory=list)

    def begin(self, now_us: int) -> None:
        """A new contact."""
        self.since_us = now_us
        self.times_us, self.values_c = [], []

    def note(self, measured_us: int, value_c: float, in_oven: bool, doubted: int = 0) -> None:
        """A good reading [°C]; ends the settling when the probe tracks the part.

        Args:
            doubted: Readings of the last ``WINDOW_US`` that could not be.
        """
        if self.since_us is None:
            return
        if self.times_us and measured_us <= self.times_us[-1]:
            return
        if self.times_us and measured_us - self.times_us[-1] < WINDOW_US // MEMORY:
            return  # a very fast channel: thinned out, so that memory stays bounded
        self.times_us.append(measured_us)
        self.values_c.append(value_c)
        while len(self.times_us) > READINGS_LEAST and measured_us - self.times_us[0] > WINDOW_US:
            del self.times_us[0], self.values_c[0]
        span_us = self.times_us[-1] - self.times_us[0]
        if span_us < SPAN_LEAST_US or len(self.times_us) < READINGS_LEAST:
            return
        if doubted * GOOD_PER_DOUBTED > len(self.times_us):
            return
        if self._tracks_the_part(OVEN_RISE_MAX_K_PER_S if in_oven else RISE_MAX_K_PER_S):
            self.since_us = None
            self.times_us, self.values_c = [], []

    def _tracks_the_part(self, rise_max_k_per_s: float) -> bool:
        t_s = (np.array(self.times_us) - self.times_us[0]) / 1e6
        value_c = np.array(self.values_c)
        slope = _slope(t_s, value_c)
        half = len(t_s) // 2
        bend = _slope(t_s[half:], value_c[half:]) - _slope(t_s[: half + 1], value_c[: half + 1])
        return -FALL_MAX_K_PER_S <= slope <= rise_max_k_per_s and abs(bend) <= BEND_MAX_K_PER_S


def _slope(t_s: NDArray[np.float64], value_c: NDArray[np.float64]) -> float:
    """Least-squares slope [K/s] of at least two points."""
    centred = t_s - t_s.mean()
    return float((centred * value_c).sum() / (centred**2).sum())
