"""Figures of a heat against temperatures drawn as straight lines, whose figures are known."""

from __future__ import annotations

import pytest

from service.records.figures import work_out
from service.records.heat_record import PassRecord, PhaseRecord
from service.records.series import lay_out
from service.store.history import History
from service.store.history_steps import Step

SECOND_US = 1_000_000


def history(name, values, step_s=1):
    steps = [
        Step(place * step_s * SECOND_US, value, value, value, 1, 0, 0)
        for place, value in enumerate(values)
        if value is not None
    ]
    return History(name, "Cel", 0, len(values) * step_s * SECOND_US, step_s * SECOND_US, steps)


def grid(*rows):
    end_us = max(len(row) for row in rows) * SECOND_US
    return lay_out(
        [history(f"tc{place}", row) for place, row in enumerate(rows, 1)],
        [[(0, end_us)]] * len(rows),
        end_us,
    )


def phase(name, from_s, to_s):
    return PhaseRecord(name, from_s * SECOND_US, to_s * SECOND_US, "tap", None)


def weld_pass(number, from_s, to_s):
    ended_us = None if to_s is None else to_s * SECOND_US
    return PassRecord(
        number, from_s * SECOND_US, ended_us, None, "tap", None, None, None, None, None, None, None
    )


def test_a_straight_ramp_has_its_slope_in_each_band():
    ramp = [50 + 0.1 * second for second in range(2500)]  # 360 °C/h from 50 to 300 °C
    found = work_out(grid(ramp), [phase("oven", 0, 2500)], [], None, None)
    bands = [(each.low_c, each.high_c) for each in found.rates]
    assert bands == [(0, 100), (100, 200), (200, 300)]
    for rate in found.rates:
        assert rate.mean_c_per_h == pytest.approx(360)
        assert rate.fastest_up_c_per_h == pytest.approx(360)
        assert rate.fastest_down_c_per_h is None
    assert [each.minutes for each in found.rates] == pytest.approx(
        [500 / 60, 1000 / 60, 999 / 60], abs=0.1
    )


def test_the_fastest_is_found_among_slower_ones():
    slow = [300 - 0.01 * second for second in range(600)]  # 36 °C/h
    fast = [slow[-1] - 0.05 * second for second in range(1, 401)]  # 180 °C/h
    found = work_out(grid(slow + fast), [phase("slow cool", 0, 1000)], [], None, None)
    steepest = min(each.fastest_down_c_per_h for each in found.rates)
    assert steepest == pytest.approx(-180, rel=0.01)


def test_no_rate_is_drawn_across_a_gap():
    broken = [200.0] * 200 + [None] * 200 + [260.0] * 200
    found = work_out(grid(broken), [phase("bench", 0, 600)], [], None, None)
    assert all(each.fastest_up_c_per_h is None for each in found.rates)
    assert [each.mean_c_per_h for each in found.rates] == [0]


def test_the_soak_counts_only_while_every_probe_is_in_the_band():
    first = [199.0] * 100 + [250.0] * 500
    second = [199.0] * 200 + [250.0] * 200 + [321.0] * 10 + [250.0] * 190
    soak = work_out(grid(first, second), [phase("oven", 0, 600)], [], 200, 320).soak
    assert (soak.longest_s, soak.total_s, soak.from_us) == (200, 390, 200 * SECOND_US)


def test_a_silent_probe_ends_the_soak():
    """After 30 s of silence nobody knows."""
    silent = [250.0] * 100 + [None] * 300 + [250.0] * 100
    soak = work_out(grid([250.0] * 500, silent), [phase("oven", 0, 500)], [], 200, None).soak
    assert (soak.longest_s, soak.total_s) == (130, 230)


@pytest.mark.parametrize(
    ("phases", "low_c"), [([phase("bench", 0, 600)], 200), ([phase("oven", 0, 600)], None)]
)
def test_without_an_oven_or_a_limit_there_is_no_soak(phases, low_c):
    assert work_out(grid([250.0] * 600), phases, [], low_c, None).soak is None


def test_time_below_preheat_is_the_coldest_probe_s_between_the_arcs():
    hot = [250.0] * 1000
    cold = [180.0] * 150 + [220.0] * 350 + [190.0] * 500
    passes = [weld_pass(1, 100, 200), weld_pass(2, 400, 600)]
    found = work_out(grid(hot, cold), [phase("bench", 0, 1000)], passes, 200, 320)
    assert found.below_preheat_s == 50 + 100
    assert found.unread_s == 0


def test_what_could_not_be_read_between_the_arcs_is_counted_apart():
    values = [250.0] * 200 + [None] * 200 + [250.0] * 200
    found = work_out(grid(values), [phase("bench", 0, 600)], [weld_pass(1, 100, 500)], 200, None)
    assert found.unread_s == 200 - 30
    assert found.below_preheat_s == 0


def test_the_gradient_is_the_greatest_difference_of_a_phase():
    first, second = [300.0] * 100, [290.0] * 40 + [262.0] + [290.0] * 59
    (gradient,) = work_out(grid(first, second), [phase("oven", 0, 100)], [], None, None).gradients
    assert (gradient.difference_k, gradient.at_us) == (38, 40 * SECOND_US)
    assert (gradient.coldest, gradient.hottest) == ("tc2", "tc1")


def test_last_arc_to_cover():
    phases = [phase("bench", 0, 700), phase("slow cool", 700, 900)]
    passes = [weld_pass(1, 100, 200), weld_pass(2, 300, 610)]
    assert work_out(grid([250.0] * 900), phases, passes, None, None).last_arc_to_cover_s == 90
    assert work_out(grid([250.0] * 900), phases[:1], passes, None, None).last_arc_to_cover_s is None


def test_a_heat_without_thermocouples_has_no_figures():
    found = work_out(lay_out([], [], 0), [phase("oven", 0, 10)], [weld_pass(1, 2, 3)], 200, 320)
    assert (found.soak, found.rates, found.gradients) == (None, (), ())
    assert (found.below_preheat_s, found.unread_s) == (None, None)
