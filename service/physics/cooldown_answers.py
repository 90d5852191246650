"""From the bank of hypotheses to what is told: spreads, or the reason why there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from service.physics.cooldown_bank import AROUND, Bank
from service.physics.cooldown_crossing import NEVER_S, crossing_times_s
from service.physics.cooldown_values import Level
from service.physics.materials import Array, quantiles
from service.readings import Forecast, Spread

# Standard normal quantiles at (i + ½)/15.
_HALF = (0.168, 0.341, 0.524, 0.728, 0.967, 1.282, 1.834)
_NORMAL_POINTS = np.array([*(-x for x in reversed(_HALF)), 0.0, *_HALF])
_LEAST_READINGS = 3
_HEATED_SHARE = 0.2


def middle_and_sd(value: Array, variance: Array, weights: Array) -> tuple[float, float]:
    """Median of a mixture of normals and the standard deviation its 5 % and 95 % points imply.

    Not its moments: a hypothesis with 1 % of the weight and a huge spread would rule those.
    """
    points = value[:, None] + np.sqrt(variance)[:, None] * _NORMAL_POINTS[None, :]
    order = np.argsort(points, axis=None)
    cumulative = np.cumsum(np.repeat(weights / len(_NORMAL_POINTS), len(_NORMAL_POINTS))[order])
    sorted_points = points.ravel()[order]
    places = np.minimum(np.searchsorted(cumulative, (0.05, 0.5, 0.95)), len(order) - 1)
    low, middle, high = (float(v) for v in sorted_points[places])
    return middle, max(high - middle, middle - low) / 1.645


@dataclass(frozen=True, slots=True)
class Moment:
    """What is believed of one moment, to be asked several times; carried there only once.

    Attributes:
        bank: The hypotheses carried on to it; ``None``: nothing can be said, see ``nothing``.
        at_s: The moment [s].
        used: Readings that the bank rests on.
        nothing: Why nothing can be said without a bank.
    """

    bank: Bank | None
    at_s: float
    used: int
    nothing: str

    def level(self) -> Level | None:
        """The probe's noise-free temperature; ``None`` where nothing can be said."""
        if self.bank is None:
            return None
        mean, sd = middle_and_sd(*self.bank.predicted(), self.bank.weights())
        return Level(mean, sd)

    def until_below(self, limit_c: float) -> Forecast:
        """Seconds until the probe falls below ``limit_c`` [°C]."""
        if self.bank is None:
            return Forecast(None, self.nothing)
        return falling_forecast(self.bank, limit_c, self.at_s, self.used)

    def until_above(self, limit_c: float) -> Forecast:
        """Seconds until the probe rises above ``limit_c`` [°C]."""
        if self.bank is None:
            return Forecast(None, self.nothing)
        return rising_forecast(self.bank, limit_c, self.at_s, self.used)


def falling_forecast(bank: Bank, limit_c: float, at_s: float, used: int) -> Forecast:
    """Time until the probe falls below ``limit_c``, from a bank carried on to ``at_s``."""
    weights = bank.weights()
    rate, rate_sd = middle_and_sd(*bank.rates(), weights)
    level = middle_and_sd(*bank.predicted(), weights)[0]
    rising = rate > max(2 * rate_sd, 0.02)
    if level < limit_c and not rising:
        return Forecast(Spread(0.0, 0.0, 0.0), "already below")
    if used < _LEAST_READINGS:
        return Forecast(None, "too few readings")
    if rising:
        return Forecast(None, "rising: heat is going in, or the probe is still warming up")
    around = float(weights @ bank.mean[:, AROUND])
    if around < level and limit_c <= around + 1.0:
        text = f"it will not cool below {limit_c:.0f} °C in surroundings of {around:.0f} °C"
        return Forecast(None, text)
    times = crossing_times_s(bank, limit_c, at_s)
    return _spread(times, "level" if abs(rate) < 2 * rate_sd else "equalising")


def rising_forecast(bank: Bank, limit_c: float, at_s: float, used: int) -> Forecast:
    """Time until the probe rises above ``limit_c``, from a bank carried on to ``at_s``."""
    weights = bank.weights()
    rate, rate_sd = middle_and_sd(*bank.rates(), weights)
    if middle_and_sd(*bank.predicted(), weights)[0] > limit_c:
        return Forecast(Spread(0.0, 0.0, 0.0), "already above")
    if used < _LEAST_READINGS:
        return Forecast(None, "too few readings")
    if rate <= 0:
        return Forecast(None, "not rising")
    # Only what is heated by something hotter can rise for good; the rest is a passing warmth.
    heated = np.flatnonzero(bank.mean[:, AROUND] > bank.predicted()[0] + 5.0)
    if float(weights[heated].sum()) < _HEATED_SHARE:
        return Forecast(None, "how hot the oven is cannot be told yet")
    times = crossing_times_s(bank.take(heated), limit_c, at_s, rising=True)
    return _spread(times, "level" if rate < 2 * rate_sd else "levelling")


def soaked_forecast(reaches: Forecast, soak_s: float, above_for_s: float) -> Forecast:
    """Time until a soak is done, from the time until the part is above the band's lower end.

    Raises:
        ValueError: a duration is negative or not finite.
    """
    for name, value in (("soak_s", soak_s), ("above_for_s", above_for_s)):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} must be at least 0, not {value!r}")
    left = reaches.time_left_s
    if left is None:
        return reaches
    if reaches.reason != "already above":
        high = None if left.p95 is None else left.p95 + soak_s
        return Forecast(Spread(left.p05 + soak_s, left.p50 + soak_s, high), None)
    rest_s = max(soak_s - above_for_s, 0.0)
    return Forecast(Spread(rest_s, rest_s, rest_s), None if rest_s > 0 else "soaked")


_WHY = {
    "level": "level: no change can be told from the readings",
    "equalising": "equalising: the rate has not settled",
    "levelling": "levelling off: it may not get that hot in these surroundings",
}


def _spread(times: Array, otherwise: str) -> Forecast:
    low, middle, high = (float(v) for v in quantiles(times, (0.05, 0.5, 0.95)))
    if not math.isfinite(middle) or middle >= 0.01 * NEVER_S:
        return Forecast(None, _WHY[otherwise])
    return Forecast(Spread(low, middle, None if high >= 0.01 * NEVER_S else high), None)
