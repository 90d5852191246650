"""The cooling rate as measured: a straight line through the last two minutes.

Under cover the limit is on the rate that a recorder would show, so it is taken from the readings
themselves, not from the cooldown model, whose idea of the loss takes its time to change.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from service.physics.cooldown import Rate

WINDOW_S = 120.0
LEAST_S = 60.0
SILENT_S = 10.0
CORRELATED_S = 20.0
"""Readings of one probe wander together for up to 10 s (draughts; common practice, no source), and
noise that wanders for a time has one independent value in twice that time (textbook)."""
RISING_S = 5.0
RISING_K = 0.5
"""The mean of the last few seconds against that of as many before; noise stays well below."""
LEAST_SD_K = 0.15
"""A probe with steps of 0.25 or 0.5 K cannot be better known than this [K]."""


@dataclass(slots=True)
class MeasuredRate:
    """Second means of one probe: times [s] and temperatures [°C] of the last window."""

    times_s: list[float] = field(default_factory=list)
    values_c: list[float] = field(default_factory=list)

    def take(self, t_s: float, temperature_c: float) -> None:
        """One reading, later than the one before."""
        self.times_s.append(t_s)
        self.values_c.append(temperature_c)
        while self.times_s[0] < t_s - WINDOW_S:
            del self.times_s[0], self.values_c[0]

    def rising(self, now_s: float) -> bool:
        """It gets hotter at this moment, by 6 K/min or more."""
        ages = [(now_s - t_s, value_c) for t_s, value_c in zip(*self.latest(), strict=True)]
        late = [value_c for age_s, value_c in ages if age_s <= RISING_S]
        early = [value_c for age_s, value_c in ages if RISING_S < age_s <= 2 * RISING_S]
        if len(late) < 2 or len(early) < 2:
            return False
        return sum(late) / len(late) - sum(early) / len(early) >= RISING_K

    def latest(self) -> tuple[list[float], list[float]]:
        """Times [s] and values [°C] of the last few readings."""
        few = -int(2 * RISING_S) - 2
        return self.times_s[few:], self.values_c[few:]

    def begin_anew(self) -> None:
        """What came before says nothing about the rate from here on."""
        self.times_s, self.values_c = [], []

    def rate(self, now_s: float) -> Rate | None:
        """Least-squares slope and its standard deviation [°C/h]; ``None`` until a minute of
        readings is there, or when they have ended."""
        if len(self.times_s) < 10 or now_s - self.times_s[-1] > SILENT_S:
            return None
        span_s = self.times_s[-1] - self.times_s[0]
        if span_s < LEAST_S:
            return None
        t_s = np.array(self.times_s) - np.mean(self.times_s)
        value_c = np.array(self.values_c) - np.mean(self.values_c)
        spread = float((t_s**2).sum())
        slope = float((t_s * value_c).sum()) / spread
        sd_k = max(LEAST_SD_K, float(np.sqrt(np.mean((value_c - slope * t_s) ** 2))))
        repeats = max(1.0, CORRELATED_S * len(self.times_s) / span_s)
        return Rate(3600.0 * slope, 3600.0 * sd_k * math.sqrt(repeats / spread))
