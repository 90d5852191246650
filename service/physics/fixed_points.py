"""Temperatures that a shop can make without an instrument: melting ice and boiling water."""

from __future__ import annotations

import math

from service.physics.gas import ATMOSPHERE_PA
from service.units import ZERO_C_IN_K

ICE_POINT_C = 0.0
"""Crushed ice in water, both clean, stirred [°C]: within 0.003 K at any air pressure."""

PRESSURE_PA = (30_000.0, 120_000.0)
"""Air pressure for which a boiling point is offered [Pa]: far above any workshop to a deep pit."""

ALTITUDE_M = (-500.0, 9_000.0)
"""Altitude for which a pressure is offered [m]."""

_N = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5,
    -0.32325550322333e7, 0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6,
    -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip
"""IAPWS-IF97 (2012), table 34: coefficients of the saturation line."""


def boiling_point_c(pressure_pa: float) -> float:
    """Boiling temperature of water [°C] at an air pressure [Pa], 30 to 120 kPa.

    Raises:
        ValueError: Outside that.

    Source: IAPWS-IF97 (2012), equation 31, the backward equation of the saturation line.
    """
    low, high = PRESSURE_PA
    if not low <= pressure_pa <= high:
        raise ValueError(
            f"pressure {pressure_pa:g} Pa is not between {low:g} and {high:g}: give the air's own "
            "pressure at the place, not that reduced to sea level"
        )
    beta: float = (pressure_pa / 1e6) ** 0.25
    e = beta**2 + _N[2] * beta + _N[5]
    f = _N[0] * beta**2 + _N[3] * beta + _N[6]
    g = _N[1] * beta**2 + _N[4] * beta + _N[7]
    d = 2 * g / (-f - math.sqrt(f**2 - 4 * e * g))
    kelvin: float = (_N[9] + d - math.sqrt((_N[9] + d) ** 2 - 4 * (_N[8] + _N[9] * d))) / 2
    return kelvin - ZERO_C_IN_K


def standard_pressure_pa(altitude_m: float) -> float:
    """Air pressure of the standard atmosphere [Pa] at an altitude [m], -500 to 9000.

    The weather moves the true one by some 3 kPa, which is 0.8 K of boiling point (from memory): a
    barometer at the place is better.

    Raises:
        ValueError: Outside that.

    Source: ISO 2533:1975 (U.S. Standard Atmosphere 1976), layer below 11 km: 288.15 K, -6.5 K/km.
    """
    low, high = ALTITUDE_M
    if not low <= altitude_m <= high:
        raise ValueError(f"altitude {altitude_m:g} m is not between {low:g} and {high:g}")
    exponent = 9.80665 / (287.05287 * 0.0065)
    share: float = (1 - 0.0065 * altitude_m / 288.15) ** exponent
    return ATMOSPHERE_PA * share
