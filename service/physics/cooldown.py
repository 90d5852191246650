"""How a part cools (or heats), and when it will cross a limit, with honest uncertainty.

One ``Cooldown`` follows one probe. Give it good readings; ask it for the temperature, the rate,
and the time until a limit is crossed. It never asks a clock and draws no random numbers of its
own: the same readings give the same answers, bit for bit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from service.physics.cooldown_bank import AROUND, Bank
from service.physics.cooldown_crossing import NEVER_S, crossing_times_s
from service.physics.cooldown_noise import Noise
from service.physics.cooldown_regimes import (
    AS_BEFORE,
    CHANGED,
    FASTER,
    SILENT,
    SLOWER,
    Regime,
    branch,
    branch_jump,
    first_bank,
    settled_law,
    usual_rate_k_s,
)
from service.readings import Forecast, Spread

Change = Literal[
    "left oven",
    "moved",
    "landed",
    "cover on",
    "cover off",
    "purge on",
    "purge off",
    "arc on",
    "arc off",
    "probe back",
    "into oven",
]

_TOLD: dict[Change, tuple[Regime, ...]] = {
    "left oven": FASTER,
    "landed": FASTER,
    "cover off": FASTER,
    "purge on": FASTER,
    "cover on": SLOWER,
    "purge off": SLOWER,
}
_OVER = frozenset({"arc off", "purge off", "cover off"})
"""Changes that end something: the law of before is then a likely one."""

ASSUMED_AROUND_C, ASSUMED_AROUND_SD_K = 20.0, 8.0
MEASURED_AROUND_SD_K = 3.0
"""Walls and air differ, and the sensor hangs somewhere else: a measured ambient is not exact."""
_BIN_S = 0.75
_MOST_HYPOTHESES = 36
_HAZARD_PER_S = 1 / 600.0
# A record starts with the probe still settling: what it shows first is not yet the part's law.
_FRESH_HAZARD_PER_S, _UNSETTLED_S = 1 / 40.0, 40.0
_SILENT_HAZARD_PER_S = 1 / 80.0
_BRANCH_EVERY_S = 6.0
_STALE_S = 900.0
# Standard normal quantiles at (i + ½)/15.
_HALF = (0.168, 0.341, 0.524, 0.728, 0.967, 1.282, 1.834)
_NORMAL_POINTS = np.array([*(-x for x in reversed(_HALF)), 0.0, *_HALF])


@dataclass(frozen=True, slots=True)
class CooldownPrior:
    """What is known of the part before the first reading.

    Attributes:
        metal: Casting metal, see ``service.judge.actions.Metal``.
        mass_kg: Mass [kg], or ``None``.
        area_m2: Outer surface [m²], or ``None``.
    """

    metal: str = "iron, unknown"
    mass_kg: float | None = None
    area_m2: float | None = None


@dataclass(frozen=True, slots=True)
class Rate:
    """Rate of change of the probe's temperature [°C/h], negative = cooling."""

    c_per_h: float
    sd_c_per_h: float


@dataclass(frozen=True, slots=True)
class Level:
    """Noise-free temperature of the probe [°C] and its standard deviation [K]."""

    temperature_c: float
    sd_k: float


