"""The part's cooling as a plan must reckon with it: many possible parts side by side.

One lump with the joint's own loss: natural convection (~ΔT^1.25), radiation, gas, and what the arc
puts back, over c(T). Each possible part has its own factors, drawn once from what is known; the
same factors hold through all stages of its heat. Spreads are judgement, no source, except where a
line says otherwise; the benchmark ``tests/bench/plan.py`` holds them against an independent world.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.physics.cooldown_regimes import usual_rate_k_s
from service.physics.gas import gas_heat_w
from service.physics.heat_loss import convection_shape, radiation_shape
from service.physics.materials import Array, specific_heat_table
from service.procedure.lessons import Quantity
from service.procedure.loss_law import COVERED_AT_C, relative_rate, usual_radiative_share
from service.procedure.plan_ask import PlanAsk, Stage, StageKind
from service.procedure.pooling import Pooled, pool

PARTS = 600
SEED = 20260303
STEP_S = 5.0
REFERENCE_C = 350.0
SIZE_KNOWN_SD = 0.38
"""Of the logarithm of the loss, with mass and area: wall, shape and surface differ."""
SIZE_UNKNOWN_SD = 0.75
JOINT_SD = 0.25
"""The coldest channel of the joint against the whole casting: its wall is thinner or thicker."""
JOINT_FACTOR = 1.25
PAST_SD = 0.10
"""One heat against the next of the same part: it stands elsewhere, in other air."""
SAID_SD = 0.03
"""How well a rate is read off a record."""
CARRY_UNKNOWN_SD = 0.15
EVERYWHERE = (-math.inf, math.inf)
BARE: Quantity = "loss bare"
CARRIED: Quantity = "loss carried"
UNDER: Quantity = "loss under cover"
OVEN_OFF_BY: Quantity = "oven above its setting"
PLACE: dict[StageKind, tuple[float, float]] = {
    "carry": (1.20, 0.08),  # through moving air
    "fit-up": (1.15, 0.08),  # on a bench, against clamps
    "brush": (1.15, 0.08),
    "purge": (1.15, 0.08),
    "pass": (1.10, 0.08),
    "pause": (1.15, 0.08),
}
"""Loss against a bare part in still air, and the spread of its logarithm."""
COVERED = (0.15, 0.35)
"""Under a blanket: about a tenth to a fifth of the bare loss (own calculation for 25 to 50 mm of
fibre)."""
ARC_KEPT = (0.6, 1.6)
"""The arc's heat at the joint's coldest channel against the same spread over the casting: more,
because it enters here, or less, because it enters on the other side."""
GAS_TAKES = (0.2, 0.9)
"""How much of its greatest possible heat the gas carries off (1: it leaves as hot as the part)."""


@dataclass(frozen=True, slots=True)
class Parts:
    """``PARTS`` possible parts; every array has one entry for each.

    Attributes:
        rate_k_s: Bare cooling rate of the joint at ``REFERENCE_C`` in the asked air [K/s].
        share: Radiative share of it.
        capacity_j_k: Heat capacity at ``REFERENCE_C`` [J/K]; guessed without a mass.
        place: Factor of each kind of stage.
        covered: Factor under a blanket.
        untaught_k_s, untaught_covered: The same without what past heats taught.
        believed_c, believed_covered_c: Temperatures between which that is believed [°C].
        arc_kept, gas_takes: See the module.
        above_setting_k: How far the part comes to rest above the oven's setting [K].
    """

    metal: str
    ambient_c: float
    rate_k_s: Array
    share: Array
    capacity_j_k: Array
    place: dict[StageKind, Array]
    covered: Array
    untaught_k_s: Array
    untaught_covered: Array
    believed_c: tuple[float, float]
    believed_covered_c: tuple[float, float]
    arc_kept: Array
    gas_takes: Array
    above_setting_k: Array

    def slope_k_s(self, temperature_c: Array, stage: Stage) -> Array:
        """Rate of change of each part's joint [K/s], negative when it cools."""
        around, reference = np.array(self.ambient_c), np.array(REFERENCE_C)
        convected = convection_shape(temperature_c, around, reference)
        radiated = radiation_shape(temperature_c, around, reference)
        bare = convected + self.share * (radiated - convected)
        heat = self._relative_heat(temperature_c)
        taught = _within(temperature_c, self.believed_c)
        rate = np.where(taught, self.rate_k_s, self.untaught_k_s)
        factor = self.place[stage.kind]
        if stage.covered:
            seen = taught & _within(temperature_c, self.believed_covered_c)
            factor = np.where(seen, self.covered, self.untaught_covered)
        slope = -rate * factor * bare / heat
        if stage.argon_flow_l_min > 0:
            per_k = gas_heat_w(stage.argon_flow_l_min, 20.0, 120.0) / 100.0
            taken = per_k * self.gas_takes * (temperature_c - self.ambient_c)
            slope = slope - taken / (self.capacity_j_k * heat)
        if stage.arc_w > 0:
            slope = slope + stage.arc_w * self.arc_kept / (self.capacity_j_k * heat)
        return np.asarray(slope)

    def _relative_heat(self, temperature_c: Array) -> Array:
        grid, c = specific_heat_table(self.metal)
        return np.asarray(np.interp(temperature_c, grid, c) / np.interp(REFERENCE_C, grid, c))

    def through(self, temperature_c: Array, stage: Stage, *, back: bool = False) -> Array:
        """The joint at the other end of a stage [°C]: after it, or (``back``) before it."""
        seconds = stage.minutes * 60.0
        steps = max(1, round(seconds / STEP_S))
        dt = (-seconds if back else seconds) / steps
        t = temperature_c
        for _ in range(steps):
            k1 = self.slope_k_s(t, stage)
            k2 = self.slope_k_s(t + 0.5 * dt * k1, stage)
            # Backwards the curve steepens; beyond this no oven goes and no answer is needed.
            t = np.clip(t + dt * k2, self.ambient_c, 1300.0)
        return t


