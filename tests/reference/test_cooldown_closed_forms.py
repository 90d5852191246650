"""The forecast's own integrator and fit against closed forms and an independent solver.

Closed forms: Heat Transfer Handbook, equations 3.283 to 3.286 (see test_heat_loss.py). The
readings of the fit come from SciPy's ``solve_ivp``, not from our equations.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from service.physics import heat_loss
from service.physics.cooldown import Cooldown, CooldownPrior
from service.physics.cooldown_bank import SIZE, Bank
from service.physics.cooldown_crossing import crossing_times_s

C_J_K, AREA_M2, EPS = 6 * 560.0, 0.15, 0.8
RADIATION, CONVECTION = 1.0, 0.0


def certain(share: float, rate_k_s: float, tau_s: float = 1.0, departure_k: float = 0.0) -> Bank:
    """One hypothesis without any doubt, constant heat capacity, at 350 °C in 20 °C."""
    mean = np.zeros((1, SIZE))
    mean[0] = (350.0 - departure_k, departure_k, rate_k_s, share, 20.0, np.log(tau_s))
    one = np.ones(1)
    bank = Bank(
        mean, np.zeros((1, SIZE, SIZE)), 0 * one, np.array([350.0]), 0 * one, 0 * one,
        np.array([False]), "iron, unknown",
    )  # fmt: skip
    bank.capacity = (np.array([0.0, 1000.0]), np.array([1.0, 1.0]))
    return bank


@pytest.mark.parametrize(("share", "expected_s"), [(RADIATION, 506.506), (CONVECTION, 1057.857)])
def test_median_crossing_is_the_closed_form(share: float, expected_s: float) -> None:
    loss_w = AREA_M2 * (heat_loss.radiation_w_m2(EPS, 350, 20) if share else 8 * 330)
    times = crossing_times_s(certain(share, loss_w / C_J_K), 250.0, 1e9)
    # The spread is the model error on top; its middle must be the exact answer, to the 40-node
    # trapezium's own error.
    assert float(np.median(times)) == pytest.approx(expected_s, rel=2e-3)


def test_crossing_with_a_departure_against_scipy() -> None:
    # A probe 40 K above the slow mode, relaxing with 60 s: solved step by step by SciPy.
    rate, tau = 0.3, 60.0
    hit = solve_ivp(
        lambda t, y: [-rate * ((y[0] - 20) / 330) ** 1.25],
        (0, 4000), [310.0], rtol=1e-10, atol=1e-10,
        events=lambda t, y: y[0] + 40 * np.exp(-t / tau) - 250.0,
    )  # fmt: skip
    times = crossing_times_s(certain(CONVECTION, rate, tau, 40.0), 250.0, 1e9)
    assert float(np.median(times)) == pytest.approx(float(hit.t_events[0][0]), rel=5e-3)


def test_heating_crossing_mirrors_cooling() -> None:
    bank = certain(CONVECTION, -0.3)
    bank.mean[0, 0], bank.reference_c[0], bank.mean[0, 4] = 100.0, 100.0, 400.0
    hit = solve_ivp(
        lambda t, y: [0.3 * ((400 - y[0]) / 300) ** 1.25],
        (0, 4000), [100.0], rtol=1e-10, atol=1e-10, events=lambda t, y: y[0] - 300.0,
    )  # fmt: skip
    times = crossing_times_s(bank, 300.0, 1e9, rising=True)
    assert float(np.median(times)) == pytest.approx(float(hit.t_events[0][0]), rel=5e-3)


LAWS = {
    "radiation": lambda t: EPS * AREA_M2 * 5.670374419e-8 * ((t + 273.15) ** 4 - 293.15**4),
    "convection, quarter power": lambda t: 8 * AREA_M2 * 330 * ((t - 20) / 330) ** 1.25,
    "both": lambda t: AREA_M2 * (
        8 * (t - 20) + EPS * 5.670374419e-8 * ((t + 273.15) ** 4 - 293.15**4)
    ),
}  # fmt: skip


@pytest.mark.parametrize("law", LAWS)
def test_fit_recovers_the_time_left(law: str) -> None:
    """Readings of 0.5 K noise each second from 350 °C; asked 100 K further down, half way."""
    hit = solve_ivp(
        lambda t, y: [-LAWS[law](y[0]) / C_J_K],
        (0, 6000), [350.0], dense_output=True, rtol=1e-9, atol=1e-9,
        events=lambda t, y: y[0] - 250.0,
    )  # fmt: skip
    whole = float(hit.t_events[0][0])
    noise = np.random.default_rng(7)
    fit = Cooldown(CooldownPrior("iron, unknown"))
    asked = float(int(whole / 2))
    for t in np.arange(0.0, asked + 1):
        fit.observe(float(t), float(hit.sol(t)[0]) + noise.normal(0, 0.5), 20.0)
    answer = fit.until_below(250.0, asked).time_left_s
    assert answer is not None
    assert answer.p95 is not None
    assert answer.p05 <= whole - asked <= answer.p95
    # 5 %: half way the readings hardly tell a law of pure radiation from the usual mixture.
    assert answer.p50 == pytest.approx(whole - asked, rel=0.05)