@dataclass(slots=True)
class Cooldown:
    """Sequential Bayesian estimate of one probe's cooling; state is bounded.

    Args:
        prior: What is known of the part.
    """

    prior: CooldownPrior
    _bank: Bank | None = None
    _noise: Noise = field(default_factory=Noise)
    _t_s: float = 0.0
    _last_s: float = -math.inf
    _pending: list[tuple[float, float]] = field(default_factory=list)
    _ambient_c: float | None = None
    _interval_s: float = 1.0
    _used: int = 0
    _begun_s: float = 0.0
    _branched_s: float = 0.0
    _off_run: int = 0
    _arc: bool = False
    _settled: Bank | None = None

    def observe(self, t_s: float, temperature_c: float, ambient_c: float | None = None) -> None:
        """Take in one good reading.

        Args:
            t_s: Monotonic time [s]; never before the reading before.
            temperature_c: The reading [°C].
            ambient_c: Ambient measured at that time [°C]; ``None`` when not measured.

        Raises:
            ValueError: a number is not finite, or time goes backwards.
        """
        if not (math.isfinite(t_s) and math.isfinite(temperature_c)):
            raise ValueError(f"a reading must be finite, not {temperature_c!r} at {t_s!r} s")
        if t_s < self._last_s:
            raise ValueError(f"time goes backwards: {t_s:g} s after {self._last_s:g} s")
        self._last_s = t_s
        if ambient_c is not None and math.isfinite(ambient_c):
            self._take_ambient(ambient_c)
        self._pending.append((t_s, temperature_c))
        if self._bank is None or t_s - self._t_s >= _BIN_S or len(self._pending) >= 64:
            self._flush()

    def known_change(self, t_s: float, change: Change) -> None:
        """Something happened that changes how the part cools; used at once."""
        self._arc = change == "arc on" or (self._arc and change != "arc off")
        if self._bank is None:
            return
        bank = self._bank
        if t_s > self._t_s:
            bank.advance(t_s - self._t_s)
            self._t_s = t_s
        new = branch(bank, self._t_s, _TOLD.get(change, CHANGED), 0.9)
        if change in _OVER and self._settled is not None:
            new = new.joined(branch(bank, self._t_s, AS_BEFORE, 0.9, law=self._settled))
        self._bank = bank.joined(new).pruned(_MOST_HYPOTHESES)
        self._branched_s = self._t_s

    def set_gas_flow(self, t_s: float, argon_flow_l_min: float) -> None:
        """Purge gas flow [l/min at 20 °C]; a real change of it is a known change."""
        del t_s, argon_flow_l_min

    def until_below(self, limit_c: float, at_s: float) -> Forecast:
        """Seconds from ``at_s`` until the probe's own noise-free temperature falls below.

        Args:
            limit_c: The limit [°C].
            at_s: Now [s], not before the last reading.

        Returns:
            p05, p50 and p95 [s], or the reason why nothing can be said.
        """
        bank = self._at(at_s)
        if bank is None:
            return Forecast(None, "no reading yet")
        if at_s - self._t_s > _STALE_S:
            return Forecast(None, f"no reading for {at_s - self._t_s:.0f} s")
        rate, rate_sd = _moments(*bank.rates(), bank.weights())
        if _moments(*bank.predicted(), bank.weights())[0] < limit_c and rate < 0.5:
            return Forecast(Spread(0.0, 0.0, 0.0), "already below")
        reason = self._why_not(bank, limit_c, rate, rate_sd)
        if reason is not None:
            return Forecast(None, reason)
        return _spread(crossing_times_s(bank, limit_c, at_s), rate, rate_sd)

    def until_above(self, limit_c: float, at_s: float) -> Forecast:
        """Seconds from ``at_s`` until the probe rises above ``limit_c`` (in the oven)."""
        bank = self._at(at_s)
        if bank is None:
            return Forecast(None, "no reading yet")
        mean, _ = _moments(*bank.predicted(), bank.weights())
        if mean > limit_c:
            return Forecast(Spread(0.0, 0.0, 0.0), "already above")
        if self._used < 3:
            return Forecast(None, "too few readings")
        rate, rate_sd = _moments(*bank.rates(), bank.weights())
        if rate <= 2 * rate_sd:
            return Forecast(None, "not rising")
        fastest, slowest = rate + 1.645 * rate_sd, rate - 1.645 * rate_sd
        gap = limit_c - mean
        upper = None if slowest <= 0 else 2 * gap / slowest
        return Forecast(Spread(gap / fastest, gap / rate, upper), None)

    def rate(self) -> Rate | None:
        """How fast the probe cools or heats now; ``None`` while that is unknown."""
        if self._bank is None or self._used < 3:
            return None
        mean, sd = _moments(*self._bank.rates(), self._bank.weights())
        return Rate(3600.0 * mean, 3600.0 * sd)

    def level(self, at_s: float) -> Level | None:
        """The probe's noise-free temperature at ``at_s``; ``None`` before the first reading."""
        bank = self._at(at_s)
        if bank is None:
            return None
        mean, sd = _moments(*bank.predicted(), bank.weights())
        return Level(mean, sd)

    def _why_not(self, bank: Bank, limit_c: float, rate: float, rate_sd: float) -> str | None:
        if self._used < 3:
            return "too few readings"
        if rate > 2 * rate_sd:
            return "rising: heat is going in"
        around = float(bank.weights() @ bank.mean[:, AROUND])
        if limit_c <= around + 1.0:
            return f"it will not cool below {limit_c:.0f} °C in surroundings of {around:.0f} °C"
        return None

    def _take_ambient(self, ambient_c: float) -> None:
        if self._ambient_c is None:
            self._ambient_c = ambient_c
            if self._bank is not None:
                self._bank.mean[:, AROUND] = ambient_c
                self._bank.cov[:, AROUND, :] = 0.0
                self._bank.cov[:, :, AROUND] = 0.0
                self._bank.cov[:, AROUND, AROUND] = MEASURED_AROUND_SD_K**2
            return
        step = 0.05 * (ambient_c - self._ambient_c)
        self._ambient_c += step
        if self._bank is not None:
            self._bank.mean[:, AROUND] += step

    def _flush(self) -> None:
        """Use the readings of the last second as one."""
        times = [t for t, _ in self._pending]
        values = [y for _, y in self._pending]
        self._pending.clear()
        t_s, value = float(np.mean(times)), float(np.mean(values))
        if self._bank is None:
            self._begin(t_s, value)
            return
        dt = t_s - self._t_s
        bank = self._bank
        self._noise.add(t_s, value)
        gap = self._is_gap(dt)
        if gap:
            bank = bank.joined(branch(bank, self._t_s, SILENT, _changed_in(dt)))
        bank.advance(dt)
        self._t_s = t_s
        rate = float(bank.rates()[0][int(np.argmax(bank.log_weight))])
        noise_var = self._noise.of_reading(dt, rate)
        if gap:
            bank = bank.joined(branch(bank, t_s, CHANGED, 0.2))
            bank = bank.joined(branch_jump(bank, t_s, value, 0.4))
        elif self._jumped(bank, value, noise_var):
            bank = bank.joined(branch_jump(bank, t_s, value, 0.3))
        self._interval_s += 0.2 * (min(dt, 60.0) - self._interval_s)
        bank.update(value, noise_var)
        self._used += 1
        since = t_s - self._branched_s
        if since >= max(_BRANCH_EVERY_S, 3 * self._interval_s):
            bank = self._with_changes(bank, since)
        self._bank = bank.pruned(_MOST_HYPOTHESES)

    def _with_changes(self, bank: Bank, since_s: float) -> Bank:
        """Add what may have begun in the last ``since_s`` seconds."""
        t_s = self._t_s
        self._branched_s = t_s
        fresh = math.exp(-(t_s - self._begun_s) / _UNSETTLED_S)
        begun = 1 - math.exp(-since_s * (_HAZARD_PER_S + fresh * _FRESH_HAZARD_PER_S))
        new = branch(bank, t_s, CHANGED, begun)
        law = settled_law(bank, t_s)
        if law is not None:
            self._settled = law
        elif self._settled is not None:
            new = new.joined(branch(bank, t_s, AS_BEFORE, 0.5 * begun, law=self._settled))
        return bank.joined(new)

    def _begin(self, t_s: float, value: float) -> None:
        around = (
            (ASSUMED_AROUND_C, ASSUMED_AROUND_SD_K)
            if self._ambient_c is None
            else (self._ambient_c, MEASURED_AROUND_SD_K)
        )
        rate = usual_rate_k_s(
            self.prior.metal, self.prior.mass_kg, self.prior.area_m2, value, around[0]
        )
        noise_var = self._noise.variance
        self._bank = first_bank(
            t_s, value, noise_var, around=around, rate=rate, metal=self.prior.metal
        )
        self._t_s = self._begun_s = self._branched_s = t_s
        self._noise.add(t_s, value)
        self._used = 1

    def _is_gap(self, silent_s: float) -> bool:
        """Silence longer than the channel's own pace explains."""
        return silent_s > max(10.0, 4 * self._interval_s)

    def _jumped(self, bank: Bank, value: float, noise_var: float) -> bool:
        """Two readings running that nothing expected: the probe itself was disturbed."""
        expected, variance = bank.predicted()
        likely = bank.log_weight > bank.log_weight.max() - 5
        off = np.abs(value - expected[likely]) / np.sqrt(variance[likely] + noise_var)
        self._off_run = self._off_run + 1 if float(off.min()) > 5 else 0
        return self._off_run in {2, 6}

    def _at(self, at_s: float) -> Bank | None:
        """A copy of the bank carried on to ``at_s``; the state itself does not change."""
        if self._bank is None:
            return None
        copy = self._bank.take(np.flatnonzero(self._bank.weights() > 1e-3))
        if at_s <= self._t_s:
            return copy
        silent = at_s - self._t_s
        if self._is_gap(silent):
            # Nobody knows what was done to it meanwhile: carried, set down, covered.
            copy = copy.joined(branch(copy, self._t_s, SILENT, _changed_in(silent)))
        copy.advance(silent)
        return copy


def _changed_in(silent_s: float) -> float:
    """How likely it is that the part was moved, set down or covered while nothing was read."""
    return 1 - math.exp(-silent_s * _SILENT_HAZARD_PER_S)


def _moments(value: np.ndarray, variance: np.ndarray, weights: np.ndarray) -> tuple[float, float]:
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


def _spread(times: np.ndarray, rate: float, rate_sd: float) -> Forecast:
    low, middle, high = (float(v) for v in np.quantile(times, (0.05, 0.5, 0.95)))
    if middle >= 0.01 * NEVER_S:
        if abs(rate) < 2 * rate_sd:
            return Forecast(None, "level: no cooling can be told from the readings")
        return Forecast(None, "it may never get there in these surroundings")
    upper = None if high >= 0.01 * NEVER_S else high
    return Forecast(Spread(low, middle, upper), None)
