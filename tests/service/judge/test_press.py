"""The button: bounces, shaking hands, stuck contacts."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from service.judge.press import DEBOUNCE_US, LONG_US, PAUSE_US, STUCK_US, Press

MS = 1000


def play(edges):
    """Feed (ms, pressed) edges, then wait; the presses that counted."""
    press, found = Press(), []
    for at_ms, level in edges:
        found.append(press.take(at_ms * MS, level))
    found.append(press.look((edges[-1][0] + 1000) * MS))
    return [kind for kind in found if kind is not None]


def test_short_and_long():
    assert play([(0, True), (200, False)]) == ["short"]
    assert play([(0, True), (LONG_US // MS, False)]) == ["long"]


def test_bounces_are_one_press():
    bounce = [(0, True), (4, False), (7, True), (11, False), (13, True)]
    release = [(300, False), (303, True), (306, False)]
    assert play(bounce + release) == ["short"]


def test_a_click_shorter_than_the_debounce_is_nothing():
    assert play([(0, True), (DEBOUNCE_US // MS - 5, False)]) == []


def test_twice_in_a_hurry_is_once():
    again = 200 + PAUSE_US // MS
    assert play([(0, True), (200, False), (400, True), (600, False)]) == ["short"]
    assert play([(0, True), (200, False), (again, True), (again + 200, False)]) == ["short"] * 2


def test_leant_upon_is_nothing():
    assert play([(0, True), (STUCK_US // MS + 10, False)]) == []


def test_a_press_that_is_never_let_go_is_nothing():
    press = Press()
    press.take(0, True)
    assert [press.look(at * 500_000) for at in range(1, 100)] == [None] * 99


def test_a_fault_while_down_spoils_it():
    press = Press()
    press.take(0, True)
    press.look(100 * MS)
    press.doubt()
    press.take(400 * MS, False)
    assert press.look(1000 * MS) is None
    press.take(2000 * MS, True)
    press.take(2200 * MS, False)
    assert press.look(3000 * MS) == "short", "the next one counts again"


@settings(max_examples=400, deadline=None)
@given(
    gaps_ms=st.lists(st.integers(0, 3000), min_size=1, max_size=60),
    start=st.booleans(),
    look_every=st.integers(1, 4),
)
def test_never_more_presses_than_clean_releases(gaps_ms, start, look_every):
    """By the rules: a press needs a contact that stayed closed and then stayed open."""
    press, found, now_us, level = Press(), 0, 0, start
    trace = []
    for place, gap in enumerate(gaps_ms):
        now_us += gap * MS
        found += press.take(now_us, level) is not None
        if place % look_every == 0:
            found += press.look(now_us) is not None
        trace.append((now_us, level))
        level = not level
    now_us += 10_000_000
    found += press.look(now_us) is not None
    stays = [
        (at, down)
        for (at, down), (until, _) in zip(trace, [*trace[1:], (now_us, None)], strict=True)
        if until - at >= DEBOUNCE_US
    ]
    stable = [
        (at, down)
        for place, (at, down) in enumerate(stays)
        if place == 0 or stays[place - 1][1] is not down
    ]
    releases = sum(1 for before, after in pairwise(stable) if before[1] and not after[1])
    assert found <= releases
