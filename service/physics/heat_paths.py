"""Where a part's heat goes now: into the air, as radiation, into the argon, into what it touches.

Once the mass is known, the measured rate of cooling says how much heat leaves altogether; the
paths that can be calculated are calculated, and what is left over is contact and the unknown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from service.physics.cooldown import Level, Rate
from service.physics.gas import gas_heat_w
from service.physics.heat_loss import (
    natural_convection_w_m2_k,
    radiation_coefficient_w_m2_k,
    radiation_w_m2,
)
from service.physics.materials import emissivity, specific_heat_table


@dataclass(frozen=True, slots=True)
class HeatPaths:
    """Heat leaving a part [W] by path; they add up to ``total_w``.

    Attributes:
        total_w: m·c(T)·rate: all of it.
        air_w: Natural convection in still air.
        radiation_w: Radiation to the room.
        argon_w: Purge gas, at most (as if it left as hot as the part).
        contact_w: The rest: what it stands on, and whatever else was not calculated. 0 when the
            calculated paths explain everything; they are then scaled down to the total.
    """

    total_w: float
    air_w: float
    radiation_w: float
    argon_w: float
    contact_w: float

    def percent(self) -> dict[str, float]:
        """Share of each path [%]; empty when nothing leaves."""
        if self.total_w <= 0:
            return {}
        paths = {
            "air": self.air_w,
            "radiation": self.radiation_w,
            "argon": self.argon_w,
            "contact": self.contact_w,
        }
        return {name: 100 * w / self.total_w for name, w in paths.items()}


def argon_takes_w(argon_flow_l_min: float, part_c: float, gas_c: float) -> float:
    """Most heat a gas flow can carry off [W]: ṁ·cp·ΔT, the gas leaving as hot as the part.

    Args:
        argon_flow_l_min: Argon at 20 °C, 101.325 kPa [l/min], at least 0, else ``ValueError``.
        part_c: Part [°C].
        gas_c: Gas where it comes in [°C].
    """
    if not (argon_flow_l_min >= 0 and math.isfinite(argon_flow_l_min)):
        raise ValueError(f"argon_flow_l_min must be at least 0, not {argon_flow_l_min!r}")
    return gas_heat_w(argon_flow_l_min, gas_c, max(part_c, gas_c))


def heat_paths(
    metal: str,
    mass_kg: float,
    area_m2: float | None,
    *,
    part_c: float,
    rate: Rate,
    around_c: float,
    argon_flow_l_min: float = 0.0,
) -> HeatPaths:
    """Split the heat a cooling part loses now.

    Args:
        metal: Casting metal, see ``service.judge.actions.Metal``.
        mass_kg: Mass [kg], above 0.
        area_m2: Outer surface [m²]; without it air and radiation share what argon leaves, in
            the proportion of their coefficients, and nothing is said of contact.
        part_c: Part [°C], above the surroundings.
        rate: Its rate from the cooldown estimate.
        around_c: Surroundings [°C].
        argon_flow_l_min: Purge gas [l/min at 20 °C].

    Raises:
        ValueError: mass or area not positive.
    """
    if not mass_kg > 0:
        raise ValueError(f"mass_kg must be above 0, not {mass_kg!r}")
    if area_m2 is not None and not area_m2 > 0:
        raise ValueError(f"area_m2 must be above 0, not {area_m2!r}")
    grid, c = specific_heat_table(metal)
    total = mass_kg * float(np.interp(part_c, grid, c)) * max(-rate.c_per_h / 3600, 0.0)
    argon = min(argon_takes_w(argon_flow_l_min, part_c, around_c), total)
    likely, _ = emissivity(metal)
    if area_m2 is None:
        h_air = natural_convection_w_m2_k(0.1, part_c, around_c)
        h_radiation = radiation_coefficient_w_m2_k(likely, part_c, around_c)
        share = h_air / (h_air + h_radiation)
        rest = total - argon
        return HeatPaths(total, rest * share, rest * (1 - share), argon, 0.0)
    size_m = math.sqrt(area_m2 / math.pi)
    air = area_m2 * natural_convection_w_m2_k(size_m, part_c, around_c) * (part_c - around_c)
    radiated = area_m2 * radiation_w_m2(likely, part_c, around_c)
    calculated = air + radiated
    room = total - argon
    scale = min(1.0, room / calculated) if calculated > 0 else 0.0
    return HeatPaths(
        total, air * scale, radiated * scale, argon, max(room - scale * calculated, 0.0)
    )


def gradient(levels: Mapping[str, Level]) -> Level | None:
    """Spread across a part: hottest minus coldest probe [K] and its standard deviation.

    ``None`` with fewer than two probes. Offsets between probes are in it: check them cold.
    """
    if len(levels) < 2:
        return None
    hottest = max(levels.values(), key=lambda level: level.temperature_c)
    coldest = min(levels.values(), key=lambda level: level.temperature_c)
    return Level(
        hottest.temperature_c - coldest.temperature_c, math.hypot(hottest.sd_k, coldest.sd_k)
    )
