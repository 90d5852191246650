"""Heat input of a weld run, and how long the thickest section must soak before and after.

Preheat soak and post-weld soak are different rules and are kept apart: preheat is even when the
thickest section has had its time; the post-weld hour per 25 mm belongs to stress relief.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Process = Literal["TIG", "plasma", "MMA", "MIG/MAG", "flux-cored", "submerged arc"]

EFFICIENCY: dict[str, float] = {
    "TIG": 0.6,
    "plasma": 0.6,
    "MMA": 0.8,
    "MIG/MAG": 0.8,
    "flux-cored": 0.8,
    "submerged arc": 1.0,
}
"""Thermal efficiency k of the arc [1]: EN 1011-1, table 1, by a steelmaker's reprint; plasma by a
calculator's page, flux-cored from memory, confirm."""

UCS56_BAND_C = 425.0
"""UCS-56 limits heating and cooling rates only above this temperature [°C] (800 °F)."""
PIPING_BAND_C = 315.0
"""Piping codes limit them above this one [°C] (600 °F), from memory, confirm."""

Confirmed = Literal["read", "figures read, clause from memory", "from memory"]


@dataclass(frozen=True, slots=True)
class CoolingRule:
    """A published cooling rate and the band it holds in; outside the band it says nothing.

    Attributes:
        what: What it is for.
        band_c: Lower and upper end of its band [°C].
        fastest_c_per_h: Fastest cooling it allows for a thickness of one inch or less [°C/h].
        slowest_c_per_h: Slowest it calls for, where it names one [°C/h].
        spread_max_k: Greatest difference across the part it allows, where it names one [K].
        source: Where it was read.
        confirmed: How far it is confirmed; "from memory" must be confirmed before it is used.
    """

    what: str
    band_c: tuple[float, float]
    fastest_c_per_h: float
    slowest_c_per_h: float | None
    spread_max_k: float | None
    source: str
    confirmed: Confirmed


COOLING_RULES: tuple[CoolingRule, ...] = (
    CoolingRule(
        "steel, post-weld heat treatment", (UCS56_BAND_C, 700.0), 500.0 / 1.8, None, None,
        "ASME VIII division 1, UCS-56(d), by an open test file", "figures read, clause from memory",
    ),
    CoolingRule(
        "steel piping, post-weld heat treatment", (PIPING_BAND_C, 700.0), 600.0 / 1.8, None, None,
        "piping codes; half of the greatest thickness counts", "from memory",
    ),
    CoolingRule(
        "steel, naval post-weld heat treatment", (427.0, 700.0), 111.0, None, 139.0,
        "S9074-AR-GIB-010/278", "read",
    ),
    CoolingRule(
        "grey iron, stress relief from 550 to 650 °C", (150.0, 650.0), 40.0, 20.0, None,
        "foundry's table", "read",
    ),
)  # fmt: skip
"""Bare on the bench a casting loses 1 000 °C/h and more: no such rule holds there, nor for cooling
from preheat, where the time from the last arc to the cover is what counts."""

GREY_IRON_STRESS_RELIEF_C: dict[str, float] = {
    "plain": 550.0,
    "low alloy": 600.0,
    "high alloy": 650.0,
}
"""Stress relief of grey iron by alloy [°C], heated at 60 to 120 °C/h: a foundry's table, read."""


def cooling_rules_at(temperature_c: float) -> list[CoolingRule]:
    """The published rules whose band holds at a temperature [°C]; none below 150 °C.

    Raises:
        ValueError: the temperature is not a finite number.
    """
    if not math.isfinite(temperature_c):
        raise ValueError(f"temperature_c {temperature_c!r} must be a finite number")
    return [r for r in COOLING_RULES if r.band_c[0] <= temperature_c <= r.band_c[1]]


def heat_input_kj_mm(process: str, voltage_v: float, current_a: float, travel_mm_s: float) -> float:
    """Heat input of a run [kJ/mm]: Q = k·U·I / v / 1000.

    Args:
        process: A key of ``EFFICIENCY``.
        voltage_v: Arc voltage [V], above 0 and at most 100.
        current_a: Current [A], above 0 and at most 2000.
        travel_mm_s: Travel speed [mm/s], above 0 and at most 200.

    Raises:
        ValueError: Unknown process or a value outside its range.

    Source: EN 1011-1, clause 19 and table 1.
    """
    efficiency = EFFICIENCY.get(process)
    if efficiency is None:
        raise ValueError(f"process {process!r} is not one of {', '.join(EFFICIENCY)}")
    for name, value, most, unit in (
        ("voltage", voltage_v, 100, "V"),
        ("current", current_a, 2000, "A"),
        ("travel speed", travel_mm_s, 200, "mm/s"),
    ):
        if not 0 < value <= most:
            raise ValueError(f"{name} {value:g} {unit} must be above 0 and at most {most} {unit}")
    return efficiency * voltage_v * current_a / travel_mm_s / 1000.0


def preheat_distance_mm(thickness_mm: float) -> float:
    """Where preheat is measured, from the groove's edge [mm]: A = 4·t, at most 50.

    Over 50 mm thick, the temperature must be held for at least 75 mm every way, which is returned.

    Args:
        thickness_mm: Thickness at the joint [mm], above 0 and at most 500.

    Raises:
        ValueError: A thickness outside its range.

    Source: ISO 13916:2025, clause on measuring points.
    """
    _thickness(thickness_mm)
    return 75.0 if thickness_mm > 50.0 else min(4.0 * thickness_mm, 50.0)