def possible_parts(ask: PlanAsk) -> Parts:
    """What the part may be like, by what is known of it."""
    rng = np.random.default_rng(SEED)
    normal = rng.standard_normal((10, PARTS))
    usual, _ = usual_rate_k_s(ask.metal, ask.mass_kg, ask.area_m2, REFERENCE_C, ask.ambient_c)
    known = ask.mass_kg is not None and ask.area_m2 is not None
    centre, sd = np.log(usual * JOINT_FACTOR), SIZE_KNOWN_SD if known else SIZE_UNKNOWN_SD
    sd = float(np.hypot(sd, JOINT_SD))
    untaught = np.exp(centre + sd * normal[0])
    seen = [*_said(ask), *_bare_seen(ask)]
    if seen:
        centre, sd = _taught(seen, float(centre), sd)
    share = np.clip(usual_radiative_share(ask.metal) + 0.15 * normal[1], 0.2, 0.95)
    mass = ask.mass_kg if ask.mass_kg is not None else 6.0
    mass_sd = 0.1 if ask.mass_kg is not None else 0.7
    grid, c = specific_heat_table(ask.metal)
    capacity = mass * float(np.interp(REFERENCE_C, grid, c)) * np.exp(mass_sd * normal[2])
    place = {
        kind: factor * np.exp(place_sd * normal[3 + index])
        for index, (kind, (factor, place_sd)) in enumerate(PLACE.items())
    }
    untaught_covered = COVERED[0] * np.exp(COVERED[1] * normal[9])
    covered = untaught_covered
    if BARE in ask.learnt:
        _carried_so(ask, place, centre, normal[3])
        covered = _covered_so(ask, centre, normal[9], untaught_covered)
    return Parts(
        metal=ask.metal,
        ambient_c=ask.ambient_c,
        rate_k_s=np.exp(centre + sd * normal[0]),
        share=share,
        capacity_j_k=capacity,
        place=place,
        covered=covered,
        untaught_k_s=untaught,
        untaught_covered=untaught_covered,
        believed_c=ask.learnt[BARE].believed_c() if BARE in ask.learnt else EVERYWHERE,
        believed_covered_c=ask.learnt[UNDER].believed_c() if UNDER in ask.learnt else EVERYWHERE,
        arc_kept=rng.uniform(*ARC_KEPT, PARTS),
        gas_takes=rng.uniform(*GAS_TAKES, PARTS),
        above_setting_k=_above_setting_k(ask, rng.standard_normal(PARTS)),
    )


