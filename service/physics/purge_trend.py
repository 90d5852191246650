"""What has just been: oxygen readings, gas temperature, the flow's bound half a minute ago."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from service.physics.gas import AIR_OXYGEN_PPM

SPAN_S = 20.0
"""Readings looked at [s]."""

BOUND_BEFORE_S = 30.0
"""A sensor's reading is held against the bound of this long ago [s]: it lags."""

COOLING_OVER_S = 20.0
"""The gas's rate of cooling is a mean over about this [s]."""

LEAST_SHARE = 0.9
LEAST_LESS_PPM = 2.0
"""A reading may be too high by this much: slope and zero drift [judgement]."""

MEAN_OVER_S = 10.0
SLOW_SPAN_S = 180.0
STANDS_AFTER_S = 90.0
"""Oxygen that has not fallen by a tenth in this time stands [judgement: at one volume change a
minute, slow for a purge, it falls to a fifth]."""

_MOST = 40
_NOISE_SHARE = 0.03
_NOISE_PPM = 2.0


@dataclass(slots=True)
class Trend:
    """Recent readings of one sensor.

    Attributes:
        times_s: Their times [s], increasing.
        readings_ppm: The readings [ppm].
    """

    times_s: list[float] = field(default_factory=list)
    readings_ppm: list[float] = field(default_factory=list)

    def add(self, t_s: float, oxygen_ppm: float) -> None:
        """Take a reading; old ones go, and of many only every second is kept."""
        if self.times_s and t_s <= self.times_s[-1]:
            return
        self.times_s.append(t_s)
        self.readings_ppm.append(oxygen_ppm)
        while len(self.times_s) > 2 and self.times_s[0] < t_s - SPAN_S:
            del self.times_s[0], self.readings_ppm[0]
        if len(self.times_s) > _MOST:
            del self.times_s[:-1:2], self.readings_ppm[:-1:2]

    def rise_ppm_per_s(self, last: int = 4) -> float:
        """How fast the oxygen rises [ppm/s]; 0 unless it surely does.

        The mean of the newest half of the last few readings against the older half, three times
        their scatter apart.

        Args:
            last: Readings looked at, even; 0 is returned with fewer.
        """
        if len(self.times_s) < last:
            return 0.0
        times, values = self.times_s[-last:], self.readings_ppm[-last:]
        half = last // 2
        early, late = sum(values[:half]) / half, sum(values[half:]) / half
        scatter = (_NOISE_SHARE * max(values) + _NOISE_PPM) * (2.0 / half) ** 0.5
        if late - early < 3.0 * scatter:
            return 0.0
        between_s = sum(times[half:]) / half - sum(times[:half]) / half
        return (late - early) / between_s

    def least_ppm(self) -> float:
        """The least oxygen the last few readings leave room for [ppm], 0 or more.

        The newest readings' lower half less a cell's errors: its scatter, slope and zero.
        """
        newest = sorted(self.readings_ppm[-5:])
        if not newest:
            return 0.0
        low = sum(newest[: len(newest) // 2 + 1]) / (len(newest) // 2 + 1)
        return max(LEAST_SHARE * low - LEAST_LESS_PPM, 0.0)

    def has_risen(self) -> tuple[float, float] | None:
        """Lowest and last reading [ppm] when the oxygen is rising, else ``None``."""
        if len(self.times_s) < 4:
            return None
        lowest, now = min(self.readings_ppm), self.readings_ppm[-1]
        longest = min(len(self.times_s) // 2 * 2, 10)
        if now > 1.3 * lowest + 5.0 and self.rise_ppm_per_s(longest) > 0:
            return lowest, now
        return None


@dataclass(slots=True)
class SlowTrend:
    """Oxygen over the last minutes, a mean every ten seconds, for what creeps.

    Attributes:
        ends_s: Ends of the means kept [s].
        means_ppm: The means [ppm].
    """

    ends_s: list[float] = field(default_factory=list)
    means_ppm: list[float] = field(default_factory=list)
    sum_ppm: float = 0.0
    count: int = 0
    began_s: float | None = None

    def add(self, t_s: float, oxygen_ppm: float) -> None:
        """Take a reading."""
        if self.began_s is None:
            self.began_s = t_s
        self.sum_ppm += oxygen_ppm
        self.count += 1
        if t_s - self.began_s < MEAN_OVER_S:
            return
        self.ends_s.append(t_s)
        self.means_ppm.append(self.sum_ppm / self.count)
        self.sum_ppm, self.count, self.began_s = 0.0, 0, t_s
        while self.ends_s[0] < t_s - SLOW_SPAN_S:
            del self.ends_s[0], self.means_ppm[0]

    def begin_anew(self) -> None:
        """Forget: the flow has changed, and what was is no measure any more."""
        self.ends_s, self.means_ppm = [], []
        self.sum_ppm, self.count, self.began_s = 0.0, 0, None

    def has_crept_up(self) -> tuple[float, float] | None:
        """Lowest mean and the last two's [ppm] when the oxygen has surely risen, else ``None``."""
        if len(self.means_ppm) < 4 or self.means_ppm[-1] < 0.95 * self.means_ppm[-2]:
            return None
        lowest, now = min(self.means_ppm), min(self.means_ppm[-2:])
        return (lowest, now) if now > 1.3 * lowest + 5.0 else None

    def stands_at(self) -> tuple[float, float] | None:
        """Mean [ppm] and for how long [s] the oxygen has not fallen by a tenth, else ``None``."""
        if not self.ends_s or self.ends_s[-1] - self.ends_s[0] < STANDS_AFTER_S:
            return None
        now = sum(self.means_ppm[-3:]) / 3.0
        since_s, level = self.ends_s[-1], now
        for end_s, mean in zip(reversed(self.ends_s), reversed(self.means_ppm), strict=True):
            if mean > now / 0.9 + _NOISE_PPM:
                break
            since_s = end_s
        lasted_s = self.ends_s[-1] - since_s
        return (level, lasted_s) if lasted_s >= STANDS_AFTER_S else None


@dataclass(slots=True)
class GasTemperature:
    """The gas in the cavity: its temperature [°C], ``None`` unmeasured, and cooling [K/s]."""

    temperature_c: float | None = None
    cooling_k_per_s: float = 0.0
    at_s: float = 0.0

    def observe(self, t_s: float, temperature_c: float) -> None:
        """Take a reading at ``t_s`` [s]."""
        elapsed_s = t_s - self.at_s
        if self.temperature_c is not None and elapsed_s > 0:
            falling = max((self.temperature_c - temperature_c) / elapsed_s, 0.0)
            blend = 1.0 - math.exp(-elapsed_s / COOLING_OVER_S)
            self.cooling_k_per_s += blend * (falling - self.cooling_k_per_s)
        self.temperature_c, self.at_s = temperature_c, t_s


@dataclass(slots=True)
class BoundBefore:
    """The flow's pessimistic bound [ppm] over the last half minute, and a slow cell in it.

    Attributes:
        times_s: When it was worked out [s].
        bounds_ppm: The bounds [ppm].
        cell_ppm: What a slow cell that starts in air would show of them [ppm].
    """

    times_s: list[float] = field(default_factory=list)
    bounds_ppm: list[float] = field(default_factory=list)
    cell_ppm: float = AIR_OXYGEN_PPM

    def due(self, t_s: float) -> bool:
        """Whether another entry is wanted: every five seconds."""
        return not self.times_s or t_s - self.times_s[-1] >= 5.0

    def add(self, t_s: float, bound_ppm: float, lag_s: float) -> None:
        """Keep the bound of now; forget what is older than wanted.

        Args:
            t_s: Time [s].
            bound_ppm: The bound [ppm].
            lag_s: Lag of the slowest cell thought of [s].
        """
        if self.times_s:
            fade = math.exp(-(t_s - self.times_s[-1]) / lag_s)
            # The bound of the step's begin, while it falls the higher one.
            self.cell_ppm = self.bounds_ppm[-1] + fade * (self.cell_ppm - self.bounds_ppm[-1])
        self.times_s.append(t_s)
        self.bounds_ppm.append(bound_ppm)
        while len(self.times_s) > 1 and self.times_s[1] <= t_s - BOUND_BEFORE_S:
            del self.times_s[0], self.bounds_ppm[0]

    def then_ppm(self, t_s: float) -> float | None:
        """The most a sensor should show of the bound now [ppm]; ``None`` so soon after the start.

        The highest bound of the last half minute: while the oxygen falls that is the one of half a
        minute ago; after a loss of flow it is the new, higher one, so that air which came back is
        not taken for a leak. A cell slower than the cavity clears shows more than that.
        """
        if not self.times_s or self.times_s[0] > t_s - BOUND_BEFORE_S + 5.0:
            return None
        return max(self.cell_ppm, *self.bounds_ppm)
