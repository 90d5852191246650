"""One channel: silence by arrival, late and skewed sources, settling, frozen, noisy, reversed."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.judge.channel import ChannelTrack, Standing
from service.readings import ChannelKind, Quality, Reading

SECOND = 1_000_000
T0 = 1_780_000_000 * SECOND


def reading(mono_s, value, t_s=None, quality=Quality.GOOD, offset_s=0.0, unit="Cel", reason=None):
    """A reading that arrives at ``mono_s``; ``t_s``: source time by its own clock."""
    mono_us = T0 + round(mono_s * SECOND)
    arrived_us = mono_us + round(offset_s * SECOND)
    t_us = arrived_us if t_s is None else T0 + round(t_s * SECOND)
    return Reading(
        "c", unit, value, quality, reason, t_us, arrived_us, mono_us, 1, timed=t_s is not None
    )


def at(seconds):
    return T0 + round(seconds * SECOND)


@pytest.fixture
def flow():
    """A channel that needs no settling."""
    return ChannelTrack("c", T0, kind=ChannelKind.GAS_FLOW)


@pytest.fixture
def probe():
    return ChannelTrack("c", T0, kind=ChannelKind.THERMOCOUPLE)


def speak(track, values, every_s=1.0, start_s=0.0):
    for n, value in enumerate(values):
        track.take(reading(start_s + n * every_s, value, unit=track.unit or "Cel"))
    return start_s + (len(values) - 1) * every_s


@pytest.mark.parametrize(
    ("every_s", "stale_after_s"), [(0.1, 3.0), (1.0, 3.0), (2.0, 6.0), (10.0, 30.0)]
)
def test_stale_after_three_seconds_or_three_intervals(flow, every_s, stale_after_s):
    flow.unit = "l/min"
    end_s = speak(flow, [8.0 + n % 2 for n in range(12)], every_s)
    assert flow.standing(at(end_s + stale_after_s)) is Standing.GOOD
    assert flow.standing(at(end_s + stale_after_s + 0.01)) is Standing.STALE
    assert "silent for" in flow.why(at(end_s + stale_after_s + 0.01))


def test_one_gap_does_not_teach_a_slow_pace(flow):
    flow.unit = "l/min"
    speak(flow, [8.0] * 3)
    end_s = speak(flow, [8.0] * 2, start_s=120.0)
    assert flow.standing(at(end_s + 3.1)) is Standing.STALE


def test_readings_of_one_pack_teach_no_pace(flow):
    flow.unit = "l/min"
    for pack in range(5):
        for n in range(10):
            flow.take(reading(pack * 10 + n * 0.001, 8.0, unit="l/min"))
    assert flow.interval_us == pytest.approx(10 * SECOND, rel=0.01)


def test_never_heard_is_stale(flow):
    assert flow.standing(at(0)) is Standing.STALE
    assert flow.why(at(0)) == "no reading yet"
    assert flow.age_us(at(5)) == 5 * SECOND


def test_bad_and_suspect_stand_as_such_at_once(flow):
    flow.unit = "l/min"
    end_s = speak(flow, [8.0] * 4)
    flow.take(reading(end_s + 1, None, quality=Quality.BAD, reason="no value"))
    assert flow.standing(at(end_s + 1)) is Standing.BAD
    assert flow.why(at(end_s + 1)) == "no value"
    flow.take(reading(end_s + 2, 90.0, quality=Quality.SUSPECT, reason="odd"))
    assert flow.standing(at(end_s + 2)) is Standing.SUSPECT
    flow.take(reading(end_s + 3, 8.0, unit="l/min"))
    assert flow.standing(at(end_s + 3)) is Standing.GOOD


# --- source clocks -------------------------------------------------------------------------------


def test_a_late_reading_is_history_only(flow):
    for n in range(5):
        assert flow.take(reading(n, 8.0 + n, t_s=n))
    assert not flow.take(reading(5, 99.0, t_s=2.5))
    assert flow.value == 12.0
    assert flow.late == 1


def test_a_retained_reading_is_not_live(flow):
    assert not flow.take(reading(0, 8.0, t_s=-86_400))
    assert flow.standing(at(0)) is Standing.STALE


def test_a_relative_time_far_back_is_history(flow):
    old = reading(10, 8.0)
    old = Reading(
        "c", "l/min", 8.0, Quality.GOOD, None, old.t_us - 60 * SECOND, old.arrived_us,
        old.mono_us, 1, timed=False,
    )  # fmt: skip
    assert not flow.take(old)


def test_a_backfill_in_a_burst_is_history(flow):
    for n in range(10):
        flow.take(reading(n, 8.0, t_s=n))
    taken = [flow.take(reading(100 + n * 0.01, 2.0, t_s=10 + n)) for n in range(80)]
    assert not any(taken)
    assert flow.take(reading(101, 7.0, t_s=101))
    assert flow.value == 7.0


@pytest.mark.parametrize("skew_s", [-7200.0, -30.0])
def test_a_clock_ahead_is_seen_at_once(flow, skew_s):
    assert flow.take(reading(0, 8.0, t_s=-skew_s))
    assert flow.take(reading(1, 8.0, t_s=1 - skew_s))
    assert "ahead: arrival time is used" in flow.why(at(1))
    assert flow.measured_us == at(1)


def test_a_clock_behind_is_believed_after_five_seconds(flow):
    taken = [flow.take(reading(n, 8.0, t_s=n - 3600)) for n in range(10)]
    assert taken == [False] * 5 + [True] * 5
    assert "3600 s behind" in flow.why(at(9))
    assert flow.standing(at(9)) is Standing.GOOD


def test_a_link_that_jams_is_not_taken_for_a_clock_within_a_minute(flow):
    for n in range(10):
        flow.take(reading(n, 8.0, t_s=n))
    taken = [flow.take(reading(n, 8.0, t_s=n - 20)) for n in range(30, 80)]
    assert not any(taken)
    assert flow.standing(at(80)) is Standing.STALE


def test_the_clock_of_a_source_set_right_is_believed_again(flow):
    for n in range(10):
        flow.take(reading(n, 8.0, t_s=n + 500))
    assert flow.take(reading(10, 8.0, t_s=10))
    assert flow.why(at(10)) is None


@pytest.mark.parametrize("step_s", [3600.0, -3600.0])
def test_our_own_clock_stepping_makes_no_source_late(flow, step_s):
    for n in range(10):
        flow.take(reading(n, 8.0, t_s=n))
    flow.clock.our_clock_stepped(round(step_s * SECOND))
    for n in range(10, 20):
        assert flow.take(reading(n, 8.0, t_s=n, offset_s=step_s))
    # a source on the same machine steps with us
    assert flow.take(reading(20, 8.0, t_s=20 + step_s, offset_s=step_s))
    assert flow.take(reading(21, 8.0, t_s=21 + step_s, offset_s=step_s))


@given(st.lists(st.tuples(st.floats(0, 5), st.floats(-20, 20)), min_size=1, max_size=60))
def test_no_reading_older_than_one_judged_is_ever_judged(script):
    track, mono_s, newest_s, skew_s = ChannelTrack("c", T0), 0.0, -math.inf, 0.0
    for gap_s, delay_s in script:
        mono_s += gap_s
        taken = track.take(reading(mono_s, 8.0, t_s=mono_s - delay_s, unit="l/min"))
        if track.clock.skew_us / SECOND != skew_s:
            newest_s, skew_s = -math.inf, track.clock.skew_us / SECOND
        if taken:
            assert mono_s - delay_s > newest_s - 1e-5
            newest_s = mono_s - delay_s
            assert track.measured_us <= T0 + round(mono_s * SECOND)


# --- settling ------------------------------------------------------------------------------------


def clamped(part_c, probe_c, tau_s, seconds, cooling_k_per_s=0.4):
    """A probe put on a cooling part: exponential approach (first-order lag, textbook)."""
    lag_c = probe_c - part_c
    return [
        part_c - cooling_k_per_s * (t - tau_s) + lag_c * math.exp(-t / tau_s)
        for t in range(seconds)
    ]


@pytest.mark.parametrize("tau_s", [1.0, 3.0, 6.0, 10.0])
@pytest.mark.parametrize("probe_c", [20.0, 400.0])
def test_a_clamped_probe_settles_when_it_is_within_a_few_kelvin(probe, tau_s, probe_c):
    values = clamped(280.0, probe_c, tau_s, 120)
    for t, value in enumerate(values):
        probe.take(reading(t, value))
        if probe.standing(at(t)) is Standing.GOOD:
            lag = value - (280.0 - 0.4 * t)
            assert abs(lag) < 8.0
            assert 8 <= t <= 80
            return
    pytest.fail("it never settled")


def test_a_short_gap_in_place_needs_no_settling(probe):
    end_s = speak(probe, [250 - 0.4 * n for n in range(30)])
    assert probe.standing(at(end_s)) is Standing.GOOD
    probe.take(reading(end_s + 6, 250 - 0.4 * (30 + 5)))
    assert probe.standing(at(end_s + 6)) is Standing.GOOD


def test_a_long_gap_settles_again(probe):
    end_s = speak(probe, [250 - 0.4 * n for n in range(30)])
    probe.take(reading(end_s + 30, 226.0))
    assert probe.standing(at(end_s + 30)) is Standing.SETTLING
    assert "settling" in probe.why(at(end_s + 30))


def test_a_probe_that_falls_off_settles_again(probe):
    end_s = speak(probe, [250 - 0.4 * n for n in range(30)])
    for n in range(10):
        probe.take(reading(end_s + 1 + n, 238 - 12.0 * n))
    assert probe.standing(at(end_s + 10)) is Standing.SETTLING


@pytest.mark.parametrize("tau_s", [0.5, 3.0, 15.0])
def test_a_probe_in_air_is_not_taken_for_a_cold_part(probe, tau_s):
    end_s = speak(probe, [250 - 0.4 * n for n in range(30)])
    for n in range(1, 120):
        probe.take(reading(end_s + n, 25 + 213 * math.exp(-n / tau_s)))
        standing = probe.standing(at(end_s + n))
        assert n < 8 or standing in (Standing.SETTLING, Standing.SUSPECT)
    assert probe.standing(at(end_s + 119)) is Standing.SUSPECT
    assert "come off" in probe.why(at(end_s + 119))
    for n in range(120, 200):
        probe.take(reading(end_s + n, 210 - 180 * math.exp(-(n - 120) / 3)))
    assert probe.standing(at(end_s + 199)) is Standing.GOOD


def test_a_probe_moved_to_a_cooler_place_is_believed(probe):
    end_s = speak(probe, [300 - 0.4 * n for n in range(30)])
    for n in range(1, 40):
        probe.take(reading(end_s + n, 220 - 0.3 * n + 68 * math.exp(-n / 3)))
    assert probe.standing(at(end_s + 39)) is Standing.GOOD


def test_a_slow_fall_is_cooling(probe):
    end_s = speak(probe, [300 - 0.9 * n for n in range(250)])
    assert probe.standing(at(end_s)) is Standing.GOOD


def test_the_arc_may_heat_the_part_quickly(probe):
    end_s = speak(probe, [250 - 0.4 * n for n in range(30)])
    probe.heated = True
    for n in range(20):
        probe.take(reading(end_s + 1 + n, 240 + 5.0 * n))
        assert probe.standing(at(end_s + 1 + n)) is Standing.GOOD


def test_ambient_needs_no_settling():
    room = ChannelTrack("c", T0, kind=ChannelKind.AMBIENT)
    room.take(reading(0, 21.0))
    assert room.standing(at(0)) is Standing.GOOD


def test_a_very_fast_channel_settles_too(probe):
    for n in range(3000):
        probe.take(reading(n * 0.005, 250 - 0.002 * n))
    assert probe.standing(at(15)) is Standing.GOOD


# --- frozen, noisy, reversed ---------------------------------------------------------------------


def test_a_frozen_conversion_off_the_heat_is_doubtful(probe):
    end_s = speak(probe, [250 - 0.4 * n for n in range(30)])
    probe.frozen_after_us = 90 * SECOND
    for n in range(1, 120):
        probe.take(reading(end_s + n, 238.25))
    assert probe.standing(at(end_s + 85)) is Standing.GOOD
    assert probe.standing(at(end_s + 119)) is Standing.SUSPECT
    assert "frozen" in probe.why(at(end_s + 119))
    probe.take(reading(end_s + 120, 237.75))
    assert probe.standing(at(end_s + 120)) is Standing.GOOD


def test_a_cold_part_may_stand_still(probe):
    probe.frozen_after_us = 90 * SECOND
    end_s = speak(probe, [21.25] * 300)
    assert probe.standing(at(end_s)) is Standing.GOOD


def test_in_the_oven_a_frozen_conversion_is_only_told(probe):
    probe.in_oven = probe.heated = True
    end_s = speak(probe, [300.0] * 20 + [300.25] * 1000)
    assert probe.standing(at(end_s)) is Standing.GOOD
    assert "frozen" in probe.why(at(end_s))


def test_noise_is_counted_and_becomes_a_fault_when_it_lasts(probe):
    end_s = speak(probe, [250.0 - 0.1 * n for n in range(30)])
    for n in range(6):
        probe.take(reading(end_s + 0.2 * n, 900.0, quality=Quality.SUSPECT, reason="jump"))
    probe.take(reading(end_s + 2, 247.0))
    assert probe.standing(at(end_s + 2)) is Standing.GOOD
    assert "noisy: 6" in probe.why(at(end_s + 2))
    assert not probe.lastingly_noisy(at(end_s + 2))
    probe.take(reading(end_s + 20, 900.0, quality=Quality.SUSPECT, reason="jump"))
    assert probe.lastingly_noisy(at(end_s + 20))
    assert not probe.noisy(at(end_s + 100))


@pytest.mark.parametrize(("of_ten", "settled"), [(1, True), (6, False)])
def test_a_few_agreeing_readings_among_impossible_ones_settle_nothing(probe, of_ten, settled):
    """A broken converter jumps among four levels; one that it comes back to is not the part's."""
    for n in range(60):
        doubtful = n % 10 < of_ten
        quality, reason = (Quality.SUSPECT, "jump") if doubtful else (Quality.GOOD, None)
        value = 560.0 if doubtful else 340.0 - 0.1 * n
        probe.take(reading(n, value, quality=quality, reason=reason))
    assert probe.standing(at(59)) is (Standing.GOOD if settled else Standing.SETTLING)


