"""Heats pooled, against the same model integrated by a general-purpose library, and its limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from service.procedure.pooling import HALF_NORMAL_MEDIAN, pool

CASES = [
    ([0.10], [0.05]),
    ([0.10, -0.05, 0.02], [0.05, 0.03, 0.08]),
    ([0.10, -0.45, 0.30, 0.05], [0.05, 0.03, 0.08, 0.02]),
]


@pytest.mark.parametrize(("values", "sds"), CASES)
def test_it_is_the_model_integrated(values: list[float], sds: list[float]) -> None:
    """y_i ~ N(mu, s_i² + tau²), mu flat, tau half-normal: Simpson's rule over both."""
    prior = stats.halfnorm(scale=0.1 / HALF_NORMAL_MEDIAN)
    assert prior.median() == pytest.approx(0.1, rel=1e-3)

    mu = np.linspace(-1.5, 1.5, 1201)[:, None, None]
    tau = np.linspace(1e-6, 1.4, 501)[None, :, None]
    likely = stats.norm.pdf(values, mu, np.hypot(sds, tau)).prod(axis=2) * prior.pdf(tau[..., 0])

    def moment(power: int, of: str) -> float:
        weight = (mu if of == "mu" else tau)[..., 0] ** power
        inner = integrate.simpson(likely * weight, x=tau[0, :, 0], axis=1)
        return float(integrate.simpson(inner, x=mu[:, 0, 0]))

    whole = moment(0, "mu")
    mean = moment(1, "mu") / whole
    sd = math.sqrt(moment(2, "mu") / whole - mean**2)
    between = math.sqrt(moment(2, "tau") / whole)
    found = pool(values, sds, 0.1)
    assert found.mean == pytest.approx(mean, abs=2e-3)
    assert found.sd == pytest.approx(sd, rel=0.02)
    assert found.between == pytest.approx(between, rel=0.02)


def test_many_equal_heats_leave_nothing_between_and_a_common_mean() -> None:
    values = np.full(40, 0.3)
    found = pool(list(values), [0.1] * 40, 0.1)
    assert found.mean == pytest.approx(0.3)
    assert found.between < 0.03
    assert found.sd == pytest.approx(0.1 / math.sqrt(40), rel=0.1)


def test_heats_that_differ_say_so() -> None:
    rng = np.random.default_rng(7)
    true = rng.normal(0.0, 0.3, 40)
    found = pool(list(true + rng.normal(0, 0.02, 40)), [0.02] * 40, 0.1)
    assert found.between == pytest.approx(0.3, rel=0.25)
    assert found.mean == pytest.approx(true.mean(), abs=0.01)


def test_one_exact_heat_does_not_outweigh_the_spread_between() -> None:
    """With tau above nought a heat measured ten times better counts only a little more."""
    found = pool([0.0, 0.4], [0.001, 0.1], 0.1)
    assert 0.05 < found.mean < 0.3


@pytest.mark.parametrize(
    ("values", "sds"), [([], []), ([1.0], []), ([1.0], [0.0])], ids=["none", "no sd", "sd nought"]
)
def test_nothing_is_not_pooled(values: list[float], sds: list[float]) -> None:
    with pytest.raises(ValueError, match="nothing can be pooled"):
        pool(values, sds, 0.1)
