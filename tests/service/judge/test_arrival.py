"""A measurement becomes a reading; one that a broker kept never decides anything."""

from __future__ import annotations

import pytest

from service.judge.arrival import Arrivals
from service.judge.channel import ChannelTrack, Standing
from service.judge.judge import Judge
from service.readings import ChannelKind, Measurement, Quality

SECOND = 1_000_000
T0 = 1_780_000_000 * SECOND
AT = T0 + 100 * SECOND


@pytest.fixture
def arrivals():
    return Arrivals(Judge())


def flow(t_us=None, value=12.0, reason=None):
    return Measurement("gas", "l/min", value, reason, t_us)


@pytest.mark.parametrize("age_s", [-3600.0, -0.5, 0.0, 2.9])
def test_a_kept_reading_that_looks_new_is_doubted_and_decides_nothing(arrivals, age_s):
    """Half an hour old from a clock an hour ahead looks just like this."""
    track = ChannelTrack("gas", T0, kind=ChannelKind.GAS_FLOW)
    kept = arrivals.arrive(flow(AT - round(age_s * SECOND)), 1, AT, AT, kept=True)
    assert kept.quality is Quality.SUSPECT
    assert kept.value == 12.0
    assert "kept by the broker" in str(kept.reason)
    assert not track.take(kept)
    assert track.standing(AT) is Standing.STALE
    sent = arrivals.arrive(flow(AT + SECOND), 2, AT + SECOND, AT + SECOND)
    assert track.take(sent)
    assert track.standing(AT + SECOND) is Standing.GOOD


def test_a_kept_reading_with_an_old_time_is_plain_history(arrivals):
    track = ChannelTrack("gas", T0, kind=ChannelKind.GAS_FLOW)
    kept = arrivals.arrive(flow(AT - 60 * SECOND), 1, AT, AT, kept=True)
    assert (kept.quality, kept.reason, kept.t_us) == (Quality.GOOD, None, AT - 60 * SECOND)
    assert not track.take(kept)


def test_a_kept_fault_keeps_its_reason(arrivals):
    kept = arrivals.arrive(flow(AT, None, "short-to-ground"), 1, AT, AT, kept=True)
    assert kept.quality is Quality.BAD
    assert str(kept.reason).startswith("kept by the broker")
    assert "short to ground" in str(kept.reason)
    assert not ChannelTrack("gas", T0, kind=ChannelKind.GAS_FLOW).take(kept)


def test_two_without_times_in_one_microsecond_stay_two(arrivals):
    first = arrivals.arrive(flow(), 1, AT, AT)
    second = arrivals.arrive(flow(value=13.0), 2, AT, AT)
    assert (first.t_us, second.t_us) == (AT, AT + 1)
    assert not first.timed


def test_readings_of_one_pack_each_have_a_place_and_a_microsecond_of_their_own(arrivals):
    """Two of one channel without times, as a node sends that gathers before it sends."""
    pack = [flow(), flow(value=13.0), flow(AT - SECOND, 14.0), flow(value=15.0)]
    readings = arrivals.arrive_together(pack, 7, AT, AT + 5)
    assert [each.seq for each in readings] == [7, 8, 9, 10]
    assert [each.mono_us - AT for each in readings] == [0, 1, 2, 3]
    assert [each.arrived_us - each.mono_us for each in readings] == [5] * 4
    assert len({each.t_us for each in readings}) == 4
    assert [each.timed for each in readings] == [False, False, True, False]
    singly = Arrivals(Judge())
    assert readings == [
        singly.arrive(each, 7 + n, AT + n, AT + 5 + n) for n, each in enumerate(pack)
    ]