def _within(temperature_c: Array, between_c: tuple[float, float]) -> NDArray[np.bool_]:
    low, high = between_c
    return np.asarray((temperature_c >= low) & (temperature_c <= high))


def _said(ask: PlanAsk) -> list[Pooled]:
    """Logarithms of the bare rate that heats somebody tells of come to, pooled."""
    grid, c = specific_heat_table(ask.metal)
    share = usual_radiative_share(ask.metal)
    seen = []
    for heat in ask.past:
        around, here, ref = np.array(heat.ambient_c), np.array(heat.at_c), np.array(REFERENCE_C)
        convected = convection_shape(here, around, ref)
        shape = float(convected + share * (radiation_shape(here, around, ref) - convected))
        shape *= float(np.interp(REFERENCE_C, grid, c) / np.interp(heat.at_c, grid, c))
        seen.append(math.log(heat.rate_k_s / shape))
    return [pool(seen, [SAID_SD] * len(seen), PAST_SD)] if seen else []


def _bare_seen(ask: PlanAsk) -> list[Pooled]:
    return [ask.learnt[BARE].pooled] if BARE in ask.learnt else []


def _taught(seen: Sequence[Pooled], centre: float, sd: float) -> tuple[float, float]:
    """Logarithm of the bare rate after what past heats of this part showed.

    The bench's own factor, and the usual spread from heat to heat (``PAST_SD``, as in ``PLACE``'s),
    are in the stages; where heats of this part differ by more, that is added.
    """
    precision = 1.0 / sd**2
    total = centre * precision
    more = 0.0
    for each in seen:
        weight = 1.0 / each.sd**2
        total += (each.mean - math.log(PLACE["fit-up"][0])) * weight
        precision += weight
        more = max(more, each.between**2 - PAST_SD**2)
    return total / precision, math.sqrt(1.0 / precision + more)


def _carried_so(ask: PlanAsk, place: dict[StageKind, Array], centre: float, normal: Array) -> None:
    """What was seen of the carry, against the same part bare; with the usual where little was."""
    if CARRIED not in ask.learnt:
        return
    seen, (usual, usual_sd) = ask.learnt[CARRIED].pooled, PLACE["carry"]
    own_sd = math.hypot(CARRY_UNKNOWN_SD, usual_sd)
    weight, mean = 1.0 / own_sd**2, math.log(usual)
    seen_weight = 1.0 / (seen.sd**2 + seen.between**2)
    middle = (mean * weight + (seen.mean - centre) * seen_weight) / (weight + seen_weight)
    place["carry"] = np.exp(middle + math.sqrt(1.0 / (weight + seen_weight)) * normal)


def _above_setting_k(ask: PlanAsk, normal: Array) -> Array:
    seen = ask.learnt.get(OVEN_OFF_BY)
    if seen is None:
        return np.zeros(PARTS)
    return np.asarray(seen.pooled.mean + seen.pooled.next_sd * normal)


def _covered_so(ask: PlanAsk, centre: float, normal: Array, untaught: Array) -> Array:
    if UNDER not in ask.learnt:
        return untaught
    seen = ask.learnt[UNDER].pooled
    at = np.array(COVERED_AT_C)
    bare = centre + math.log(float(relative_rate(at, ask.metal, "bare")))
    weight, seen_weight = 1.0 / COVERED[1] ** 2, 1.0 / (seen.sd**2 + seen.between**2)
    middle = math.log(COVERED[0]) * weight + (seen.mean - bare) * seen_weight
    middle /= weight + seen_weight
    return np.asarray(np.exp(middle + math.sqrt(1.0 / (weight + seen_weight)) * normal))
