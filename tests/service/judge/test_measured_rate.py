"""The measured cooling rate against scipy's straight line, and its confidence against chance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import linregress

from service.judge.measured_rate import LEAST_S, WINDOW_S, MeasuredRate


def fed(values, every_s=1.0):
    rate = MeasuredRate()
    for number, value in enumerate(values):
        rate.take(number * every_s, float(value))
    return rate


def test_the_slope_is_that_of_least_squares():
    """scipy.stats.linregress over the same window."""
    noise = np.random.default_rng(3).normal(0, 0.5, 121)
    values = 300 - 0.05 * np.arange(121) + noise
    found = fed(values).rate(120.0)
    assert found.c_per_h == pytest.approx(3600 * linregress(np.arange(121), values).slope)


def test_only_the_last_window_counts():
    values = [400 - n for n in range(100)] + [300.0 + (n % 2) / 4 for n in range(130)]
    found = fed(values).rate(229.0)
    assert abs(found.c_per_h) < 10
    assert len(fed(values).times_s) <= WINDOW_S + 1


def test_nothing_is_said_too_early_or_after_the_end():
    rate = fed(range(int(LEAST_S)))
    assert rate.rate(LEAST_S) is None
    rate = fed(range(int(LEAST_S) + 1))
    assert rate.rate(LEAST_S) is not None
    assert rate.rate(LEAST_S + 11) is None
    rate.begin_anew()
    assert rate.rate(LEAST_S) is None


@pytest.mark.parametrize("wander_s", [0.0, 5.0, 10.0])
def test_95_percent_confidence_is_wrong_at_most_about_one_time_in_twenty(wander_s):
    """Slow cooling at exactly the limit, with noise that wanders: an alarm there is a false one.

    One-sided 5 % by design; the tolerance is for 400 trials (binomial sd 1.1 %).
    """
    generator, false, trials = np.random.default_rng(7), 0, 400
    keep = np.exp(-1 / wander_s) if wander_s else 0.0
    for _ in range(trials):
        noise = np.zeros(121)
        for n in range(1, 121):
            noise[n] = keep * noise[n - 1] + generator.normal(0, 0.3 * np.sqrt(1 - keep**2))
        found = fed(300 - 200 / 3600 * np.arange(121) + noise).rate(120.0)
        false += found.c_per_h + 1.645 * found.sd_c_per_h < -200
    assert false / trials <= 0.085


def test_a_rate_half_as_fast_again_as_the_limit_is_seen():
    noise = np.random.default_rng(1).normal(0, 0.3, 121)
    found = fed(300 - 300 / 3600 * np.arange(121) + noise).rate(120.0)
    assert found.c_per_h + 1.645 * found.sd_c_per_h < -200
