"""How warm the gas in a hot cavity surely is, against reference correlations and limits."""

from __future__ import annotations

import ht
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.integrate import solve_ivp

from service.physics.gas import gas_heat_w
from service.physics.purge_warmth import SPHERE, STIRRED_W_M2_K, least_warmed


def share(volume_l: float, argon_flow_l_min: float) -> float:
    return float(least_warmed(np.array([volume_l]), np.array([argon_flow_l_min]))[0])


@pytest.mark.parametrize("across_m", [0.05, 0.1, 0.2])
@pytest.mark.parametrize("wall_c", [150.0, 350.0])
def test_the_transfer_is_below_natural_convection(across_m: float, wall_c: float) -> None:
    """ht's vertical plate (Churchill) in CoolProp's argon, the gas half way to the wall."""
    gas_k, wall_k = (wall_c + 20.0) / 2.0 + 273.15, wall_c + 273.15
    film_k = (gas_k + wall_k) / 2.0

    def argon(name: str) -> float:
        return PropsSI(name, "T", film_k, "P", 101_325, "Argon")

    k, rho, mu, cp = argon("L"), argon("D"), argon("V"), argon("C")
    grashof = 9.80665 / film_k * (wall_k - gas_k) * across_m**3 * (rho / mu) ** 2
    h = ht.Nu_vertical_plate_Churchill(cp * mu / k, grashof) * k / across_m
    assert 0.4 * h < STIRRED_W_M2_K < h


def test_no_cavity_of_that_volume_has_less_surface_than_a_sphere() -> None:
    radius = 0.07
    volume, surface = 4.0 / 3.0 * np.pi * radius**3, 4.0 * np.pi * radius**2
    assert pytest.approx(surface) == SPHERE * volume ** (2.0 / 3.0)
    assert SPHERE < 6.0  # a cube


def test_the_stirred_vessel_settles_there() -> None:
    """The vessel's own differential equation by scipy, 2.4 l at 10 l/min, walls at 300 °C."""
    surface = SPHERE * 0.0024 ** (2.0 / 3.0)

    def kelvin_per_s(_t: float, t_c: np.ndarray) -> np.ndarray:
        gain = STIRRED_W_M2_K * surface * (300.0 - t_c[0]) - gas_heat_w(10.0, 20.0, float(t_c[0]))
        return np.array([gain / 1.2])  # J/K of the gas: it sets how soon, not where

    found = solve_ivp(kelvin_per_s, (0.0, 60.0), [20.0], rtol=1e-8)
    assert share(2.4, 10.0) == pytest.approx((found.y[0, -1] - 20.0) / 280.0, abs=1e-4)


def test_limits() -> None:
    assert share(2.4, 0.0) == 1.0
    assert share(0.001, 1e6) < 1e-4
    assert share(6.0, 10.0) > share(2.4, 10.0) > share(2.4, 20.0)


def test_the_inner_surface_is_recovered_from_noisy_gas_temperatures() -> None:
    random = np.random.default_rng(8)
    flows = random.uniform(5.0, 20.0, 400)
    gas_c = 20.0 + 280.0 * least_warmed(np.full(400, 2.4), flows) + random.standard_normal(400)
    walls_w_k = [gas_heat_w(f, 20.0, t) / (300.0 - t) for f, t in zip(flows, gas_c, strict=True)]
    true_w_k = STIRRED_W_M2_K * SPHERE * 0.0024 ** (2.0 / 3.0)
    # 1 K of noise on some 110 K, 400 times.
    assert float(np.mean(walls_w_k)) == pytest.approx(true_w_k, rel=0.01)
