"""How slowly the oxygen goes at the end: a dead leg shows in the tail of the sensor's readings.

A cavity of one mixing volume falls at one rate, the flow over its volume. A leg that only exchanges
gas with it falls at its own, slower rate r and feeds the outlet, whose tail then falls at r too.
Filled with air to begin with, such a leg x holds what follows from the readings y themselves,

    dx/dt = −r·(x − y),    x(0) = air,

whatever its size, so nothing need be believed of that. Legs of many rates are followed at once; the
one that falls as the tail does counts, when that is slower than the flow and the stated volume
explain, or than the oxygen fell before.

Source: balance of a room that only exchanges gas, a first-order response to a measured input.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from service.physics.gas import AIR_OXYGEN_PPM
from service.physics.purge_members import Array

_RATES_PER_S: Array = np.exp(np.linspace(math.log(1e-3), math.log(0.3), 48))
_LOG_RATES: Array = np.log(_RATES_PER_S)

TAIL_BELOW_PPM = 20_000.0
"""There is no tail before nine tenths of the air have gone [judgement]."""

LEAST_READ_PPM = 40.0
"""Below this the argon's own oxygen and the cell's zero bend the curve; the last rate found above
it goes on [judgement: ten times either]."""

SLOWER = 0.75
"""A tail slower than this share of flow over volume is not explained by poor mixing and a volume
that is a little off [judgement]."""

BENT = 0.7
"""Nor is one that has slowed to this share of its own steepest fall [judgement]."""

CELL_SHARE = 0.8
"""A cell falls no faster than this share of one over its lag, and is no dead leg [judgement]."""

STANDS_PER_S = 0.002
STANDS_OVER_S = 40.0
STANDS_FROM_PPM = 10.0
"""A tail slower than this for so long stands: a leak, or the argon's own oxygen. A dead leg that
needs more than eight minutes for two thirds of its air looks the same; and nothing can be told of
readings that are not well above the cell's zero [judgement]."""

TAIL_DOUBT = 1.5
"""Truth over what the leg is worked out to hold [judgement, to the safe side]."""

BIN_S = 3.0
SHORTEST_S = 15.0
LONGEST_S = 45.0
"""A rate is a straight line through the logarithms of one residence time, within these [s]."""

LEAST_BINS = 4
MOST_BINS = 40
SCATTER = 0.03
"""Scatter of one reading [1]; the rate's uncertainty follows from it."""


def _full_of_air() -> Array:
    return np.full(len(_RATES_PER_S), AIR_OXYGEN_PPM)


