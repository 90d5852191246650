"""Readings entered by hand, crayon marks, several probes and the soak in the oven.

Truth is a plain lump (natural convection by the quarter power, radiation, constant heat
capacity), integrated here; it is not the estimator's own law.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from service.physics.cooldown import Cooldown, CooldownPrior
from service.physics.cooldown_answers import soaked_forecast
from service.physics.heat_paths import gradient
from service.readings import Forecast, Spread


def lump(start_c: float = 350.0, around_c: float = 20.0, kg_m2: float = 40.0) -> np.ndarray:
    """Temperature each second."""
    out = [start_c]
    for _ in range(3000):
        above = max(out[-1] - around_c, 0.0)
        lost = 8.5 * (above / 330) ** 0.25 * above
        lost += 0.75 * 5.67e-8 * ((out[-1] + 273.15) ** 4 - (around_c + 273.15) ** 4)
        out.append(out[-1] - lost / (kg_m2 * 540))
    return np.array(out)


TRUTH = lump()


def left_s(limit_c: float, at_s: int) -> int:
    return int(np.argmax(limit_c > TRUTH)) - at_s


def spread(answer: Forecast) -> tuple[float, float, float]:
    assert answer.time_left_s is not None, answer.reason
    s = answer.time_left_s
    return s.p05, s.p50, math.inf if s.p95 is None else s.p95


def fed(until_s: int, noise_k: float = 0.5, every_s: int = 1, seed: int = 1) -> Cooldown:
    fit, random = Cooldown(CooldownPrior()), np.random.default_rng(seed)
    for t in range(0, until_s + 1, every_s):
        fit.observe(t, float(TRUTH[t]) + float(random.normal(0, noise_k)), 20.0)
    return fit


def test_a_handheld_is_believed_as_far_as_its_own_doubt_goes() -> None:
    """Seven readings, 8 K wrong at random and said to be so: the interval holds."""
    held = 0
    for seed in range(12):
        errors = np.random.default_rng(seed).normal(0, 8.0, 7)
        fit = Cooldown(CooldownPrior())
        for t, error in zip(range(0, 301, 50), errors, strict=True):
            fit.observe(t, float(TRUTH[t] + error), 20.0, sd_k=8.0)
        low, _, high = spread(fit.until_below(200, 300))
        held += low <= left_s(200, 300) <= high
    assert held >= 9


def test_the_same_hand_readings_with_less_doubt_say_more() -> None:
    doubts = []
    for sd_k in (8.0, 1.0):
        fit = Cooldown(CooldownPrior())
        for t in range(0, 301, 50):
            fit.observe(t, float(TRUTH[t]), 20.0, sd_k=sd_k)
        low, _, high = spread(fit.until_below(200, 300))
        assert low <= left_s(200, 300) <= high
        level = fit.level(300)
        assert level is not None
        doubts.append(level.sd_k)
    assert doubts[0] > 2 * doubts[1]


def test_a_sure_hand_reading_moves_an_unsure_fit_and_an_unsure_one_does_not() -> None:
    """2 K are four standard deviations of the fit; much more would be a slip or a jump."""
    moved = []
    for sd_k in (0.3, 30.0):
        fit = fed(200, noise_k=3.0)
        fit.observe(201, float(TRUTH[201]) + 2.0, 20.0, sd_k=sd_k)
        level = fit.level(201)
        assert level is not None
        moved.append(level.temperature_c - float(TRUTH[201]))
    assert moved[0] > 1.2
    assert abs(moved[1]) < 0.6


def test_hand_readings_do_not_teach_the_channels_noise() -> None:
    """Between a thermocouple's readings, a coarse one by hand leaves the rest as it was."""
    fit = fed(150)
    before = spread(fit.until_below(200, 150))
    for t in range(151, 211):
        if t % 20 == 0:
            fit.observe(t, float(TRUTH[t]) + 6.0, 20.0, sd_k=6.0)
        fit.observe(t + 0.1, float(TRUTH[t]), 20.0)
    after = spread(fit.until_below(200, 210))
    assert after[1] == pytest.approx(before[1] - 60, rel=0.04)
    assert after[2] - after[0] < before[2] - before[0]


@pytest.mark.parametrize("sd_k", [0.0, -1.0, math.nan, math.inf])
def test_a_doubt_that_is_none_is_refused(sd_k: float) -> None:
    with pytest.raises(ValueError, match="sd_k"):
        Cooldown(CooldownPrior()).observe(0, 300, sd_k=sd_k)


def test_a_crayon_says_on_which_side_it_is() -> None:
    """An unsure level is cut off at the crayon's temperature, from either side."""
    fits = []
    for _ in range(3):
        fit = Cooldown(CooldownPrior())
        for t in (0, 60, 120):
            fit.observe(t, float(TRUTH[t]), 20.0, sd_k=15.0)
        fits.append(fit)
    plain, above, below = fits
    middle = plain.level(120)
    assert middle is not None
    above.observe_mark(120, middle.temperature_c + 5, melted=True)
    below.observe_mark(120, middle.temperature_c + 5, melted=False)
    high, low = above.level(120), below.level(120)
    assert high is not None
    assert low is not None
    assert high.temperature_c > middle.temperature_c > low.temperature_c
    assert high.sd_k < middle.sd_k


