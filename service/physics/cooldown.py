"""How a part cools (or heats), and when it will cross a limit, with honest uncertainty.

One ``Cooldown`` follows one probe. Give it good readings; ask it for the temperature, the rate,
and the time until a limit is crossed. It never asks a clock and draws no random numbers of its
own: the same readings give the same answers, bit for bit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.physics.cooldown_answers import (
    Moment,
    middle_and_sd,
    soaked_forecast,
)
from service.physics.cooldown_bank import AROUND, SCALE, SHARE
from service.physics.cooldown_following import BIN_S, MOST_HYPOTHESES, Following
from service.physics.cooldown_kinds import (
    AS_BEFORE,
    CHANGED,
    FASTER,
    GAS_OFF,
    GAS_ON,
    SLOWER,
    Regime,
)
from service.physics.cooldown_regimes import (
    branch,
    branch_heating,
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


@dataclass(slots=True)
class Cooldown(Following):
    """Sequential Bayesian estimate of one probe's cooling; state is bounded.

    Args:
        prior: What is known of the part.
    """

    def observe(
        self,
        t_s: float,
        temperature_c: float,
        ambient_c: float | None = None,
        *,
        sd_k: float | None = None,
    ) -> None:
        """Take in one good reading.

        Args:
            t_s: Monotonic time [s]; never before the reading before.
            temperature_c: The reading [°C].
            ambient_c: Ambient measured at that time [°C]; ``None`` when not measured.
            sd_k: Its own standard deviation [K], above 0, where the reading was entered by hand
                (a handheld probe put on for a moment); ``None``: the channel's noise is learnt.

        Raises:
            ValueError: a number is not finite, ``sd_k`` not above 0, or time goes backwards.
        """
        if not (math.isfinite(t_s) and math.isfinite(temperature_c)):
            raise ValueError(f"a reading must be finite, not {temperature_c!r} at {t_s!r} s")
        if sd_k is not None and not (math.isfinite(sd_k) and sd_k > 0):
            raise ValueError(f"sd_k must be above 0, not {sd_k!r}")
        self._forward(t_s)
        if ambient_c is not None and math.isfinite(ambient_c):
            self._take_ambient(ambient_c)
        if sd_k is not None:
            if self._pending:
                self._flush()
            self._take(t_s, temperature_c, sd_k**2)
            return
        self._pending.append((t_s, temperature_c))
        if self._bank is None or t_s - self._t_s >= BIN_S or len(self._pending) >= 64:
            self._flush()

    def observe_mark(self, t_s: float, melts_at_c: float, *, melted: bool) -> None:
        """Take in a stroke with a temperature-indicating crayon: it melted, or it did not.

        It says only on which side of the crayon's temperature the part is, to 1 % of that in °C
        (makers' usual tolerance, from memory). A forecast cannot begin from it: before the first
        reading it is not used.

        Raises:
            ValueError: a number is not finite, or time goes backwards.
        """
        if not (math.isfinite(t_s) and math.isfinite(melts_at_c)):
            raise ValueError(f"a mark must be finite, not {melts_at_c!r} at {t_s!r} s")
        self._forward(t_s)
        if not self._says_something(t_s):
            return
        bank = self._carried_to(t_s).sound()
        if not len(bank):
            return
        bank.update_side(melts_at_c, max(0.005 * abs(melts_at_c), 1.0) ** 2, above=melted)
        self._bank = bank.pruned(MOST_HYPOTHESES)

    def known_change(self, t_s: float, change: Change) -> None:
        """Something happened that changes how the part cools; used at once."""
        if not self._says_something(t_s):
            return
        bank = self._carried_to(t_s)
        if change == "into oven":
            new = branch_heating(bank, self._t_s, 0.9)
        else:
            new = branch(bank, self._t_s, _TOLD.get(change, CHANGED), 0.9, room=self._room())
        if change in _OVER and self._settled is not None:
            new = new.joined(branch(bank, self._t_s, AS_BEFORE, 0.9, law=self._settled))
        self._bank = bank.joined(new).pruned(MOST_HYPOTHESES)
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
        if not self._says_something(t_s):
            return
        bank = self._carried_to(t_s)
        new = branch(bank, self._t_s, GAS_ON if step > 0 else GAS_OFF, 0.8, room=self._room())
        self._bank = bank.joined(new).pruned(MOST_HYPOTHESES)

    def until_below(self, limit_c: float, at_s: float) -> Forecast:
        """Seconds from ``at_s`` until the probe's own noise-free temperature falls below.

        Args:
            limit_c: The limit [°C].
            at_s: Now [s], not before the last reading.

        Returns:
            p05, p50 and p95 [s], or the reason why nothing can be said.
        """
        return self.at(at_s).until_below(limit_c)

    def until_above(self, limit_c: float, at_s: float) -> Forecast:
        """Seconds from ``at_s`` until the probe rises above ``limit_c`` (in the oven)."""
        return self.at(at_s).until_above(limit_c)

    def until_soaked(
        self, limit_c: float, soak_s: float, at_s: float, above_for_s: float = 0.0
    ) -> Forecast:
        """Seconds from ``at_s`` until it has been above ``limit_c`` for ``soak_s`` (in the oven).

        Args:
            limit_c: Lower end of the soak's band [°C].
            soak_s: How long it must soak [s], at least 0, see ``weld_heat.preheat_soak_min``.
            at_s: Now [s].
            above_for_s: How long it has been above already [s], at least 0.

        Raises:
            ValueError: a duration is negative or not finite.
        """
        return soaked_forecast(self.until_above(limit_c, at_s), soak_s, above_for_s)

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
        return self.at(at_s).level()

    def at(self, at_s: float) -> Moment:
        """What is believed of the moment ``at_s``, for several questions about it."""
        bank = self._at(at_s)
        silent = self._bank is not None
        nothing = f"no reading for {at_s - self._t_s:.0f} s" if silent else "no reading yet"
        return Moment(bank, at_s, self._used, nothing)