@dataclass(slots=True)
class Tail:
    """The fall of one sensor's readings, and what legs of many rates would hold by it.

    Attributes:
        legs_ppm: Oxygen in a leg of each rate followed [ppm].
        ends_s: Ends of the bins of readings kept [s].
        logs: Mean logarithm of the readings (ppm) in each.
        counts: How many they were.
        usual_per_s: Flow over volume when gas last flowed [1/s]; 0 while that is not known.
        steepest_per_s: Steepest sure fall at this flow [1/s].
        rate_per_s: The tail's rate, on the safe side [1/s]; ``None`` before there is a tail.
        stands: The readings do not fall any more.
        last_s, last_ppm: The last reading: its time [s] and oxygen [ppm].
    """

    legs_ppm: Array = field(default_factory=_full_of_air)
    ends_s: list[float] = field(default_factory=list)
    logs: list[float] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)
    sum_logs: float = 0.0
    count: int = 0
    usual_per_s: float = 0.0
    steepest_per_s: float = 0.0
    rate_per_s: float | None = None
    stands: bool = False
    last_s: float | None = None
    last_ppm: float = AIR_OXYGEN_PPM

    def begin_anew(self) -> None:
        """The flow has changed: falls from before are no measure; the rate found goes on."""
        self.ends_s, self.logs, self.counts = [], [], []
        self.sum_logs, self.count, self.steepest_per_s = 0.0, 0, 0.0
        self.stands = False

    def add(self, t_s: float, oxygen_ppm: float, usual_per_s: float) -> None:
        """Take a reading.

        Args:
            t_s: Time [s]; not before the last.
            oxygen_ppm: Oxygen [ppm], 0 or more.
            usual_per_s: Flow over volume [1/s], 0 when it is not known.
        """
        self.usual_per_s = usual_per_s or self.usual_per_s
        if self.last_s is not None and t_s > self.last_s:
            fade = np.exp(-_RATES_PER_S * (t_s - self.last_s))
            # The reading of the step's begin, while it falls the higher one.
            self.legs_ppm = self.last_ppm + fade * (self.legs_ppm - self.last_ppm)
        self.last_s, self.last_ppm = t_s, oxygen_ppm
        self.sum_logs += math.log(max(oxygen_ppm, 1.0))
        self.count += 1
        if self.ends_s and t_s - self.ends_s[-1] < BIN_S:
            return
        self.ends_s.append(t_s)
        self.logs.append(self.sum_logs / self.count)
        self.counts.append(self.count)
        self.sum_logs, self.count = 0.0, 0
        del self.ends_s[:-MOST_BINS], self.logs[:-MOST_BINS], self.counts[:-MOST_BINS]
        self._measure(t_s)

    def _measure(self, t_s: float) -> None:
        over_s = min(max(1.0 / max(self.usual_per_s, 1e-6), SHORTEST_S), LONGEST_S)
        now, before = self._fall(t_s - over_s, t_s), self._fall(t_s - 2 * over_s, t_s - over_s)
        if now is None or before is None:
            return
        self.steepest_per_s = max(self.steepest_per_s, now[0] - now[1])
        if self.logs[-1] > math.log(TAIL_BELOW_PPM):
            return
        long = self._fall(t_s - max(over_s, STANDS_OVER_S), t_s)
        told = self.logs[-1] > math.log(STANDS_FROM_PPM)
        self.stands = told and long is not None and abs(long[0]) < STANDS_PER_S
        if self.logs[-1] < math.log(LEAST_READ_PPM):
            return
        # While it still slows down it has not come to the leg's own rate: go as far again.
        slowing = max(before[0] - now[0] - math.hypot(now[1], before[1]), 0.0)
        self.rate_per_s = max(now[0] - slowing, float(_RATES_PER_S[0]))

    def _fall(self, from_s: float, to_s: float) -> tuple[float, float] | None:
        """Fall of the logarithm between two times and its standard deviation [1/s]."""
        kept = [i for i, end_s in enumerate(self.ends_s) if from_s <= end_s <= to_s]
        if len(kept) < LEAST_BINS:
            return None
        times = np.array([self.ends_s[i] for i in kept])
        logs = np.array([self.logs[i] for i in kept])
        times -= times.mean()
        square = float(times @ times)
        each = sum(self.counts[i] for i in kept) / len(kept)
        return -float(times @ logs) / square, SCATTER / math.sqrt(each * square)

    def is_slow(self, lag_s: float) -> bool:
        """The tail falls slower than the mixing volume explains: a dead leg is suspected.

        Args:
            lag_s: Lag of the slowest cell thought of [s].
        """
        rate = self.rate_per_s
        if rate is None or self.stands:
            return False
        usual = min(self.usual_per_s, CELL_SHARE / max(lag_s, 1e-3))
        return rate < SLOWER * usual or rate < BENT * self.steepest_per_s

    def leg_ppm(self) -> float:
        """The most that a leg which falls as the tail does may hold now [ppm]."""
        if self.rate_per_s is None:
            return AIR_OXYGEN_PPM
        held = float(np.interp(math.log(self.rate_per_s), _LOG_RATES, self.legs_ppm))
        return min(TAIL_DOUBT * held, AIR_OXYGEN_PPM)

    def leg_below_in_s(self, limit_ppm: float) -> float:
        """Seconds until such a leg is below a limit if nothing feeds it any more [s]."""
        if self.rate_per_s is None:
            return math.inf
        return max(math.log(self.leg_ppm() / limit_ppm), 0.0) / self.rate_per_s
