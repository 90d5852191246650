"""The purge with an oxygen sensor: believed as far as it can be, never further."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pytest

from service.physics.purge import Purge, PurgeSetup
from service.physics.purge_sensor import weighted_quantiles

AIR_PPM = 209_500.0
LIMIT_PPM = 50.0


@dataclass
class Truth:
    """A cavity in small Euler steps, with a dead leg and a leaky hose if wanted, and a cell."""

    volume_l: float = 2.4
    flow_l_min: float = 10.0
    leak: float = 0.0
    air_l_min: float = 0.0
    dead_l: float = 0.0
    dead_rate_per_s: float = 0.0
    lag_s: float = 6.0
    noise: float = 0.02
    room: float = AIR_PPM
    dead: float = AIR_PPM
    cell: float = AIR_PPM
    random: np.random.Generator = field(default_factory=lambda: np.random.default_rng(11))

    def second(self) -> float:
        """Let a second pass; return the sensor's reading."""
        for _ in range(20):
            into = self.leak * AIR_PPM + 3.0
            change = self.flow_l_min / 60.0 / self.volume_l * (into - self.room)
            change += self.air_l_min / 60.0 / self.volume_l * (AIR_PPM - self.room)
            swap = self.dead_rate_per_s * (self.dead - self.room)
            self.room += 0.05 * (change + swap * self.dead_l / self.volume_l)
            self.dead -= 0.05 * swap
            self.cell += 0.05 * (self.room - self.cell) / self.lag_s
        return max(self.cell * (1 + self.noise * self.random.standard_normal()), 0.0)


def purged(truth: Truth, seconds: int, volume_l: float | None = 2.4, **setup: float) -> Purge:
    purge = Purge(PurgeSetup(volume_l, limit_ppm=LIMIT_PPM, **setup), 0.0)
    for t_s in range(seconds):
        purge.observe_flow(float(t_s), truth.flow_l_min)
        purge.observe_oxygen(float(t_s), truth.second())
    return purge


def test_recovers_the_volume_from_noisy_readings() -> None:
    for true_l in (2.0, 2.4, 2.9):
        found = purged(Truth(volume_l=true_l), 200).learnt_volume_l()
        assert found is not None
        assert found.p95 is not None
        # A small lively dead leg looks much like a larger room, so a fifth is all one can ask.
        assert found.p50 == pytest.approx(true_l, rel=0.20)
        assert found.p05 < true_l < found.p95


def test_clear_sooner_than_by_flow_alone_and_not_too_soon() -> None:
    truth, by_flow = Truth(), Purge(PurgeSetup(2.4), 0.0)
    purge = Purge(PurgeSetup(2.4), 0.0)
    sensor_s = flow_s = true_s = None
    for t_s in range(300):
        purge.observe_flow(float(t_s), 10.0)
        purge.observe_oxygen(float(t_s), truth.second())
        by_flow.observe_flow(float(t_s), 10.0)
        true_s = t_s if true_s is None and truth.room < LIMIT_PPM else true_s
        sensor_s = t_s if sensor_s is None and purge.clear(LIMIT_PPM) else sensor_s
        flow_s = t_s if flow_s is None and by_flow.clear(LIMIT_PPM) else flow_s
    assert true_s is not None
    assert sensor_s is not None
    assert flow_s is not None
    assert true_s < sensor_s < flow_s


def test_a_leaky_hose_is_seen_by_the_sensor_only() -> None:
    truth = Truth(leak=0.002)
    purge = purged(truth, 400)
    assert purge.basis == "oxygen sensor"
    oxygen = purge.oxygen()
    assert oxygen is not None
    assert not purge.clear(LIMIT_PPM)
    assert oxygen.p05 < truth.room < (oxygen.p95 or math.inf)
    assert oxygen.p50 == pytest.approx(truth.room, rel=0.15)
    assert purge.clear_in(LIMIT_PPM).time_left_s is None
    assert any(t.startswith("oxygen not falling as it must") for t in purge.troubles())


@pytest.mark.parametrize(("dead_l", "rate"), [(0.2, 0.006), (0.4, 0.015), (0.15, 0.02)])
def test_a_dead_leg_is_kept_in_mind(dead_l: float, rate: float) -> None:
    truth = Truth(dead_l=dead_l, dead_rate_per_s=rate)
    purge = Purge(PurgeSetup(2.4), 0.0)
    wrong = []
    for t_s in range(600):
        purge.observe_flow(float(t_s), 10.0)
        purge.observe_oxygen(float(t_s), truth.second())
        if purge.clear(LIMIT_PPM) and truth.dead > LIMIT_PPM:
            wrong.append(t_s)
    assert wrong == []


def test_never_clear_while_the_sensor_reads_above_the_limit() -> None:
    purge = purged(Truth(), 300)
    assert purge.clear(LIMIT_PPM)
    purge.observe_flow(300.0, 10.0)
    purge.observe_oxygen(300.0, 60.0)
    assert not purge.clear(LIMIT_PPM)


def test_a_sudden_leak_takes_clear_back_within_seconds_of_showing() -> None:
    truth = Truth(lag_s=3.0)
    purge = purged(truth, 300)
    assert purge.clear(LIMIT_PPM)
    truth.leak = 0.05
    for t_s in range(300, 312):
        purge.observe_flow(float(t_s), 10.0)
        purge.observe_oxygen(float(t_s), truth.second())
    assert not purge.clear(LIMIT_PPM)
    assert any(t.startswith("oxygen rising") for t in purge.troubles())