def test_brief_faults_are_noise_and_a_long_one_is_none(probe):
    """An arc start upsets the converter for moments: it says "open circuit", then reads on."""
    end_s = speak(probe, [250.0 - 0.1 * n for n in range(30)])
    for n in range(6):
        for _ in range(2):
            end_s += 0.2
            probe.take(reading(end_s, None, quality=Quality.BAD, reason="open circuit"))
            assert probe.standing(at(end_s)) is Standing.BAD
        end_s += 0.2
        probe.take(reading(end_s, 247.0 - 0.1 * n))
    assert probe.standing(at(end_s)) is Standing.GOOD
    assert "noisy: 6" in probe.why(at(end_s))
    assert not probe.lastingly_noisy(at(end_s))
    end_s += 70
    for n in range(40):  # unplugged for 40 s: a fault while it lasts, and no noise afterwards
        probe.take(reading(end_s + n, None, quality=Quality.BAD, reason="open circuit"))
    probe.take(reading(end_s + 40, 200.0))
    assert not probe.noisy(at(end_s + 40))


def test_leads_reversed_show_in_the_oven(probe):
    probe.in_oven = probe.heated = True
    for n in range(120):
        probe.take(reading(n, 20.0 - 0.3 * n))
    assert probe.standing(at(119)) is Standing.SUSPECT
    assert "leads reversed" in probe.why(at(119))


@pytest.mark.parametrize("hung_s", [60, 61, 62, 63])
def test_a_probe_put_back_settles_before_it_is_believed_again(stage, hung_s):
    """It falls off a warm part, hangs in air, is put back: on its way up it is not good."""
    warm_c = 67.0
    shown = {"c": warm_c, "to": warm_c}

    def lagging(_t_s):
        shown["c"] += (shown["to"] - shown["c"]) / 3.5
        return round(shown["c"] * 4) / 4

    stage.sources = {"tc1": lagging}
    stage.part(1, {"tc1": "thermocouple"})
    stage.run(30)
    shown["to"] = 20.0
    stage.run(hung_s)
    track = stage.judge.state.channels["tc1"]
    assert track.off
    shown["to"] = warm_c
    for _ in range(30):
        stage.run(1)
        if track.standing(stage.now_us).value == "good":
            assert abs(shown["c"] - warm_c) < 15.0
    stage.run(20)
    assert track.standing(stage.now_us).value == "good"
