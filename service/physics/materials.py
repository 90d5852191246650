"""What metals do with heat: specific heat, conductivity and emissivity, with their sources.

All functions take and return floats or numpy arrays. Temperatures are in °C. Values are for the
thermal model only; they decide no limit by themselves.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def clipped(values: Array, low: float, high: float) -> Array:
    """``values`` kept within ``low`` and ``high``; NaN stays NaN.

    As ``np.clip``, whose checks cost more than its work on arrays of twenty.
    """
    return np.asarray(np.minimum(np.maximum(values, low), high))


def quantiles(values: Array, levels: tuple[float, ...]) -> list[float]:
    """Quantiles of a one-dimensional array, linear between its values (as ``np.quantile``)."""
    ordered = np.sort(values)
    out = []
    for level in levels:
        place = level * (len(ordered) - 1)
        below = int(place)
        low, high = ordered[below], ordered[min(below + 1, len(ordered) - 1)]
        out.append(float(low + (place - below) * (high - low)))
    return out


STEEL_RANGE_C: Final = (20.0, 1200.0)
"""Validity of ``steel_specific_heat``, EN 1993-1-2 clause 3.4.1.2 [°C]."""


def _checked(temperature_c: float | Array, low_c: float, high_c: float, what: str) -> Array:
    t = np.asarray(temperature_c, dtype=float)
    if not bool(np.all((t >= low_c) & (t <= high_c))):
        raise ValueError(
            f"{what} holds from {low_c:g} to {high_c:g} °C; "
            f"given {float(np.min(t)):g} to {float(np.max(t)):g} °C"
        )
    return t


def steel_specific_heat(temperature_c: float | Array) -> Array:
    """Specific heat of carbon steel [J/(kg·K)].

    Args:
        temperature_c: Steel temperature, 20 to 1200 °C, any shape.

    Returns:
        Specific heat, same shape; the peak of 5000 at 735 °C is the phase change.

    Raises:
        ValueError: outside 20…1200 °C.

    Source: EN 1993-1-2 clause 3.4.1.2 (equations 3.2a to 3.2d).
    """
    t = _checked(temperature_c, *STEEL_RANGE_C, "the specific heat of EN 1993-1-2")
    low = 425 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3
    rise = 666 + 13002 / np.where(t < 735, 738 - t, 1.0)
    fall = 545 + 17820 / np.where(t >= 735, t - 731, 1.0)
    return np.select([t < 600, t < 735, t < 900], [low, rise, fall], 650.0)


def stainless_specific_heat(temperature_c: float | Array) -> Array:
    """Specific heat of austenitic stainless steel [J/(kg·K)], 20 to 1200 °C.

    Raises:
        ValueError: outside 20…1200 °C.

    Source: EN 1993-1-2 annex C, equation C.4.
    """
    t = _checked(temperature_c, 20.0, 1200.0, "the specific heat of EN 1993-1-2 annex C")
    return 450 + 0.28 * t - 2.91e-4 * t**2 + 1.34e-7 * t**3


def steel_conductivity(temperature_c: float | Array) -> Array:
    """Thermal conductivity of carbon steel below 800 °C [W/(m·K)].

    Source: EN 1993-1-2 clause 3.4.1.3, equation 3.3a; valid 20…800 °C, else ``ValueError``.
    """
    t = _checked(temperature_c, 20.0, 800.0, "the conductivity of EN 1993-1-2 equation 3.3a")
    return 54 - 0.0333 * t


def stainless_conductivity(temperature_c: float | Array) -> Array:
    """Thermal conductivity of austenitic stainless steel [W/(m·K)], 20 to 1200 °C.

    Source: EN 1993-1-2 annex C, equation C.5; ``ValueError`` outside.
    """
    t = _checked(temperature_c, 20.0, 1200.0, "the conductivity of EN 1993-1-2 annex C")
    return 14.6 + 0.0127 * t


# Cast iron: 450-490 at 20 °C from a property table; 530-560 at 300 °C and the rest from memory,
# to be confirmed. The transformation above 700 °C is left out: castings are not welded there.
_IRON_C: Final = np.array([0.0, 20.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 700.0, 1200.0])
_IRON_CP: Final = np.array([460.0, 465.0, 495.0, 520.0, 545.0, 575.0, 615.0, 670.0, 740.0, 740.0])
_STAINLESS_METALS: Final = frozenset(
    {"cast austenitic stainless", "austenitic iron", "heat-resistant stainless, high carbon"}
)
_GRID_C: Final = np.linspace(-50.0, 1400.0, 146)


def specific_heat_table(metal: str) -> tuple[Array, Array]:
    """Specific heat of a casting metal as a table for interpolation.

    Args:
        metal: One of ``service.judge.actions.Metal``; anything else counts as unknown iron.

    Returns:
        Temperatures [°C] and specific heats [J/(kg·K)]; the ends are held outside 20…700 °C
        (the sharp peak of steel at its phase change is left out: no forecast is made across it).
    """
    inside = np.clip(_GRID_C, 20.0, 700.0)
    if metal in _STAINLESS_METALS:
        return _GRID_C, stainless_specific_heat(inside)
    # Ferritic stainless has the lattice of iron and about its specific heat (from memory).
    if metal in {"carbon steel", "heat-resistant stainless, ferritic"}:
        return _GRID_C, steel_specific_heat(np.minimum(inside, 650.0))
    return _GRID_C, np.interp(inside, _IRON_C, _IRON_CP)


def emissivity(metal: str) -> tuple[float, float]:
    """Likely total emissivity and its standard deviation.

    Source: thermal-camera manual tables: iron casting 0.81, oxidised iron 0.64 to 0.78 over 200
    to 600 °C, oxidised steel 0.79; oxidised 304 stainless 0.36 to 0.44 (bright tube far lower).
    """
    if metal == "cast austenitic stainless":
        return 0.5, 0.2
    if metal.startswith("heat-resistant stainless"):
        return 0.7, 0.2  # dark from service; oxidised 310 is 0.90 to 0.97, bright far lower
    return 0.75, 0.1