def equalising_min(thickness_mm: float) -> float:
    """Minutes to wait after heating from the measured face [min]: 2 for every 25 mm.

    Args:
        thickness_mm: Thickness [mm], above 0 and at most 500.

    Raises:
        ValueError: A thickness outside its range.

    Source: ISO 13916:2025 (about 2 min per 25 mm).
    """
    _thickness(thickness_mm)
    return 2.0 * thickness_mm / 25.0


def preheat_soak_min(
    thickest_mm: float, conductivity_w_m_k: float = 40.0, heat_capacity_j_m3_k: float = 4.0e6
) -> float:
    """Minutes at temperature until the thickest section's middle is nearly as hot as its face.

    A slab heated from both faces: its middle lags by exp(−π²·a·t/L²)·4/π; the time for 2 % of the
    rise to be missing is t = L²/(π²·a)·ln(4/(0.02·π)), with a = k/(ρc). That is seconds to minutes:
    what takes the time is the oven giving the heat, so the probe on the thickest section is the
    judge, and this is the least time after it has arrived. At least 15 min, common practice, no
    source.

    Args:
        thickest_mm: Thickest section (a flange, not the wall at the joint) [mm], 0 to 500.
        conductivity_w_m_k: Thermal conductivity [W/(m·K)]; 40 for iron.
        heat_capacity_j_m3_k: ρ·c [J/(m³·K)]; 4.0e6 for iron at 300 °C.

    Raises:
        ValueError: A value outside its range.

    Source: first term of the series for a slab with fixed face temperature (any heat-conduction
        text; Carslaw and Jaeger, 3.4).
    """
    _thickness(thickest_mm)
    if conductivity_w_m_k <= 0 or heat_capacity_j_m3_k <= 0:
        raise ValueError(
            f"conductivity {conductivity_w_m_k:g} and heat capacity {heat_capacity_j_m3_k:g} "
            "must be above 0"
        )
    spread_m2_s = conductivity_w_m_k / heat_capacity_j_m3_k
    time_s = (thickest_mm / 1000.0) ** 2 / (math.pi**2 * spread_m2_s) * math.log(200.0 / math.pi)
    return max(15.0, time_s / 60.0)


def post_weld_soak_h(thickness_mm: float) -> float:
    """Hours at stress-relief temperature [h]: 1 per inch, at least 0.25; over 2 inches slower.

    2 h + 15 min for each further inch above 50.8 mm. A post-weld rule: not for preheat.

    Args:
        thickness_mm: Governing thickness [mm], above 0 and at most 500.

    Raises:
        ValueError: A thickness outside its range.

    Source: ASME B31.3-2016 table 331.1.1 and ASME VIII table UCS-56 (P-No. 1).
    """
    _thickness(thickness_mm)
    inches = thickness_mm / 25.4
    return max(0.25, inches) if inches <= 2.0 else 2.0 + 0.25 * (inches - 2.0)


def ucs56_rate_c_per_h(thickness_mm: float, direction: Literal["heating", "cooling"]) -> float:
    """Fastest heating or cooling allowed above 425 °C in stress relief [°C/h].

    222 (heating) or 278 (cooling) over the thickness in inches, no more than the one-inch value,
    and never needed below 56. Below 425 °C the rule says nothing.

    Args:
        thickness_mm: Greatest thickness [mm], above 0 and at most 500.
        direction: ``"heating"`` or ``"cooling"``.

    Raises:
        ValueError: A thickness outside its range or an unknown direction.

    Source: ASME VIII division 1, UCS-56(d) (figures from an open test file; clause from memory).
    """
    _thickness(thickness_mm)
    at_one_inch = {"heating": 400.0 / 1.8, "cooling": 500.0 / 1.8}.get(direction)
    if at_one_inch is None:
        raise ValueError(f"direction {direction!r} is neither heating nor cooling")
    return max(100.0 / 1.8, at_one_inch / max(1.0, thickness_mm / 25.4))


def piping_rate_c_per_h(greatest_thickness_mm: float) -> float:
    """Fastest heating or cooling of piping above 315 °C in stress relief [°C/h].

    333 (600 °F/h) over half of the greatest thickness in inches, at most 333.

    Args:
        greatest_thickness_mm: Greatest thickness [mm], above 0 and at most 500.

    Raises:
        ValueError: A thickness outside its range.

    Source: piping codes; that half the greatest thickness counts was read in an engineers' forum,
        figure and band are from memory: confirm.
    """
    _thickness(greatest_thickness_mm)
    return 600.0 / 1.8 / max(1.0, greatest_thickness_mm / 2.0 / 25.4)


def preheat_extent_mm(thickness_mm: float, rule: Literal["structural", "piping"]) -> float:
    """How far from the joint the metal must be at preheat, every way [mm].

    Structural steel: the thickness or 75 mm, whichever is more. Piping: 25 mm beyond the weld.

    Args:
        thickness_mm: Thickness at the joint [mm], above 0 and at most 500.
        rule: Which of the two.

    Raises:
        ValueError: A thickness outside its range or an unknown rule.

    Source: AWS D1.1 (an electrode maker's page); ASME B31.3-2012, 330.1.4.
    """
    _thickness(thickness_mm)
    if rule == "structural":
        return max(75.0, thickness_mm)
    if rule == "piping":
        return 25.0
    raise ValueError(f"rule {rule!r} is neither structural nor piping")


def _thickness(thickness_mm: float) -> None:
    if not 0 < thickness_mm <= 500:
        raise ValueError(f"thickness {thickness_mm:g} mm must be above 0 and at most 500 mm")
