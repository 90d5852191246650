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
"""Thermal efficiency k of the arc [1]: EN 1011-1, table 1."""

UCS56_BAND_C = 425.0
"""UCS-56 limits heating and cooling rates only above this temperature [°C] (800 °F)."""


@dataclass(frozen=True, slots=True)
class CoolingRule:
    """A published cooling rate and the band it holds in; outside the band it says nothing.

    Attributes:
        what: What it is for.
        above_c: Lower end of its band [°C].
        fastest_c_per_h: Fastest cooling it allows [°C/h].
        slowest_c_per_h: Slowest it calls for, where it names one [°C/h].
        source: Where it was read, and how far it is confirmed.
    """

    what: str
    above_c: float
    fastest_c_per_h: float
    slowest_c_per_h: float | None
    source: str


COOLING_RULES: tuple[CoolingRule, ...] = (
    CoolingRule(
        "steel, post-weld heat treatment, one inch or less",
        425.0,
        278.0,
        None,
        "ASME VIII UCS-56 by an open test file; clause text from memory, confirm",
    ),
    CoolingRule(
        "steel, naval post-weld heat treatment", 427.0, 111.0, None, "S9074-AR-GIB-010/278, read"
    ),
    CoolingRule(
        "grey iron, stress relief from 550 to 650 °C", 150.0, 40.0, 20.0, "foundry's table, read"
    ),
)
"""Bare on the bench a casting loses 1 000 °C/h and more: no such rule holds there."""


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


def _thickness(thickness_mm: float) -> None:
    if not 0 < thickness_mm <= 500:
        raise ValueError(f"thickness {thickness_mm:g} mm must be above 0 and at most 500 mm")
