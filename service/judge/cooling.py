"""One probe on one part: its good readings handed to the cooldown model, once a second.

The model is told what is known to change the cooling (out of the oven, onto the bench, under
cover, gas, arc, a probe put back). Forecasts are made on whole seconds of shop time only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from service.judge.actions import HeatPhase
from service.judge.ahead import TOUCH_C
from service.judge.channel import ChannelTrack, Standing
from service.judge.joint_limits import in_force
from service.judge.measured_rate import MeasuredRate
from service.judge.probe_error import within_error
from service.judge.shop import Part
from service.physics.cooldown import Change, Cooldown, CooldownPrior, Level, Rate
from service.readings import Forecast

MOVES: dict[tuple[HeatPhase, HeatPhase], tuple[Change, ...]] = {
    ("oven", "carry"): ("left oven",),
    ("oven", "bench"): ("left oven", "landed"),
    ("oven", "slow cool"): ("cover on",),
    ("carry", "bench"): ("landed",),
    ("carry", "oven"): ("into oven",),
    ("carry", "slow cool"): ("landed", "cover on"),
    ("bench", "carry"): ("moved",),
    ("bench", "oven"): ("into oven",),
    ("bench", "slow cool"): ("cover on",),
    ("slow cool", "bench"): ("cover off",),
    ("slow cool", "carry"): ("cover off", "moved"),
    ("slow cool", "oven"): ("into oven",),
}
"""What a move does to the cooling."""

PLAUSIBLE_KG_M2 = (2.0, 800.0)
"""Mass over outer surface of anything welded here [kg/m²]: from 0.5 mm sheet seen from both sides
(own calculation) to a solid block 0.6 m across."""
OTHER_WORLD: frozenset[Change] = frozenset({"left oven", "into oven"})
FLOW_STEP_L_MIN = 0.5
"""Smaller changes of the argon flow are not worth telling the cooldown model [l/min]."""


@dataclass(slots=True)
class CoolingTrack:
    """The cooldown model of one probe on one part, and what it was last asked.

    Attributes:
        sum_s, sum_c, count: Good readings since the last whole second.
        told_s: Shop time [s] up to which the model knows the story.
        closes, opens, touch, rate, level: The newest answers, for the moment ``asked_us``.
    """

    channel: str
    model: Cooldown
    sum_s: float = 0.0
    sum_c: float = 0.0
    count: int = 0
    told_s: float = float("-inf")
    waited: bool = False
    flow_l_min: float | None = None
    closes: Forecast | None = None
    opens: Forecast | None = None
    below_interpass: Forecast | None = None
    touch: Forecast | None = None
    rate: Rate | None = None
    level: Level | None = None
    asked_us: int | None = None
    error_k: float | None = None
    """How far the probe may be off all the time, 19 times in 20 [K]; ``None``: nobody has said."""
    changes: list[tuple[float, Change]] = field(default_factory=list)
    measured: MeasuredRate = field(default_factory=MeasuredRate)

    def take(self, measured_us: int, temperature_c: float) -> None:
        """A good, settled reading [°C]."""
        self.sum_s += measured_us / 1e6
        self.sum_c += temperature_c
        self.count += 1

    def changed(self, mono_us: int, changes: tuple[Change, ...]) -> None:
        """Something known to change the cooling happened; readings before it go in first."""
        for change in changes:
            self.changes.append((mono_us / 1e6, change))

    def second(self, now_us: int, track: ChannelTrack, ambient_c: float | None) -> None:
        """The whole second ``now_us``: hand over what came in it."""
        settled = track.standing(now_us) is Standing.GOOD
        if not settled:
            self.waited = True
        elif self.waited:
            self.waited = False
            self.measured.begin_anew()
            self.changes.append((now_us / 1e6, "probe back"))
        self._observe(ambient_c)
        for at_s, change in self.changes:
            self.told_s = max(self.told_s, at_s)
            if change in OTHER_WORLD:
                self._begin_anew()
            else:
                self.model.known_change(self.told_s, change)
        self.changes = []

    def _begin_anew(self) -> None:
        """What was learnt in the oven says nothing about the bench, and the other way round: a
        fresh model with the part's usual loss takes over where the old one stands."""
        level = self.model.level(self.told_s)
        self.model = Cooldown(self.model.prior)
        self.flow_l_min = None
        if level is not None:
            self.model.observe(self.told_s, level.temperature_c)

    def _observe(self, ambient_c: float | None) -> None:
        if not self.count:
            return
        t_s, temperature_c = self.sum_s / self.count, self.sum_c / self.count
        self.sum_s = self.sum_c = 0.0
        self.count = 0
        if t_s > self.told_s:
            self.told_s = t_s
            self.model.observe(t_s, temperature_c, ambient_c)
            self.measured.take(t_s, temperature_c)

    def flow(self, now_us: int, argon_flow_l_min: float) -> None:
        """Purge gas through the part [l/min]; only real changes reach the model."""
        if self.flow_l_min is None and argon_flow_l_min < FLOW_STEP_L_MIN:
            return
        before = self.flow_l_min or 0.0
        if abs(argon_flow_l_min - before) < FLOW_STEP_L_MIN:
            return
        self.flow_l_min = argon_flow_l_min
        self.told_s = max(self.told_s, now_us / 1e6)
        self.model.set_gas_flow(self.told_s, argon_flow_l_min)

    def ask(self, now_us: int, part: Part, phase: HeatPhase) -> None:
        """Forecasts for this whole second; expensive, so only for what the phase needs."""
        at_s = max(self.told_s, now_us / 1e6)
        self.asked_us = now_us
        now = self.model.at(at_s)
        self.rate, self.level = self.model.rate(), now.level()
        if phase == "slow cool":
            self.rate = self.measured.rate(at_s)
        self.closes = self.opens = self.below_interpass = self.touch = None
        limits = in_force(part)
        low, high = limits.preheat_min_c, limits.interpass_max_c
        if phase == "slow cool":
            self.touch = self._when(now.until_below, TOUCH_C)
        elif phase == "oven":
            self.opens = None if low is None else self._when(now.until_above, low)
        elif phase in ("carry", "bench"):
            self.closes = None if low is None else self._when(now.until_below, low)
            if high is not None and self.level is not None and self.level.temperature_c > high:
                self.below_interpass = self._when(now.until_below, high)

    def _when(self, ask: Callable[[float], Forecast], limit_c: float) -> Forecast:
        return within_error(ask, limit_c, self.error_k)

    def forget_answers(self) -> None:
        """Nothing can be said any more."""
        self.closes = self.opens = self.below_interpass = self.touch = None
        self.rate = self.level = None
        self.asked_us = None


def begin_cooling(channel: str, part: Part) -> CoolingTrack:
    """A fresh model for a probe on a part: nothing learnt elsewhere is carried over."""
    mass_kg, area_m2 = part.mass_kg, part.area_m2
    if mass_kg is not None and area_m2 is not None:
        least, most = PLAUSIBLE_KG_M2
        if not least <= mass_kg / area_m2 <= most:
            mass_kg = area_m2 = None  # one of them is a slip of the pen: neither is believed
    return CoolingTrack(channel, Cooldown(CooldownPrior(part.metal, mass_kg, area_m2, part.past)))