def test_a_cell_that_reads_nothing_does_not_make_clear_sooner_than_gas_can() -> None:
    """Hot zirconia in oil smoke: the sensor shows 1 ppm while the cavity is full of air."""
    purge = Purge(PurgeSetup(2.4, limit_ppm=LIMIT_PPM), 0.0)
    for t_s in range(60):
        purge.observe_flow(float(t_s), 10.0)
        purge.observe_oxygen(float(t_s), 1.0)
        assert not purge.clear(LIMIT_PPM), t_s
    assert any("lower than the gas passed can explain" in t for t in purge.troubles())


def test_a_saturated_cell_only_says_at_least() -> None:
    """A trace cell stuck at the top of its range, 1000 ppm, in a cavity still full of air."""
    purge = Purge(PurgeSetup(2.4, sensor_top_ppm=1000.0), 0.0)
    for t_s in range(30):
        purge.observe_flow(float(t_s), 0.0)
        purge.observe_oxygen(float(t_s), 1000.0)
    oxygen = purge.oxygen()
    assert oxygen is not None
    assert oxygen.p50 > 1e5


def test_without_a_volume_the_sensor_still_tells() -> None:
    truth = Truth()
    purge = purged(truth, 400, volume_l=None)
    oxygen = purge.oxygen()
    assert oxygen is not None
    assert oxygen.p05 < truth.room < (oxygen.p95 or math.inf)
    assert purge.clear(LIMIT_PPM)
    purge.observe_oxygen(400.0, None)
    assert purge.oxygen() is None
    assert not purge.clear(LIMIT_PPM)


def test_a_sensor_that_fails_hands_over_to_the_flow_and_what_it_taught() -> None:
    purge = purged(Truth(leak=0.002), 400)
    purge.observe_oxygen(400.0, None)
    assert purge.basis == "flow"
    # By flow alone this purge would be clear; the sensor has seen the leak.
    assert not purge.clear(LIMIT_PPM)
    assert any(t.startswith("oxygen sensor at fault") for t in purge.troubles())


def test_a_sensor_that_falls_silent_is_overdue_after_half_a_minute() -> None:
    purge = purged(Truth(), 200)
    for t_s in range(200, 240):
        purge.observe_flow(float(t_s), 10.0)
    assert purge.basis == "flow"
    assert any(t.startswith("oxygen sensor silent") for t in purge.troubles())


def test_a_typed_flow_with_a_sensor_is_judged_by_the_sensor() -> None:
    truth = Truth()
    purge = Purge(PurgeSetup(2.4), 0.0)
    purge.observe_flow(0.0, 10.0, by_hand=True)
    for t_s in range(300):
        purge.observe_oxygen(float(t_s), truth.second())
    assert purge.basis == "oxygen sensor"
    assert purge.clear(LIMIT_PPM)


def test_an_overdue_calibration_widens_and_says_so() -> None:
    plain, overdue = purged(Truth(), 300), purged(Truth(), 300, sensor_overdue=True)
    a, b = plain.oxygen(), overdue.oxygen()
    assert a is not None
    assert b is not None
    assert b.p95 is not None
    assert a.p95 is not None
    assert b.p95 > a.p95
    assert any("overdue" in t for t in overdue.troubles())


def test_same_readings_same_answers() -> None:
    assert purged(Truth(), 150).oxygen() == purged(Truth(), 150).oxygen()


def test_a_lost_and_regained_flow_is_no_dead_leg() -> None:
    """Air that came back during a stall is above the bound of before it, and is no leak."""
    truth = Truth(volume_l=2.4)
    purge = Purge(PurgeSetup(2.4, limit_ppm=50.0), 0.0)
    for t_s in range(480):
        stalled = 200 < t_s < 240
        # A wide open end: three litres of air a minute while the argon stands.
        truth.flow_l_min, truth.air_l_min = (0.0, 3.0) if stalled else (10.0, 0.0)
        purge.observe_flow(float(t_s), truth.flow_l_min)
        purge.observe_oxygen(float(t_s), truth.second())
        assert not any("not falling" in text for text in purge.troubles()), t_s
    assert not purge._sensed.suspected
    assert purge.clear(50.0)


def test_the_lower_end_never_lies_above_what_the_sensor_leaves_room_for() -> None:
    purge = Purge(PurgeSetup(2.4, limit_ppm=50.0), 0.0)
    for t_s in range(60):
        purge.observe_flow(float(t_s), 10.0)
        purge.observe_oxygen(float(t_s), 1000.0)
        oxygen = purge.oxygen()
        assert oxygen is not None
        # Nine tenths of the reading less 2 ppm: slope and zero error of a cell.
        assert oxygen.p05 <= 898.0 + 1e-6


def test_weighted_quantiles() -> None:
    values, even = np.arange(1.0, 101.0), np.full(100, 0.01)
    assert weighted_quantiles(values, even, (0.05, 0.5, 0.95)) == pytest.approx([5.5, 50.5, 95.5])
    heavy = np.where(values == 30, 1.0, 0.0)
    assert weighted_quantiles(values, heavy, (0.5,)) == pytest.approx([30.0], abs=1.0)
