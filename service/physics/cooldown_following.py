"""How one probe is followed: readings, gaps and disturbances into the bank of hypotheses.

The machinery behind ``service.physics.cooldown.Cooldown``, which asks the bank.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from service.physics.cooldown_bank import AROUND, Bank
from service.physics.cooldown_jumps import branch_jump, shifted
from service.physics.cooldown_kinds import (
    AS_BEFORE,
    CHANGED,
    SILENT,
)
from service.physics.cooldown_noise import Noise
from service.physics.cooldown_regimes import (
    USUAL_SHARE_SD,
    branch,
    branch_heating,
    calm_law,
    first_bank,
    past_rate_k_s,
    settled_law,
    usual_rate_k_s,
    usual_share,
)
from service.physics.cooldown_values import CooldownPrior

ASSUMED_AROUND_C, ASSUMED_AROUND_SD_K = 20.0, 8.0
MEASURED_AROUND_SD_K = 3.0
"""Walls and air differ, and the sensor hangs somewhere else: a measured ambient is not exact."""
BIN_S = 0.75
MOST_HYPOTHESES = 36
_HAZARD_PER_S = 1 / 600.0
# A record starts with the probe still settling: what it shows first is not yet the part's law.
_FRESH_HAZARD_PER_S, _UNSETTLED_S = 1 / 40.0, 40.0
_SILENT_HAZARD_PER_S = 1 / 50.0
_BRANCH_EVERY_S = 6.0
_STALE_S = 900.0
_LONGEST_S = 66.0
"""A channel may be read once a minute, and a little late."""
_RISING_K_S, _HEATING_SHARE = 0.02, 0.05


@dataclass(slots=True)
class Following:
    """What is known of one probe, and how a reading changes it; state is bounded.

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

    def _says_something(self, t_s: float) -> bool:
        """A reading is there, and not so long ago at ``t_s`` that it says nothing any more."""
        if self._pending:
            self._flush()
        return self._bank is not None and t_s - self._t_s <= _STALE_S and len(self._bank) > 0

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

    def _forward(self, t_s: float) -> None:
        if t_s < self._last_s:
            raise ValueError(f"time goes backwards: {t_s:g} s after {self._last_s:g} s")
        self._last_s = t_s

    def _flush(self) -> None:
        """Use the readings of the last second as one."""
        times = [t for t, _ in self._pending]
        values = [y for _, y in self._pending]
        self._pending.clear()
        self._take(float(np.mean(times)), float(np.mean(values)), None)

    def _take(self, t_s: float, value: float, own_var: float | None) -> None:
        """Use one value; ``own_var``: its own variance [K²], ``None``: the channel's."""
        if self._bank is None:
            self._begin(t_s, value, own_var)
            return
        dt = max(t_s - self._t_s, 0.0)
        bank = self._bank
        if dt > _STALE_S:
            # Nothing learnt before says anything now.
            self._begin(t_s, value, own_var)
            return
        if own_var is None:
            self._noise.add(t_s, value)
        gap = self._is_gap(dt)
        if gap:
            bank = bank.joined(branch(bank, self._t_s, SILENT, _changed_in(dt), room=self._room()))
        bank.advance(dt)
        bank = bank.sound()
        if not len(bank):
            self._begin(t_s, value, own_var)
            return
        self._t_s += dt
        t_s = self._t_s
        rate = float(bank.rates()[0][int(np.argmax(bank.log_weight))])
        noise_var = self._noise.of_reading(dt, rate) if own_var is None else own_var
        if gap:
            bank = bank.joined(branch(bank, t_s, CHANGED, 0.2, room=self._room()))
            jumped = branch_jump(
                bank, t_s, value, 0.4, room=self._room(), before=self._calm_now(), after_gap=True
            )
            bank = bank.joined(jumped)
        else:
            bank = self._with_jumps(bank, value, noise_var)
        self._interval_s += max(0.2, 1.0 / self._used) * (min(dt, _LONGEST_S) - self._interval_s)
        bank.update(value, noise_var)
        self._used += 1
        since = t_s - self._branched_s
        if since >= max(_BRANCH_EVERY_S, 3 * self._interval_s):
            bank = self._with_changes(bank, since)
        self._bank = bank.sound().pruned(MOST_HYPOTHESES)

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

    def _begin(self, t_s: float, value: float, own_var: float | None) -> None:
        around = self._room()
        prior = self.prior
        share = (usual_share(prior.metal, value, around[0]), USUAL_SHARE_SD)
        past = prior.past
        if past is not None and value > around[0] + 25 and past.holds_at(value):
            rate = past_rate_k_s(past, prior.metal, value, around[0])
            share = (past.radiative_share, 0.2)
        else:
            rate = usual_rate_k_s(prior.metal, prior.mass_kg, prior.area_m2, value, around[0])
        noise_var = self._noise.variance if own_var is None else own_var
        self._bank = first_bank(
            t_s, value, noise_var, around=around, rate=rate, metal=prior.metal, share=share
        )
        self._t_s = self._begun_s = self._branched_s = t_s
        if own_var is None:
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
        """Silence longer than the channel's own pace explains (unknown after one reading)."""
        pace_s = self._interval_s if self._used > 1 else _LONGEST_S / 4
        return silent_s > max(10.0, 4 * pace_s)

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
