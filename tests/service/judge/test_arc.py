"""The arc's small machine: hysteresis, blips, stitches, doubt."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from service.judge.arc import JOIN_US, LEAST_US, OFF_A, ON_A, ArcTrack

TENTH = 100_000


def run(samples, unit="A", known=True, step_us=TENTH, tail_s=10):
    """Feed samples, look after each, then let time pass with the arc out; what was told."""
    arc, told, now_us = ArcTrack(), [], 1_000_000
    for value in [*samples, *([0.0] * int(tail_s * 1e6 / step_us))]:
        arc.take(now_us, value, unit)
        told += arc.look(now_us, known)
        now_us += step_us
    return [(event.mark, (event.at_us - 1_000_000) / 1e6, event.arc_us / 1e6) for event in told]


def test_a_pass_is_from_the_first_to_the_last_ampere():
    told = run([0.0] * 10 + [90.0] * 100)
    assert [(mark, at_s) for mark, at_s, _ in told] == [("began", 1.0), ("ended", 11.0)]
    assert told[1][2] == 10.0


def test_the_clamp_may_be_on_the_wrong_way_round():
    assert [mark for mark, _, _ in run([-90.0] * 20)] == ["began", "ended"]


def test_zero_drift_is_no_arc_and_a_filled_crater_is_one_pass():
    assert run([2.5, -2.0, ON_A - 0.1] * 30) == []
    slope_down = [60.0] * 30 + [6.0] * 20 + [OFF_A + 0.1] * 10
    ended = run(slope_down)[-1]
    assert ended[0] == "ended"
    assert ended[2] == 6.0


def test_a_touch_is_no_weld():
    assert run([0.0, 50.0, 0.0, 0.0, 50.0, 0.0]) == []


def test_one_sample_a_second_still_shows_a_tack():
    told = run([0.0, 50.0, 0.0], step_us=1_000_000)
    assert [mark for mark, _, _ in told] == ["began", "ended"]
    assert told[1][2] == 1.0


def test_stitches_are_one_pass_and_their_pauses_no_arc_time():
    pause = [0.0] * int(JOIN_US / TENTH - 5)
    told = run([80.0] * 20 + pause + [80.0] * 20 + pause + [80.0] * 20)
    assert [mark for mark, _, _ in told] == ["began", "ended"]
    assert told[1][2] == 6.0


def test_a_longer_pause_is_two_passes():
    pause = [0.0] * int(JOIN_US / TENTH + 5)
    told = run([80.0] * 20 + pause + [80.0] * 20)
    assert [mark for mark, _, _ in told] == ["began", "ended"] * 2


def test_on_and_off_without_amperes():
    assert [mark for mark, _, _ in run([1.0] * 20, unit="on/off")] == ["began", "ended"]


def test_silence_ends_nothing_and_counts_nothing():
    arc = ArcTrack()
    for tick in range(20):
        arc.take(tick * TENTH, 90.0, "A")
        arc.look(tick * TENTH, True)
    last_us = 19 * TENTH
    assert arc.look(last_us + 60_000_000, False) == []
    assert arc.running
    arc.take(last_us + 60_000_000, 0.0, "A")
    (ended,) = arc.look(last_us + 60_000_000, True)
    assert (ended.mark, ended.at_us, ended.arc_us) == ("ended", last_us, last_us)


def test_the_same_pass_goes_on_after_a_gap_if_the_arc_still_burns():
    arc = ArcTrack()
    for at_us in (0, TENTH, 2 * TENTH, 3 * TENTH, 20_000_000, 20_000_000 + TENTH):
        arc.take(at_us, 90.0, "A")
        found = arc.look(at_us, True)
    assert not found
    assert arc.running
    assert arc.arc_us == 4 * TENTH, "what was not seen is not counted"


@settings(max_examples=300, deadline=None)
@given(
    samples=st.lists(st.floats(-300, 300), max_size=120),
    steps_us=st.lists(st.integers(0, 4_000_000), min_size=120, max_size=120),
    known=st.lists(st.booleans(), min_size=120, max_size=120),
)
def test_whatever_comes_passes_begin_and_end_in_turn(samples, steps_us, known):
    """From the rules, not the code: begins and ends alternate, never go back in time, and no pass
    has more arc than it has time."""
    arc, told, now_us = ArcTrack(), [], 0
    for value, step_us, live in zip(samples, steps_us, known, strict=False):
        now_us += step_us
        if live:
            arc.take(now_us, value, "A")
        told += arc.look(now_us, live)
    marks = [event.mark for event in told]
    assert marks == [("began", "ended")[place % 2] for place in range(len(marks))]
    for began, ended in zip(told[::2], told[1::2], strict=False):
        assert began.at_us <= ended.at_us <= now_us
        assert LEAST_US <= ended.arc_us <= ended.at_us - began.at_us
    for ended, began in zip(told[1::2], told[2::2], strict=False):
        assert began.at_us - ended.at_us > 0
    if all(abs(value) < ON_A for value in samples):
        assert not told
