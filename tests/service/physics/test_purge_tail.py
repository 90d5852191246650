"""The tail of a purge: a dead leg is worked out of the readings' own fall, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from service.physics.purge import Purge, PurgeSetup
from service.physics.purge_tail import STANDS_PER_S, TAIL_DOUBT, Tail

AIR_PPM = 209_500.0
ROOM_PER_S = 0.06
LEG_PER_S = 0.02
SHARE = 0.05
CELL_S = 7.0


def leg_ppm(t_s: float, room_per_s: float = ROOM_PER_S, leg_per_s: float = LEG_PER_S) -> float:
    """A leg filled with air on a room that falls as exp(−k·t): the closed form."""
    k, r = room_per_s, leg_per_s
    return AIR_PPM * (k * math.exp(-r * t_s) - r * math.exp(-k * t_s)) / (k - r)


def room_ppm(t_s: float, floor_ppm: float = 0.0) -> float:
    """A room that a leg of its own rate feeds a little; with a leak's floor if wanted."""
    fed = SHARE * LEG_PER_S / (ROOM_PER_S - LEG_PER_S)
    tail = fed * (math.exp(-LEG_PER_S * t_s) - math.exp(-ROOM_PER_S * t_s))
    return AIR_PPM * (math.exp(-ROOM_PER_S * t_s) + tail) + floor_ppm


def tail_of(readings, seconds: int, usual_per_s: float = ROOM_PER_S, noise: float = 0.0) -> Tail:
    tail, random = Tail(), np.random.default_rng(3)
    for t_s in range(seconds):
        scattered = readings(float(t_s)) * (1.0 + noise * random.standard_normal())
        tail.add(float(t_s), scattered, usual_per_s)
    return tail


@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_the_legs_rate_is_recovered_and_its_oxygen_never_below_the_truth(noise: float) -> None:
    """The room alone would be at 1 ppm after 200 s: what is left comes from the leg."""
    tail = tail_of(room_ppm, 250, noise=noise)
    assert tail.is_slow(CELL_S)
    assert tail.rate_per_s == pytest.approx(LEG_PER_S, rel=0.12)
    truth = leg_ppm(249.0)
    # Within the doubt, and what a rate an eighth off does over five time constants.
    assert truth < tail.leg_ppm() < TAIL_DOUBT * 2.0 * truth


@pytest.mark.parametrize("limit_ppm", [20.0, 50.0, 100.0, 500.0, 1000.0])
def test_the_leg_is_never_said_to_be_below_a_limit_it_is_not(limit_ppm: float) -> None:
    """Nor does the tail stop being slow before the leg is below."""
    for seconds in range(100, 520, 5):
        tail, truth = tail_of(room_ppm, seconds), leg_ppm(seconds - 1.0)
        said = tail.leg_ppm() if tail.is_slow(CELL_S) else 0.0
        assert said >= limit_ppm or truth < limit_ppm, seconds


def test_one_mixing_volume_has_no_dead_leg() -> None:
    def alone(t_s: float) -> float:
        return AIR_PPM * math.exp(-ROOM_PER_S * t_s)

    for usual in (ROOM_PER_S, 1.15 * ROOM_PER_S, 0.85 * ROOM_PER_S):
        tail = tail_of(alone, 150, usual, noise=0.02)
        assert not tail.is_slow(CELL_S)
        assert tail.leg_below_in_s(50.0) > 0.0


def test_a_slow_cell_is_no_dead_leg() -> None:
    """A cavity that clears in seconds, seen by a cell of 15 s: the tail is the cell's."""
    tail = tail_of(lambda t_s: AIR_PPM * math.exp(-t_s / 15.0), 120, usual_per_s=0.2)
    assert not tail.is_slow(15.0)
    assert tail.is_slow(4.0)


def test_a_leak_stands_and_is_no_dead_leg() -> None:
    tail = tail_of(lambda t_s: AIR_PPM * math.exp(-ROOM_PER_S * t_s) + 300.0, 260, noise=0.02)
    assert tail.stands
    assert not tail.is_slow(CELL_S)


def test_a_leg_slower_than_any_tail_can_tell_is_taken_for_a_leak() -> None:
    slow = STANDS_PER_S / 3.0
    tail = tail_of(lambda t_s: 400.0 * math.exp(-slow * t_s), 300)
    assert tail.stands


def test_readings_near_the_cells_zero_do_not_say_that_it_stands() -> None:
    """The same leg far down, where the cell's zero flattens the curve: the rate found goes on."""
    tail = tail_of(lambda t_s: max(room_ppm(t_s), 3.0), 700)
    assert not tail.stands
    assert tail.is_slow(CELL_S)
    assert tail.rate_per_s == pytest.approx(LEG_PER_S, rel=0.2)
    assert tail.leg_ppm() > leg_ppm(699.0)


def test_a_change_of_flow_begins_a_new_tail_and_keeps_the_rate() -> None:
    tail = tail_of(room_ppm, 250)
    rate = tail.rate_per_s
    tail.begin_anew()
    tail.add(250.0, room_ppm(250.0), 2.0 * ROOM_PER_S)
    assert tail.rate_per_s == rate
    assert tail.steepest_per_s == 0.0


def test_nothing_is_known_before_the_first_readings() -> None:
    tail = Tail()
    assert not tail.is_slow(CELL_S)
    assert tail.leg_ppm() == AIR_PPM
    assert tail.leg_below_in_s(50.0) == math.inf


def test_time_until_below_is_the_legs_own_fall() -> None:
    tail = tail_of(room_ppm, 250)
    assert tail.rate_per_s is not None
    wait_s = tail.leg_below_in_s(50.0)
    assert tail.leg_ppm() * math.exp(-tail.rate_per_s * wait_s) == pytest.approx(50.0)


def purge_with(rate_per_s: float, seconds: int, limit_ppm: float = 500.0) -> tuple[Purge, float]:
    """A cavity of 2.4 l at 8.64 l/min, its joint at the end of a leg of 7 %; a cell of 7 s."""
    purge, random = Purge(PurgeSetup(2.4, limit_ppm=limit_ppm), 0.0), np.random.default_rng(9)
    room = leg = cell = AIR_PPM
    for t_s in range(seconds):
        for _ in range(20):
            swap = rate_per_s * (leg - room)
            room += 0.05 * (ROOM_PER_S * (3.0 - room) + 0.07 * swap)
            leg -= 0.05 * swap
            cell += 0.05 * (room - cell) / CELL_S
        purge.observe_flow(float(t_s), 60.0 * 2.4 * ROOM_PER_S)
        purge.observe_oxygen(float(t_s), max(cell * (1 + 0.02 * random.standard_normal()), 0.0))
    return purge, leg


def test_not_clear_until_the_leg_is_and_it_says_why_and_how_long() -> None:
    purge, leg = purge_with(0.023, 230)
    assert leg > 1000.0
    oxygen = purge.oxygen()
    assert oxygen is not None
    assert oxygen.p95 is not None
    assert oxygen.p95 > leg
    assert not purge.clear(500.0)
    assert any("dead leg may still hold" in text for text in purge.troubles())
    left = purge.clear_in(500.0).time_left_s
    assert left is not None
    assert left.p95 is not None
    truth_s = math.log(leg / 500.0) / 0.023
    assert truth_s < left.p95 < 5.0 * truth_s


def test_clear_at_last_when_the_leg_has_emptied() -> None:
    purge, leg = purge_with(0.023, 420)
    assert leg < 50.0
    assert purge.clear(500.0)
    assert not any("dead leg" in text for text in purge.troubles())
