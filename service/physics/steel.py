"""Ferritic steel only: carbon equivalents, preheat by EN 1011-2 method B, cooling time t8/5.

None of this holds for castings: cast iron cracks by other rules, and the formulas are refused for
it. A number outside the formula's validity is refused, never clipped.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Literal

CASTING_METALS = (
    "grey iron",
    "ductile iron",
    "compacted graphite iron",
    "malleable iron",
    "high-silicon-molybdenum ductile iron",
    "austenitic iron",
    "iron, unknown",
    "cast austenitic stainless",
    "heat-resistant stainless, high carbon",
    "heat-resistant stainless, ferritic",
)
"""Metals for which EN 1011-2 says nothing."""

HYDROGEN_SCALES_ML_100G: dict[str, tuple[float, float]] = {
    "A": (15.0, math.inf),
    "B": (10.0, 15.0),
    "C": (5.0, 10.0),
    "D": (3.0, 5.0),
    "E": (0.0, 3.0),
}
"""Diffusible hydrogen [ml/100 g deposited metal]: above the first, up to the second number
(EN 1011-2, table of hydrogen scales)."""


class NotValid(ValueError):
    """The standard does not cover the case; the message says what it covers."""


@dataclass(frozen=True, slots=True)
class Composition:
    """Mass shares of a steel [%]; boron too in per cent.

    Raises:
        ValueError: A share outside 0 to 50 %.
    """

    carbon: float
    silicon: float = 0.0
    manganese: float = 0.0
    chromium: float = 0.0
    molybdenum: float = 0.0
    vanadium: float = 0.0
    nickel: float = 0.0
    copper: float = 0.0
    boron: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            share = getattr(self, field.name)
            if not 0.0 <= share <= 50.0:
                raise ValueError(f"{field.name} {share:g} % is outside 0 to 50 %")


def ce_iiw(steel: Composition) -> float:
    """Carbon equivalent [%]: CE = C + Mn/6 + (Cr+Mo+V)/5 + (Ni+Cu)/15.

    Source: International Institute of Welding, as in EN 1011-2, equation C.1.
    """
    return (
        steel.carbon
        + steel.manganese / 6.0
        + (steel.chromium + steel.molybdenum + steel.vanadium) / 5.0
        + (steel.nickel + steel.copper) / 15.0
    )


def cet(steel: Composition) -> float:
    """Carbon equivalent [%]: CET = C + (Mn+Mo)/10 + (Cr+Cu)/20 + Ni/40.

    Source: EN 1011-2, equation C.2.
    """
    return (
        steel.carbon
        + (steel.manganese + steel.molybdenum) / 10.0
        + (steel.chromium + steel.copper) / 20.0
        + steel.nickel / 40.0
    )


def pcm(steel: Composition) -> float:
    """Crack parameter [%]: Pcm = C + Si/30 + (Mn+Cu+Cr)/20 + Ni/60 + Mo/15 + V/10 + 5·B.

    Source: Ito and Bessyo (1968), as quoted in AWS D1.1, annex on preheat.
    """
    return (
        steel.carbon
        + steel.silicon / 30.0
        + (steel.manganese + steel.copper + steel.chromium) / 20.0
        + steel.nickel / 60.0
        + steel.molybdenum / 15.0
        + steel.vanadium / 10.0
        + 5.0 * steel.boron
    )


def governing_cet(parent_cet: float, weld_metal_cet: float) -> float:
    """CET to put into method B [%]: the parent's, or the weld metal's + 0.03 if that is more.

    Source: EN 1011-2, clause C.3 (parent must exceed weld metal by 0.03 %).
    """
    return max(parent_cet, weld_metal_cet + 0.03)


def preheat_method_b_c(
    cet_percent: float,
    thickness_mm: float,
    hydrogen_ml_100g: float,
    heat_input_kj_mm: float,
    *,
    metal: str,
    yield_n_mm2: float,
) -> float:
    """Preheat temperature [°C]: Tp = 697·CET + 160·tanh(d/35) + 62·HD^0.35 + (53·CET − 32)·Q − 328.

    Args:
        cet_percent: CET [%], 0.2 to 0.5; see :func:`governing_cet`.
        thickness_mm: Plate thickness d [mm], 10 to 90.
        hydrogen_ml_100g: Diffusible hydrogen HD [ml/100 g], 1 to 20.
        heat_input_kj_mm: Heat input Q [kJ/mm], 0.5 to 4.0.
        metal: What is welded; a casting metal is refused.
        yield_n_mm2: Yield strength [N/mm²], above 0 and at most 1000.

    Returns:
        The temperature; below that of the shop means no preheat by this method.

    Raises:
        NotValid: Outside the method's validity; names the quantity, its value and the range.

    Source: EN 1011-2, annex C, method B, equation C.8.
    """
    _ferritic_steel(metal)
    for name, value, low, high, unit in (
        ("CET", cet_percent, 0.2, 0.5, "%"),
        ("thickness", thickness_mm, 10.0, 90.0, "mm"),
        ("hydrogen", hydrogen_ml_100g, 1.0, 20.0, "ml/100 g"),
        ("heat input", heat_input_kj_mm, 0.5, 4.0, "kJ/mm"),
    ):
        if not low <= value <= high:
            raise NotValid(
                f"{name} {value:g} {unit} is outside EN 1011-2 method B, {low:g} to {high:g} {unit}"
            )
    if not 0.0 < yield_n_mm2 <= 1000.0:
        raise NotValid(
            f"yield strength {yield_n_mm2:g} N/mm² is outside EN 1011-2 method B, up to 1000 N/mm²"
        )
    return (
        697.0 * cet_percent
        + 160.0 * math.tanh(thickness_mm / 35.0)
        + 62.0 * math.pow(hydrogen_ml_100g, 0.35)
        + (53.0 * cet_percent - 32.0) * heat_input_kj_mm
        - 328.0
    )


@dataclass(frozen=True, slots=True)
class CoolingTime:
    """Cooling from 800 to 500 °C: time [s], governing heat flow, transition thickness [mm]."""

    t85_s: float
    flow: Literal["2-D", "3-D"]
    transition_mm: float


def t85(
    heat_input_kj_mm: float,
    thickness_mm: float,
    preheat_c: float,
    *,
    metal: str,
    shape_factor_2d: float = 1.0,
    shape_factor_3d: float = 1.0,
) -> CoolingTime:
    """Cooling time from 800 to 500 °C of a run on unalloyed or low-alloy steel.

    3-D: (6700 − 5·T0)·Q·[1/(500−T0) − 1/(800−T0)]·F3
    2-D: (4300 − 4.3·T0)·10⁵·Q²/d²·[1/(500−T0)² − 1/(800−T0)²]·F2
    Transition: d = √{(4300 − 4.3·T0)·10⁵·Q·[1/(500−T0) + 1/(800−T0)] / (6700 − 5·T0)}, for equal
    shape factors; 2-D below it.

    Args:
        heat_input_kj_mm: Heat input Q [kJ/mm], above 0 and at most 10.
        thickness_mm: Plate thickness d [mm], above 0 and at most 500.
        preheat_c: Plate temperature T0 before the run [°C], -20 up to below 500.
        metal: What is welded; a casting metal is refused.
        shape_factor_2d: F2 [1]: 1 bead on plate, 0.9 between butt runs.
        shape_factor_3d: F3 [1]: as F2.

    Raises:
        NotValid: A casting metal, or a value outside its range.

    Source: EN 1011-2, annex D, equations D.5 and D.6 (transition from setting both equal).
    """
    _ferritic_steel(metal)
    for name, value, low, high, unit in (
        ("heat input", heat_input_kj_mm, 0.0, 10.0, "kJ/mm"),
        ("thickness", thickness_mm, 0.0, 500.0, "mm"),
        ("2-D shape factor", shape_factor_2d, 0.0, 2.0, ""),
        ("3-D shape factor", shape_factor_3d, 0.0, 2.0, ""),
    ):
        if not low < value <= high:
            raise NotValid(f"{name} {value:g} {unit} must be above {low:g} and at most {high:g}")
    if not -20.0 <= preheat_c < 500.0:
        raise NotValid(f"plate temperature {preheat_c:g} °C must be from -20 to below 500 °C")
    to_500, to_800 = 1.0 / (500.0 - preheat_c), 1.0 / (800.0 - preheat_c)
    thick = 6700.0 - 5.0 * preheat_c
    thin = (4300.0 - 4.3 * preheat_c) * 1e5
    transition_mm = math.sqrt(thin * heat_input_kj_mm * (to_500 + to_800) / thick)
    if thickness_mm < transition_mm:
        time_s = thin * (heat_input_kj_mm / thickness_mm) ** 2 * (to_500**2 - to_800**2)
        return CoolingTime(time_s * shape_factor_2d, "2-D", transition_mm)
    time_s = thick * heat_input_kj_mm * (to_500 - to_800)
    return CoolingTime(time_s * shape_factor_3d, "3-D", transition_mm)


def _ferritic_steel(metal: str) -> None:
    if metal in CASTING_METALS:
        raise NotValid(
            f"EN 1011-2 covers ferritic steel, not {metal}: go by the procedure, the foundry's "
            "and the filler maker's data"
        )
