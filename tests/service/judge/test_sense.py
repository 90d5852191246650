"""The gate: what is believed on arrival, what is suspect, what is bad."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.judge import sense
from service.judge.cold_junction import Junction
from service.judge.sense import MARKERS_UNTIL_BAD, SenseState, classify
from service.readings import ChannelKind, Quality

GOOD, SUSPECT, BAD = Quality.GOOD, Quality.SUSPECT, Quality.BAD


def through(values, unit="Cel", every_s=1.0, state=None, start_s=100.0):
    """Qualities of readings one after the other; a text is a fault from the wire."""
    state = SenseState() if state is None else state
    found = []
    for number, value in enumerate(values):
        fault = value if isinstance(value, str) else None
        given_value = None if isinstance(value, str) else value
        mono_us = round((start_s + number * every_s) * 1e6)
        quality, reason = classify(state, "tc", unit, given_value, fault, mono_us=mono_us)
        assert (reason is None) == (quality is GOOD)
        found.append(quality)
    return found


@pytest.mark.parametrize(
    ("value", "unit", "fault", "words"),
    [
        (None, None, "open-circuit", "open circuit"),
        (None, "Cel", "short-to-ground", "short to ground"),
        (None, "Cel", "short-to-supply", "short to supply"),
        (None, "Cel", "out-of-range", "out of range"),
        (None, "Cel", "sensor on fire", "sensor on fire"),
        (None, "Cel", None, "no value"),
        (math.nan, "Cel", None, "not a number"),
        (math.inf, "l/min", None, "not a number"),
        (21.0, None, None, "without a unit"),
        (2046.0, "Cel", None, "2046 Cel is not between -60 and 1400"),
        (-200.0, "Cel", None, "out of range"),
        (1_060_000.0, "ppm", None, "out of range"),  # an oxygen cell that read 106 %
        (-50.0, "ppm", None, "out of range"),
        (900.0, "l/min", None, "out of range"),
    ],
)
def test_bad_with_its_reason(value, unit, fault, words):
    quality, reason = classify(SenseState(), "c", unit, value, fault, mono_us=1)
    assert quality is BAD
    assert words in reason


def test_far_below_the_range_a_probe_may_have_its_leads_reversed():
    """On a part at 300 °C, terminals at 25 °C, it reads about 25 - 275 = -250 °C."""
    _, reason = classify(SenseState(), "c", "Cel", -250.0, None, mono_us=1)
    assert reason.endswith("leads reversed?")
    for state, value in (
        (SenseState(), 2046.0),
        (SenseState(kinds={"c": ChannelKind.AMBIENT}), -250.0),
    ):
        assert "reversed" not in classify(state, "c", "Cel", value, None, mono_us=1)[1]


def test_a_voltage_is_held_to_the_range_of_temperatures_too():
    """Type K, leads reversed: -5.0 mV with the terminals at 25 °C is far below any workshop."""
    state = SenseState(junctions={"tc": Junction("K", "box")})
    assert classify(state, "box", "Cel", 25.0, None, mono_us=1) == (GOOD, None)
    quality, reason = classify(state, "tc", "mV", -5.0, None, mono_us=2)
    assert quality is BAD
    assert "is not between -60 and 1400: leads reversed?" in reason
    assert classify(state, "tc", "mV", 10.0, None, mono_us=3) == (GOOD, None)


def test_an_ambient_channel_has_a_tighter_range():
    state = SenseState(kinds={"c": ChannelKind.AMBIENT})
    quality, reason = classify(state, "c", "Cel", 250.0, None, mono_us=1)
    assert quality is BAD
    assert "80" in reason


@pytest.mark.parametrize("odd", [0.0, 85.0, -1.0, 320.0, 170.0])
def test_an_isolated_odd_number_is_suspect_and_only_that_one(odd):
    assert through([250, 249.5, odd, 249, 248.5]) == [GOOD, GOOD, SUSPECT, GOOD, GOOD]


@pytest.mark.parametrize("marker", [0.0, 85.0, -1.0])
def test_a_smooth_passage_is_believed(marker):
    values = [marker + 4 - 0.5 * step for step in range(16)]
    assert marker in values
    assert set(through(values)) == {GOOD}


def test_an_exact_repeat_never_makes_a_marker_believable():
    found = through([250.0, *[0.0] * 20])
    assert GOOD not in found[1:]
    assert found[MARKERS_UNTIL_BAD:] == [BAD] * (21 - MARKERS_UNTIL_BAD)


def test_a_dead_chip_from_the_start():
    assert through([0.0] * 8) == [SUSPECT] * 4 + [BAD] * 4


def test_a_power_up_value_before_the_first_true_reading():
    assert through([85.0, 21.5, 21.5]) == [SUSPECT, GOOD, GOOD]


def test_a_jump_is_believed_once_others_agree():
    assert through([20, 20, 280, 279, 279, 278]) == [GOOD, GOOD, SUSPECT, SUSPECT, GOOD, GOOD]


def test_a_probe_clamped_on_rises_through_suspicion():
    rising = [20 + 250 * (1 - math.exp(-t / 4)) for t in range(40)]
    found = through(rising)
    assert SUSPECT in found[:6]
    assert set(found[20:]) == {GOOD}


def test_noise_both_ways_is_never_believed():
    found = through([250, 90, 400, 120, 380, 60, 250])
    assert found == [GOOD, *[SUSPECT] * 5, GOOD]


def test_after_a_fault_the_jump_starts_over():
    found = through([250, 30, "open-circuit", 30, 30, 30])
    assert found == [GOOD, SUSPECT, BAD, SUSPECT, SUSPECT, GOOD]


def test_after_a_long_silence_nothing_is_impossible():
    state = SenseState()
    assert through([250], state=state) == [GOOD]
    assert through([21], state=state, start_s=140.0) == [GOOD]


def test_a_pack_is_judged_by_when_it_was_measured():
    """Ten readings, 10 s apart, arriving in one message, falling 15 K each."""
    state, base_us = SenseState(), 1_780_000_000_000_000
    found = [
        classify(
            state, "tc", "Cel", 300.0 - 15 * n, None, mono_us=5, t_us=base_us + n * 10_000_000
        )[0]
        for n in range(10)
    ]
    assert set(found) == {GOOD}


def test_late_readings_are_no_neighbours_of_live_ones():
    state, base_us = SenseState(), 1_780_000_000_000_000
    found = []
    for n in range(20):
        at_us = base_us + n * 1_000_000
        found.append(classify(state, "tc", "Cel", 200.0, None, mono_us=at_us, t_us=at_us)[0])
        old_us = at_us - 600_000_000
        found.append(classify(state, "tc", "Cel", 320.0, None, mono_us=at_us, t_us=old_us)[0])
    assert set(found) == {GOOD}


def test_a_clock_set_back_does_not_blind_the_gate_for_ever():
    state, base_us = SenseState(), 1_780_000_000_000_000
    found = []
    for n in range(120):
        at_us = base_us + n * 1_000_000
        t_us = at_us if n < 10 else at_us - 3_600_000_000
        value = 900.0 if n == 100 else 200.0
        found.append(classify(state, "tc", "Cel", value, None, mono_us=at_us, t_us=t_us)[0])
    assert found[100] is SUSPECT


@given(
    st.lists(
        st.one_of(
            st.floats(allow_nan=True, allow_infinity=True),
            st.floats(0, 400),
            st.sampled_from([0.0, 85.0, -1.0, None]),
        ),
        max_size=60,
    )
)
def test_a_good_temperature_is_always_in_range_and_near_its_past(values):
    state, last, last_n = SenseState(), None, 0
    for n, value in enumerate(values):
        before = state.tracks.get("tc")
        doubtful = before is not None and before.agreeing > 0
        quality, _ = classify(state, "tc", "Cel", value, None, mono_us=n * 1_000_000)
        if quality is not GOOD:
            continue
        assert -60 <= value <= 1400
        if last is not None and not doubtful and n - last_n <= 30:
            assert abs(value - last) <= 60.0
        last, last_n = value, n


@given(
    st.lists(
        st.tuples(
            st.sampled_from([20.0, 21.5, 29.0, 31.0, 300.0, 0.0, 85.0, -127.0, 1500.0, 90.0]),
            st.integers(0, 40_000_000),
            st.none() | st.integers(-70_000_000, 40_000_000),
        ),
        max_size=30,
    ),
    st.sampled_from([None, *ChannelKind]),
)
def test_the_short_way_says_what_the_long_way_says(readings, kind):
    """``_follows`` is only quicker; the long way without it is the standard."""
    short, long = SenseState(), SenseState()
    mono_us = 1_780_000_000_000_000
    for state in (short, long):
        if kind is not None:
            state.kinds["tc1"] = kind
    for value, later_us, source_us in readings:
        mono_us += later_us
        t_us = None if source_us is None else mono_us + source_us
        said = classify(short, "tc1", "Cel", value, None, mono_us=mono_us, t_us=t_us)
        with pytest.MonkeyPatch.context() as only_long:
            only_long.setattr(sense, "_follows", lambda *_given: False)
            meant = classify(long, "tc1", "Cel", value, None, mono_us=mono_us, t_us=t_us)
        assert said == meant
        assert short == long
