"""How far a new thermocouple may be off: the tolerance classes of IEC 60584-1 and ASTM E230.

They hold for new wire only. In use it drifts, and the class bounds nothing any more (Measurement
Science and Technology 32 (2021) 085007); so the tolerance is the floor of what is not known.
Source of the numbers: makers' tables that cite IEC 60584-2 (now in 60584-1) and ASTM E230; the
upper branch of types R and S in class 1 from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.physics.thermocouple import Letter

ToleranceClass = Literal["IEC class 1", "IEC class 2", "ASTM special", "ASTM standard"]


@dataclass(frozen=True, slots=True)
class _Band:
    """The greater of ``floor_k`` and ``share`` of the temperature [°C], from low to high."""

    low_c: float
    high_c: float
    floor_k: float
    share: float


_BASE: dict[ToleranceClass, _Band] = {
    "IEC class 1": _Band(-40, 1000, 1.5, 0.004),
    "IEC class 2": _Band(-40, 1200, 2.5, 0.0075),
    "ASTM special": _Band(0, 1260, 1.1, 0.004),
    "ASTM standard": _Band(0, 1260, 2.2, 0.0075),
}

_BANDS: dict[Letter, dict[ToleranceClass, _Band]] = {
    "K": _BASE,
    "N": _BASE,
    "J": {
        "IEC class 1": _Band(-40, 750, 1.5, 0.004),
        "IEC class 2": _Band(-40, 750, 2.5, 0.0075),
        "ASTM special": _Band(0, 760, 1.1, 0.004),
        "ASTM standard": _Band(0, 760, 2.2, 0.0075),
    },
    "E": {
        "IEC class 1": _Band(-40, 800, 1.5, 0.004),
        "IEC class 2": _Band(-40, 900, 2.5, 0.0075),
        "ASTM special": _Band(0, 870, 1.0, 0.004),
        "ASTM standard": _Band(0, 870, 1.7, 0.005),
    },
    "T": {
        "IEC class 1": _Band(-40, 350, 0.5, 0.004),
        "IEC class 2": _Band(-40, 350, 1.0, 0.0075),
        "ASTM special": _Band(0, 370, 0.5, 0.004),
        "ASTM standard": _Band(0, 370, 1.0, 0.0075),
    },
    "R": {
        "IEC class 1": _Band(0, 1600, 1.0, 0.0),
        "IEC class 2": _Band(0, 1600, 1.5, 0.0025),
        "ASTM special": _Band(0, 1480, 0.6, 0.001),
        "ASTM standard": _Band(0, 1480, 1.5, 0.0025),
    },
    "B": {
        "IEC class 2": _Band(600, 1700, 0.0, 0.0025),
        "ASTM special": _Band(870, 1700, 0.0, 0.0025),
        "ASTM standard": _Band(870, 1700, 0.0, 0.005),
    },
}
_BANDS["S"] = _BANDS["R"]

NOBLE_BREAK_C = 1100.0


def tolerance_k(letter: Letter, tolerance_class: ToleranceClass, temperature_c: float) -> float:
    """How far new wire may be off, either way [K].

    Args:
        letter: Thermocouple type.
        tolerance_class: By which it was bought.
        temperature_c: Of the hot junction [°C].

    Raises:
        ValueError: The class does not know the type, or not that temperature; one sentence.
    """
    band = _BANDS[letter].get(tolerance_class)
    if band is None:
        raise ValueError(f"{tolerance_class} knows no type {letter}")
    if not band.low_c <= temperature_c <= band.high_c:
        raise ValueError(
            f"{tolerance_class} for type {letter} holds from {band.low_c:g} to {band.high_c:g} °C, "
            f"not at {temperature_c:g} °C"
        )
    if letter in ("R", "S") and tolerance_class == "IEC class 1":
        return 1.0 + 0.003 * max(0.0, temperature_c - NOBLE_BREAK_C)
    return max(band.floor_k, band.share * abs(temperature_c))
