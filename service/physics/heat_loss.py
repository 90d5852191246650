"""How a hot part loses heat: radiation, natural convection, and closed forms to check solvers.

Heat flow is positive when leaving the part. Temperatures in °C unless a name ends in ``_k``.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from service.physics.materials import Array
from service.units import ZERO_C_IN_K

STEFAN_BOLTZMANN = 5.670374419e-8
"""Stefan-Boltzmann constant [W/(m²·K⁴)], exact in the SI since 2019 (CODATA 2018)."""


def _not_negative(name: str, value: float) -> None:
    if not (value >= 0 and math.isfinite(value)):
        raise ValueError(f"{name} must be a number of at least 0, not {value!r}")


def radiation_w_m2(emissivity: float, part_c: float, surroundings_c: float) -> float:
    """Net radiation of a small grey part in large surroundings [W/m²].

    ε·σ·(T⁴ − Ts⁴). Emissivity in 0…1, temperatures above −273.15 °C, else ``ValueError``.
    Source: any heat-transfer textbook; Incropera & DeWitt equation 1.7 (from memory).
    """
    if not 0 <= emissivity <= 1:
        raise ValueError(f"emissivity must lie in 0…1, not {emissivity!r}")
    part_k, around_k = part_c + ZERO_C_IN_K, surroundings_c + ZERO_C_IN_K
    _not_negative("part temperature [K]", part_k)
    _not_negative("surroundings temperature [K]", around_k)
    return emissivity * STEFAN_BOLTZMANN * (part_k**4 - around_k**4)


def radiation_coefficient_w_m2_k(emissivity: float, part_c: float, surroundings_c: float) -> float:
    """Radiation as a heat-transfer coefficient [W/(m²·K)]: ε·σ·(T² + Ts²)·(T + Ts)."""
    if not 0 <= emissivity <= 1:
        raise ValueError(f"emissivity must lie in 0…1, not {emissivity!r}")
    part_k, around_k = part_c + ZERO_C_IN_K, surroundings_c + ZERO_C_IN_K
    return emissivity * STEFAN_BOLTZMANN * (part_k**2 + around_k**2) * (part_k + around_k)


# Dry air at 101.325 kPa by absolute temperature [K]: thermal conductivity [W/(m·K)],
# kinematic viscosity [m²/s], Prandtl number. Incropera & DeWitt table A.4 (from memory); the
# tests compare with CoolProp.
_AIR_K = np.array([250.0, 300.0, 350.0, 400.0, 450.0, 500.0, 600.0, 700.0, 800.0, 1000.0])
_AIR_CONDUCTIVITY = np.array([22.3, 26.3, 30.0, 33.8, 37.3, 40.7, 46.9, 52.4, 57.3, 66.7]) * 1e-3
_AIR_VISCOSITY = np.array([11.44, 15.89, 20.92, 26.41, 32.39, 38.79, 52.69, 68.10, 84.93, 121.9])
_AIR_PRANDTL = np.array([0.720, 0.707, 0.700, 0.690, 0.686, 0.684, 0.685, 0.695, 0.709, 0.726])


def natural_convection_w_m2_k(diameter_m: float, part_c: float, air_c: float) -> float:
    """Natural convection from a horizontal cylinder in still air [W/(m²·K)].

    Args:
        diameter_m: Outer diameter, above 0 [m].
        part_c: Surface [°C].
        air_c: Still air [°C]; film temperature must lie in 250…1000 K.

    Returns:
        Mean coefficient, 0 without a difference.

    Raises:
        ValueError: diameter not positive or film temperature out of range.

    Source: Churchill & Chu 1975 correlation for the horizontal cylinder, Ra ≤ 1e12
    (Incropera & DeWitt equation 9.34); air properties at film temperature, β = 1/T_film.
    """
    if not diameter_m > 0:
        raise ValueError(f"diameter_m must be above 0, not {diameter_m!r}")
    film_k = 0.5 * (part_c + air_c) + ZERO_C_IN_K
    if not _AIR_K[0] <= film_k <= _AIR_K[-1]:
        raise ValueError(f"film temperature must lie in 250…1000 K, not {film_k:g}")
    conductivity = float(np.interp(film_k, _AIR_K, _AIR_CONDUCTIVITY))
    viscosity = float(np.interp(film_k, _AIR_K, _AIR_VISCOSITY)) * 1e-6
    prandtl = float(np.interp(film_k, _AIR_K, _AIR_PRANDTL))
    grashof = 9.80665 / film_k * abs(part_c - air_c) * diameter_m**3 / viscosity**2
    rayleigh = grashof * prandtl
    bracket = (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)
    nusselt = (0.60 + 0.387 * rayleigh ** (1 / 6) / bracket) ** 2
    return float(nusselt * conductivity / diameter_m)


# Closed forms, Heat Transfer Handbook equations 3.283 to 3.286. They check the solvers; no
# forecast uses them.


def _towards(start_c: float, end_c: float, surroundings_c: float) -> None:
    if not (start_c > end_c > surroundings_c or start_c < end_c < surroundings_c):
        raise ValueError(
            "the end must lie between start and surroundings, "
            f"not {start_c:g}, {end_c:g}, {surroundings_c:g} °C"
        )


def cooling_time_s(
    capacity_j_k: Callable[[float], float],
    loss_w: Callable[[float], float],
    start_c: float,
    end_c: float,
) -> float:
    """Time for one lump to go from ``start_c`` to ``end_c`` [s], any law.

    ∫ C(T)/P(T) dT by Gauss-Legendre quadrature (32 points; the integrands here are smooth).

    Args:
        capacity_j_k: Heat capacity at a temperature [J/K].
        loss_w: Heat lost at a temperature [W], negative when heated.
        start_c: Start [°C].
        end_c: End [°C].

    Raises:
        ValueError: somewhere between them the part does not move towards the end.
    """
    points, weights = np.polynomial.legendre.leggauss(32)
    half = 0.5 * (end_c - start_c)
    total = 0.0
    for x, weight in zip(points, weights, strict=True):
        temperature_c = start_c + half * (1 + float(x))
        slope = -capacity_j_k(temperature_c) / loss_w(temperature_c)
        if slope * half < 0 or not math.isfinite(slope):
            raise ValueError(f"at {temperature_c:g} °C the part does not move towards {end_c:g} °C")
        total += float(weight) * slope
    return half * total


def newton_time_s(
    capacity_j_k: float, loss_w_k: float, start_c: float, end_c: float, surroundings_c: float
) -> float:
    """Time to cool with a constant coefficient [s]: (C/(h·A))·ln(ΔT0/ΔT)."""
    _towards(start_c, end_c, surroundings_c)
    return capacity_j_k / loss_w_k * math.log((start_c - surroundings_c) / (end_c - surroundings_c))


def natural_convection_time_s(
    capacity_j_k: float, loss_w_k: float, start_c: float, end_c: float, surroundings_c: float
) -> float:
    """Time to cool when h ~ ΔT^¼ [s]; ``loss_w_k`` is h·A at the start.

    θ = (1 + n·h·A·t/C)^(−1/n) with n = ¼, solved for t.
    """
    _towards(start_c, end_c, surroundings_c)
    n = 0.25
    theta = (end_c - surroundings_c) / (start_c - surroundings_c)
    return float((theta**-n - 1) * capacity_j_k / (n * loss_w_k))


def radiation_time_s(
    capacity_j_k: float, area_emissivity_m2: float, start_c: float, end_c: float, around_c: float
) -> float:
    """Time to cool by radiation alone [s].

    ln|(Ts+T)/(Ts−T)| + 2·atan(T/Ts), end minus start, = 4·ε·σ·A·Ts³·t/C.
    """
    _towards(start_c, end_c, around_c)
    around_k = around_c + ZERO_C_IN_K

    def primitive(temperature_c: float) -> float:
        t_k = temperature_c + ZERO_C_IN_K
        ratio = (around_k + t_k) / abs(around_k - t_k)
        return math.log(ratio) + 2 * math.atan(t_k / around_k)

    scale = 4 * area_emissivity_m2 * STEFAN_BOLTZMANN * around_k**3 / capacity_j_k
    return (primitive(end_c) - primitive(start_c)) / scale


def biot(coefficient_w_m2_k: float, length_m: float, conductivity_w_m_k: float) -> float:
    """Biot number h·L/k; below 0.1 a part may be treated as one lump."""
    if not conductivity_w_m_k > 0:
        raise ValueError(f"conductivity_w_m_k must be above 0, not {conductivity_w_m_k!r}")
    return coefficient_w_m2_k * length_m / conductivity_w_m_k


def convection_shape(part_c: Array, around_c: Array, reference_c: Array) -> Array:
    """Natural convection relative to that at a reference temperature: (ΔT/ΔTref)^1.25."""
    ratio = np.maximum((part_c - around_c) / (reference_c - around_c), 0.0)
    # x^1.25 as x·√√x: a general power costs several times as much.
    return np.asarray(ratio * np.sqrt(np.sqrt(ratio)))


def radiation_shape(part_c: Array, around_c: Array, reference_c: Array) -> Array:
    """Radiation relative to that at a reference temperature: (T⁴−Ts⁴)/(Tref⁴−Ts⁴)."""
    part4 = np.square(np.square(part_c + ZERO_C_IN_K))
    around4 = np.square(np.square(around_c + ZERO_C_IN_K))
    reference4 = np.square(np.square(reference_c + ZERO_C_IN_K))
    return np.asarray((part4 - around4) / (reference4 - around4))