def test_a_crayon_against_the_truncated_normal() -> None:
    """Mean and variance of a normal cut off at a point: SciPy's truncnorm is the oracle."""
    from scipy.stats import truncnorm

    from service.physics.cooldown_bank import SIZE, Bank

    one = np.ones(1)
    for limit_c, above in ((205.0, True), (190.0, False), (200.0, True)):
        mean, cov = np.zeros((1, SIZE)), np.zeros((1, SIZE, SIZE))
        mean[0] = (200.0, 0.0, 0.3, 0.6, 20.0, 0.0)
        cov[0, 0, 0] = 100.0
        bank = Bank(
            mean, cov, 0 * one, 200 * one, 0 * one, 0 * one, np.array([False]), "grey iron"
        )  # fmt: skip
        bank.update_side(limit_c, 0.0, above=above)
        cut = (limit_c - 200.0) / 10.0
        true = truncnorm(cut, np.inf, 200.0, 10.0) if above else truncnorm(-np.inf, cut, 200.0, 10)
        assert bank.mean[0, 0] == pytest.approx(true.mean(), abs=1e-6)
        assert bank.cov[0, 0, 0] == pytest.approx(true.var(), abs=1e-6)


def test_a_crayon_before_any_reading_or_of_no_temperature() -> None:
    fit = Cooldown(CooldownPrior())
    fit.observe_mark(0, 200, melted=True)
    assert fit.until_below(150, 0).reason == "no reading yet"
    with pytest.raises(ValueError, match="finite"):
        fit.observe_mark(1, math.nan, melted=True)
    fit.observe(5, 300)
    with pytest.raises(ValueError, match="backwards"):
        fit.observe_mark(4, 200, melted=True)


def test_a_crayon_that_contradicts_everything_does_not_break_the_fit() -> None:
    fit = fed(200)
    before = spread(fit.until_below(200, 200))
    fit.observe_mark(200, 900.0, melted=True)
    level = fit.level(200)
    assert level is not None
    assert level.temperature_c == pytest.approx(float(TRUTH[200]), abs=5.0)
    assert spread(fit.until_below(200, 200))[1] == pytest.approx(before[1], rel=0.2)


def test_several_probes_with_offsets_on_one_part() -> None:
    """Each reads its own constant error; each forecast is for its own reading, and the rates
    agree; the difference is told as the gradient, with its doubt."""
    fits, random = {}, np.random.default_rng(3)
    for name, offset_k in (("flange", -3.0), ("port", 0.0), ("tube", 4.0)):
        fit = Cooldown(CooldownPrior())
        for t in range(301):
            fit.observe(t, float(TRUTH[t]) + offset_k + float(random.normal(0, 0.5)), 20.0)
        fits[name] = (fit, offset_k)
    rates = [fit.rate() for fit, _ in fits.values()]
    assert max(r.c_per_h for r in rates) - min(r.c_per_h for r in rates) < 60
    for fit, offset_k in fits.values():
        low, middle, high = spread(fit.until_below(200, 300))
        true = int(np.argmax(TRUTH + offset_k < 200)) - 300
        assert low <= true <= high
        assert middle == pytest.approx(true, rel=0.06)
    across = gradient({name: fit.level(300) for name, (fit, _) in fits.items()})
    assert across is not None
    assert across.temperature_c == pytest.approx(7.0, abs=3 * across.sd_k)
    assert across.sd_k < 1.0


def test_until_safe_to_touch() -> None:
    """43 °C is near the room: the interval is wide, and the truth in it; an assumed ambient gives
    no shorter upper end than a measured one."""
    truth = lump(kg_m2=10.0)
    at = int(np.argmax(truth < 120))
    true = int(np.argmax(truth < 43)) - at
    highs = []
    for ambient_c in (20.0, None):
        fit, random = Cooldown(CooldownPrior()), np.random.default_rng(8)
        for t in range(at + 1):
            fit.observe(t, float(truth[t]) + float(random.normal(0, 0.5)), ambient_c)
        low, _, high = spread(fit.until_below(43.0, at))
        assert low <= true <= high
        highs.append(high - low)
    assert highs[1] > highs[0]


def test_the_soak_is_the_way_up_and_the_time_there() -> None:
    """Towards an oven of 420 °C; above 350 °C for a quarter of an hour."""
    part, values = 20.0, []
    for _ in range(2400):
        values.append(part)
        part += 0.15 * 25 * (420 - part) / (8 * 540)
    reached = next(t for t, v in enumerate(values) if v > 350)
    fit, random = Cooldown(CooldownPrior()), np.random.default_rng(2)
    for t in range(int(0.8 * reached)):
        fit.observe(t, values[t] + float(random.normal(0, 0.5)))
    at = int(0.8 * reached)
    low, middle, high = spread(fit.until_soaked(350, 900, at))
    assert low <= reached - at + 900 <= high
    assert middle == pytest.approx(reached - at + 900, rel=0.1)
    for t in range(at, reached + 60):
        fit.observe(t, values[t] + float(random.normal(0, 0.5)))
    at = reached + 59
    assert spread(fit.until_soaked(350, 900, at, above_for_s=59)) == (841.0, 841.0, 841.0)
    assert fit.until_soaked(350, 50, at, above_for_s=59).reason == "soaked"


def test_a_soak_that_cannot_be_told() -> None:
    nothing = Forecast(None, "not rising")
    assert soaked_forecast(nothing, 900, 0) is nothing
    open_end = soaked_forecast(Forecast(Spread(1.0, 2.0, None), None), 10.0, 0.0)
    assert open_end.time_left_s == Spread(11.0, 12.0, None)
    for soak_s, above_for_s in ((-1.0, 0.0), (math.nan, 0.0), (1.0, -1.0)):
        with pytest.raises(ValueError, match="at least 0"):
            soaked_forecast(nothing, soak_s, above_for_s)
