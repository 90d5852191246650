"""The size of a loss read off a stretch of a cooling curve that an ODE solver made."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from service.physics.materials import specific_heat_table
from service.procedure.loss_law import Law, relative_rate, seen_in

SIGMA = 5.670374419e-8
"""Stefan-Boltzmann constant [W/(m²·K⁴)] (CODATA 2018)."""


def cooled(air_c: float, scale: float, convection_share: float) -> tuple[np.ndarray, np.ndarray]:
    """A lump of ductile iron losing by ΔT^1.25 and T⁴, scipy's LSODA; 350 °C in 20 °C air is 1."""
    grid, c = specific_heat_table("ductile iron")
    c350 = np.interp(350.0, grid, c)

    def slope(_t: float, y: np.ndarray) -> list[float]:
        t = y[0]
        convected = ((t - air_c) / 330.0) ** 1.25
        radiated = (SIGMA * ((t + 273.15) ** 4 - (air_c + 273.15) ** 4)) / (
            SIGMA * (623.15**4 - 293.15**4)
        )
        loss = convection_share * convected + (1 - convection_share) * radiated
        return [-scale * loss * c350 / np.interp(t, grid, c)]

    times = np.arange(0.0, 301.0)
    found = solve_ivp(slope, (0, 300), [390.0], t_eval=times, method="LSODA", rtol=1e-9)
    return times, found.y[0]


@pytest.mark.parametrize("air_c", [5.0, 20.0, 35.0])
def test_the_rate_comes_back_in_any_air(air_c: float) -> None:
    times, temperature = cooled(air_c, 0.41, 1 - 0.68)
    rng = np.random.default_rng(3)
    law = Law("ductile iron", "bare", air_c)
    seen = seen_in(times, temperature + rng.normal(0, 0.5, len(times)), law, 0.5)
    assert seen is not None
    # Emissivity, and so the share, is the metal's usual one: not exactly 0.68.
    assert seen.rate_k_s == pytest.approx(0.41, rel=0.03)
    assert seen.rel_sd < 0.03
    assert (seen.low_c, seen.high_c) == (
        pytest.approx(temperature.min(), abs=2), pytest.approx(390, abs=2),
    )  # fmt: skip


def test_a_short_noisy_stretch_is_less_sure_than_a_long_quiet_one() -> None:
    times, temperature = cooled(20.0, 0.2, 0.3)
    noise = np.random.default_rng(5).normal(0, 1.0, len(times))
    law = Law("ductile iron", "bare")
    long = seen_in(times, temperature, law, 0.05)
    short = seen_in(times[:40], temperature[:40] + noise[:40], law, 1.0)
    assert long is not None
    assert short is not None
    assert short.rel_sd > 3 * long.rel_sd


def test_warming_and_cold_parts_show_no_loss() -> None:
    times = np.arange(100.0)
    law = Law("ductile iron", "bare")
    assert seen_in(times, 300 + 0.1 * times, law, 0.5) is None
    assert seen_in(times, 25 - 0.01 * times, law, 0.5) is None
    assert seen_in(times[:3], 300 - times[:3], law, 0.5) is None


def test_under_a_cover_the_loss_goes_with_the_difference() -> None:
    at = relative_rate(np.array([110.0, 200.0]), "ductile iron", "covered")
    grid, c = specific_heat_table("ductile iron")
    assert at[1] == pytest.approx(1.0)
    assert at[0] == pytest.approx(0.5 * np.interp(200, grid, c) / np.interp(110, grid, c))
