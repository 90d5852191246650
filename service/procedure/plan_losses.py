"""The part's cooling as a plan must reckon with it: many possible parts side by side.

One lump with the joint's own loss: natural convection (~ΔT^1.25), radiation, gas, and what the arc
puts back, over c(T). Each possible part has its own factors, drawn once from what is known; the
same factors hold through all stages of its heat. Spreads are judgement, no source, except where a
line says otherwise; the benchmark ``tests/bench/plan.py`` holds them against an independent world.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.physics.cooldown_regimes import usual_rate_k_s
from service.physics.gas import gas_heat_w
from service.physics.heat_loss import convection_shape, radiation_shape
from service.physics.materials import Array, emissivity, specific_heat_table
from service.procedure.plan_ask import PastHeat, PlanAsk, Stage, StageKind

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
        arc_kept, gas_takes: See the module.
    """

    metal: str
    ambient_c: float
    rate_k_s: Array
    share: Array
    capacity_j_k: Array
    place: dict[StageKind, Array]
    covered: Array
    arc_kept: Array
    gas_takes: Array

    def slope_k_s(self, temperature_c: Array, stage: Stage) -> Array:
        """Rate of change of each part's joint [K/s], negative when it cools."""
        around, reference = np.array(self.ambient_c), np.array(REFERENCE_C)
        convected = convection_shape(temperature_c, around, reference)
        radiated = radiation_shape(temperature_c, around, reference)
        bare = convected + self.share * (radiated - convected)
        heat = self._relative_heat(temperature_c)
        factor = self.covered if stage.covered else self.place[stage.kind]
        slope = -self.rate_k_s * factor * bare / heat
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
    if ask.past:
        centre, sd = _taught(ask.past, ask, float(centre), sd)
    likely, _ = emissivity(ask.metal)
    share = np.clip(0.68 * likely / 0.8 + 0.15 * normal[1], 0.2, 0.95)
    mass = ask.mass_kg if ask.mass_kg is not None else 6.0
    mass_sd = 0.1 if ask.mass_kg is not None else 0.7
    grid, c = specific_heat_table(ask.metal)
    capacity = mass * float(np.interp(REFERENCE_C, grid, c)) * np.exp(mass_sd * normal[2])
    place = {
        kind: factor * np.exp(place_sd * normal[3 + index])
        for index, (kind, (factor, place_sd)) in enumerate(PLACE.items())
    }
    return Parts(
        metal=ask.metal,
        ambient_c=ask.ambient_c,
        rate_k_s=np.exp(centre + sd * normal[0]),
        share=share,
        capacity_j_k=capacity,
        place=place,
        covered=COVERED[0] * np.exp(COVERED[1] * normal[9]),
        arc_kept=rng.uniform(*ARC_KEPT, PARTS),
        gas_takes=rng.uniform(*GAS_TAKES, PARTS),
    )


def _taught(
    past: Sequence[PastHeat], ask: PlanAsk, centre: float, sd: float
) -> tuple[float, float]:
    """Logarithm of the bare rate after what past heats of this part showed."""
    grid, c = specific_heat_table(ask.metal)
    likely, _ = emissivity(ask.metal)
    share = 0.68 * likely / 0.8
    seen = []
    for heat in past:
        around, here, ref = np.array(heat.ambient_c), np.array(heat.at_c), np.array(REFERENCE_C)
        convected = convection_shape(here, around, ref)
        shape = float(convected + share * (radiation_shape(here, around, ref) - convected))
        shape *= float(np.interp(REFERENCE_C, grid, c) / np.interp(heat.at_c, grid, c))
        # The bench's own factor is in what was measured; the stages put it back.
        seen.append(np.log(heat.rate_k_s / shape / PLACE["fit-up"][0]))
    weight = len(seen) / PAST_SD**2
    precision = 1.0 / sd**2 + weight
    mean = (centre / sd**2 + float(np.mean(seen)) * weight) / precision
    return mean, float(np.sqrt(1.0 / precision))
