"""How a part cools (or heats), and when it will cross a limit, with honest uncertainty.

One ``Cooldown`` follows one probe. Give it good readings; ask it for the temperature, the rate,
and the time until a limit is crossed. It never asks a clock and draws no random numbers of its
own: the same readings give the same answers, bit for bit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from service.physics.cooldown_answers import falling_forecast, middle_and_sd, rising_forecast
from service.physics.cooldown_bank import AROUND, SCALE, SHARE, Bank
from service.physics.cooldown_kinds import (
    AS_BEFORE,
    CHANGED,
    FASTER,
    GAS_OFF,
    GAS_ON,
    SILENT,
    SLOWER,
    Regime,
)
from service.physics.cooldown_noise import Noise
from service.physics.cooldown_regimes import (
    USUAL_SHARE_SD,
    branch,
    branch_heating,
    branch_jump,
    calm_law,
    first_bank,
    past_rate_k_s,
    settled_law,
    shifted,
    usual_rate_k_s,
    usual_share,
)
from service.physics.cooldown_values import Change, CooldownPrior, Level, PastLaw, Rate
from service.readings import Forecast

__all__ = ["Change", "Cooldown", "CooldownPrior", "Level", "PastLaw", "Rate"]


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
_SILENT_HAZARD_PER_S = 1 / 50.0
_BRANCH_EVERY_S = 6.0
_STALE_S = 900.0
_RISING_K_S, _HEATING_SHARE = 0.02, 0.05


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
    _gas_l_min: float = 0.0
    _settled: Bank | None = None
    _calm: Bank | None = None
    _calm_s: float = 0.0

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
        if self._bank is None:
            return
        bank = self._carried_to(t_s)
        if change == "into oven":
            new = branch_heating(bank, self._t_s, 0.9)
        else:
            new = branch(bank, self._t_s, _TOLD.get(change, CHANGED), 0.9, room=self._room())
        if change in _OVER and self._settled is not None:
            new = new.joined(branch(bank, self._t_s, AS_BEFORE, 0.9, law=self._settled))
        self._bank = bank.joined(new).pruned(_MOST_HYPOTHESES)
        self._branched_s = self._t_s

    def set_gas_flow(self, t_s: float, argon_flow_l_min: float) -> None:
        """Purge gas flow through the part [l/min at 20 °C]; a real change of it is used at once.

        Raises:
            ValueError: the flow is negative or not finite.
        """
        if not (math.isfinite(argon_flow_l_min) and argon_flow_l_min >= 0):
            raise ValueError(f"argon_flow_l_min must be at least 0, not {argon_flow_l_min!r}")
        before, step = self._gas_l_min, argon_flow_l_min - self._gas_l_min
        if abs(step) < max(1.0, 0.2 * before):
            return
        self._gas_l_min = argon_flow_l_min
        if self._bank is None:
            return
        bank = self._carried_to(t_s)
        new = branch(bank, self._t_s, GAS_ON if step > 0 else GAS_OFF, 0.8, room=self._room())
        self._bank = bank.joined(new).pruned(_MOST_HYPOTHESES)

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
            return self._nothing_known(at_s)
        return falling_forecast(bank, limit_c, at_s, self._used)

    def until_above(self, limit_c: float, at_s: float) -> Forecast:
        """Seconds from ``at_s`` until the probe rises above ``limit_c`` (in the oven)."""
        bank = self._at(at_s)
        if bank is None:
            return self._nothing_known(at_s)
        return rising_forecast(bank, limit_c, at_s, self._used)

    def rate(self) -> Rate | None:
        """How fast the probe cools or heats now; ``None`` while that is unknown."""
        if self._bank is None or self._used < 3:
            return None
        mean, sd = middle_and_sd(*self._bank.rates(), self._bank.weights())
        return Rate(3600.0 * mean, 3600.0 * sd)

    def learnt(self) -> PastLaw | None:
        """The law of the last regime that lasted, for ``CooldownPrior.past`` of the next heat."""
        law = self._settled
        if law is None:
            return None
        scale, share, around = (float(law.mean[0, i]) for i in (SCALE, SHARE, AROUND))
        return PastLaw(scale, float(law.reference_c[0]), share, around)

    def level(self, at_s: float) -> Level | None:
        """The probe's noise-free temperature at ``at_s``; ``None`` before the first reading."""
        bank = self._at(at_s)
        if bank is None:
            return None
        mean, sd = middle_and_sd(*bank.predicted(), bank.weights())
        return Level(mean, sd)

    def _nothing_known(self, at_s: float) -> Forecast:
        if self._bank is None:
            return Forecast(None, "no reading yet")
        return Forecast(None, f"no reading for {at_s - self._t_s:.0f} s")

    def _room(self) -> tuple[float, float]:
        """The shop's temperature and its standard deviation [°C]."""
        if self._ambient_c is None:
            return ASSUMED_AROUND_C, ASSUMED_AROUND_SD_K
        return self._ambient_c, MEASURED_AROUND_SD_K

    def _carried_to(self, t_s: float) -> Bank:
        """The bank at ``t_s``, with every reading before it used."""
        if self._pending:
            self._flush()
        bank = self._bank
        if bank is None:
            raise RuntimeError("no reading yet")
        if t_s > self._t_s:
            bank.advance(t_s - self._t_s)
            self._t_s = t_s
        return bank

    def _take_ambient(self, ambient_c: float) -> None:
        """Use a measured ambient; the surroundings follow its slow changes."""
        if self._ambient_c is None:
            self._ambient_c = ambient_c
            if self._bank is not None:
                self._bank.set_around(*self._room())
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
        dt = max(t_s - self._t_s, 0.0)
        bank = self._bank
        self._noise.add(t_s, value)
        gap = self._is_gap(dt)
        if gap:
            bank = bank.joined(branch(bank, self._t_s, SILENT, _changed_in(dt), room=self._room()))
        bank.advance(dt)
        bank = bank.sound()
        if not len(bank) or dt > _STALE_S:
            # Nothing learnt before says anything now.
            self._begin(t_s, value)
            return
        self._t_s += dt
        t_s = self._t_s
        rate = float(bank.rates()[0][int(np.argmax(bank.log_weight))])
        noise_var = self._noise.of_reading(dt, rate)
        if gap:
            bank = bank.joined(branch(bank, t_s, CHANGED, 0.2, room=self._room()))
            jumped = branch_jump(
                bank, t_s, value, 0.4, room=self._room(), before=self._calm_now(), after_gap=True
            )
            bank = bank.joined(jumped)
        else:
            bank = self._with_jumps(bank, value, noise_var)
        self._interval_s += 0.2 * (min(dt, 60.0) - self._interval_s)
        bank.update(value, noise_var)
        self._used += 1
        since = t_s - self._branched_s
        if since >= max(_BRANCH_EVERY_S, 3 * self._interval_s):
            bank = self._with_changes(bank, since)
        self._bank = bank.sound().pruned(_MOST_HYPOTHESES)

    def _with_changes(self, bank: Bank, since_s: float) -> Bank:
        """Add what may have begun in the last ``since_s`` seconds."""
        t_s = self._t_s
        self._branched_s = t_s
        calm = calm_law(bank, t_s)
        if calm is not None and self._off_run == 0:
            self._calm, self._calm_s = calm, t_s
        fresh = math.exp(-(t_s - self._begun_s) / _UNSETTLED_S)
        begun = 1 - math.exp(-since_s * (_HAZARD_PER_S + fresh * _FRESH_HAZARD_PER_S))
        new = branch(bank, t_s, CHANGED, begun, room=self._room())
        if float(bank.rates()[0][int(np.argmax(bank.log_weight))]) > _RISING_K_S:
            new = new.joined(branch_heating(bank, t_s, max(begun, _HEATING_SHARE)))
        law = settled_law(bank, t_s)
        if law is not None:
            self._settled = law
        elif self._settled is not None:
            new = new.joined(branch(bank, t_s, AS_BEFORE, 0.5 * begun, law=self._settled))
        return bank.joined(new)

    def _begin(self, t_s: float, value: float) -> None:
        around = self._room()
        prior = self.prior
        share = (usual_share(prior.metal, value, around[0]), USUAL_SHARE_SD)
        past = prior.past
        if past is not None and value > around[0] + 25:
            rate = past_rate_k_s(past, prior.metal, value, around[0])
            share = (past.radiative_share, 0.2)
        else:
            rate = usual_rate_k_s(prior.metal, prior.mass_kg, prior.area_m2, value, around[0])
        noise_var = self._noise.variance
        self._bank = first_bank(
            t_s, value, noise_var, around=around, rate=rate, metal=prior.metal, share=share
        )
        self._t_s = self._begun_s = self._branched_s = t_s
        self._noise.add(t_s, value)
        self._used = 1

    def _calm_now(self) -> Bank | None:
        """The part as it was before the probe was disturbed, carried on to now."""
        if self._calm is None or self._t_s - self._calm_s > _STALE_S:
            return None
        part = self._calm.take(np.array([0]))
        part.advance(self._t_s - self._calm_s)
        return part if len(part.sound()) else None

    def _is_gap(self, silent_s: float) -> bool:
        """Silence longer than the channel's own pace explains."""
        return silent_s > max(10.0, 4 * self._interval_s)

    def _with_jumps(self, bank: Bank, value: float, noise_var: float) -> Bank:
        """Add what a reading means that nothing expected.

        At once: everything goes on as before, only the reading has shifted (a converter's step,
        a clip that slid a little). After two of them running: the probe itself was disturbed.
        """
        expected, variance = bank.predicted()
        likely = bank.log_weight > bank.log_weight.max() - 5
        off = np.abs(value - expected[likely]) / np.sqrt(variance[likely] + noise_var)
        surprise = float(off.min())
        self._off_run = self._off_run + 1 if surprise > 5 else 0
        if self._off_run in {2, 6}:
            jumped = branch_jump(
                bank, self._t_s, value, 0.3, room=self._room(), before=self._calm_now()
            )
            return bank.joined(jumped)
        if surprise > 3.5:
            return bank.joined(shifted(bank, 0.05))
        return bank

    def _at(self, at_s: float) -> Bank | None:
        """A copy of the bank carried on to ``at_s``; the state itself does not change.

        ``None`` without a reading, or when the last one is too long ago to say anything.
        """
        if self._bank is None:
            return None
        if at_s - self._t_s > _STALE_S:
            return None
        copy = self._bank.take(np.flatnonzero(self._bank.weights() > 1e-3))
        if at_s <= self._t_s:
            return copy
        silent = at_s - self._t_s
        if self._is_gap(silent):
            # Nobody knows what was done to it meanwhile: carried, set down, covered.
            copy = copy.joined(branch(copy, self._t_s, SILENT, _changed_in(silent)))
        copy.advance(silent)
        copy = copy.sound()
        return copy if len(copy) else None


def _changed_in(silent_s: float) -> float:
    """How likely it is that the part was moved, set down or covered while nothing was read."""
    return min(0.95, 1 - math.exp(-silent_s * _SILENT_HAZARD_PER_S))
