"""Whose turn it is among several castings. What is expected is common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.judge import actions as act
from service.judge.turns import KEEP_S, LEAD_S, NOW, PASS_S, Casting, Turn, advise
from service.readings import Spread


def casting(number, phase="bench", verdict="ready", **more):
    return Casting(number, number, f"manifold {number}", phase, verdict, **more)


def minutes(low, middle, high):
    return Spread(low * 60, middle * 60, None if high is None else high * 60)


@st.composite
def spreads(draw):
    if draw(st.integers(0, 3)) == 0:
        return draw(st.sampled_from([None, NOW]))
    low, middle, high = sorted(draw(st.tuples(*[st.floats(0, 20_000)] * 3)))
    return Spread(low, middle, draw(st.sampled_from([high, None])))


@st.composite
def shops(draw):
    return [
        Casting(
            number, number, f"manifold {number}",
            draw(st.sampled_from(["oven", "carry", "bench", "slow cool"])),
            draw(st.sampled_from(["ready", "wait", "stop", "unknown"])),
            welded=draw(st.booleans()), pass_running=draw(st.sampled_from([False, False, True])),
            below=draw(st.sampled_from([False, False, True])), window=draw(spreads()),
            ready_in=draw(spreads()), soaked_in=draw(spreads()),
            doubt=draw(st.sampled_from([None, "the probe is silent"])),
        )
        for number in range(1, draw(st.integers(2, 5)) + 1)
    ]  # fmt: skip


@given(shops(), st.sampled_from([None, 1, 2, 3]))
def test_nobody_is_sent_where_it_is_not_sure(shop, before):
    turn = advise(shop, Turn(before, ""))
    by_id = {each.heat_id: each for each in shop}
    places = {each.heat_id: each.place for each in shop}
    ready = [number for number, place in places.items() if place == "weld"]
    burning = [number for number, place in places.items() if place == "weld on"]
    assert sorted(number for number, _ in turn.order) == sorted(by_id)
    assert dict(turn.order) == places
    if burning:
        assert turn.heat_id in burning
    elif ready:
        assert turn.heat_id in ready
        assert by_id[turn.heat_id].verdict == "ready"
    elif turn.heat_id is not None:
        assert places[turn.heat_id] == "weld soon"
        assert by_id[turn.heat_id].ready_in is not None
        assert by_id[turn.heat_id].verdict != "unknown"
    if turn.take_out is not None:
        oven = by_id[turn.take_out]
        assert oven.phase == "oven"
        assert not oven.welded
        assert (turn.take_out_in is None) == (turn.take_out_why is not None)
        if turn.take_out_in is not None:
            assert turn.take_out_in == oven.soaked_in
            # The welder's hands are free, or will be for long enough.
            assert not {"weld on", "weld", "in doubt"} & set(places.values())
            for each in shop:
                if each.place == "weld soon":
                    assert each.ready_in.p50 >= oven.soaked_in.p95 + LEAD_S + PASS_S
    else:
        assert not {"take out", "heating"} & set(places.values())
    assert turn.text.endswith(".")
    assert "None" not in turn.text


@given(shops(), st.lists(st.floats(-KEEP_S / 2 + 1, KEEP_S / 2 - 1), min_size=10, max_size=10))
def test_whose_turn_it_is_does_not_flap(shop, jitter_s):
    """A forecast that moves by less than half of what is kept changes nobody's turn, as long as
    what is to be done with each stays the same."""
    told = advise(shop)
    moved = [
        replace(each, window=None if each.window is None else _later(each.window, by_s))
        for each, by_s in zip(shop, jitter_s, strict=False)
    ]
    if [each.place for each in moved] == [each.place for each in shop]:
        assert advise(moved, told).heat_id == told.heat_id


def _later(spread, by_s):
    return Spread(
        max(0, spread.p05 + by_s), max(0, spread.p50 + by_s),
        None if spread.p95 is None else max(0, spread.p95 + by_s),
    )  # fmt: skip


TWO = [
    # The one whose window closes sooner goes first, and how long the other can wait is said.
    (
        [
            casting(1, window=minutes(10, 12, 15)),
            casting(2, window=minutes(4, 5, 6)),
        ],
        2,
        "manifold 2 first: its window holds for 4:13. "
        "Then manifold 1: its window holds for 10:26.",
    ),
    # Never break off a bead for another casting.
    (
        [
            casting(1, window=minutes(1, 2, 3)),
            casting(2, verdict="wait", pass_running=True),
        ],
        2,
        "manifold 2: weld on. Then manifold 1: its window holds for 1:13.",
    ),
    # Until when the welder is busy at the latest is the window's late bound.
    (
        [casting(1, window=minutes(5, 6, 7)), casting(2, "oven", "wait", soaked_in=NOW)],
        1,
        "manifold 1 first: its window holds for 5:13. manifold 2 is hot and soaked, stays in the "
        "oven: not before manifold 1 is under its cover, and its window closes in 6:46 at the "
        "latest.",
    ),
    # A long wait between passes is long enough for the other one; a shorter one is not.
    (
        [
            casting(1, verdict="wait", welded=True, ready_in=minutes(11, 12, 13)),
            casting(2, "oven", "wait", soaked_in=NOW),
        ],
        1,
        "manifold 1 next in about 12:00. manifold 2 is hot and soaked: take it out, while "
        "manifold 1 waits (carry, fit-up, brushing, a pass: usually 8:00).",
    ),
    (
        [
            casting(
                1, verdict="wait", welded=True, window=minutes(9, 9, 9), ready_in=minutes(6, 7, 8)
            ),
            casting(2, "oven", "wait", soaked_in=NOW),
        ],
        1,
        "manifold 1 next in about 7:00. manifold 2 is hot and soaked, stays in the oven: not "
        "before manifold 1 is under its cover, and its window closes in 9:00 at the latest.",
    ),
    # While one is welded the other stays in the oven, hot as it is.
    (
        [casting(1), casting(2, "oven", "wait", soaked_in=NOW)],
        1,
        "manifold 1 first: it is ready. manifold 2 is hot and soaked, stays in the oven: "
        "not before manifold 1 is under its cover.",
    ),
    (
        [casting(1, "slow cool", "wait", welded=True), casting(2, "oven", "wait", soaked_in=NOW)],
        None,
        "Nobody's turn: no casting is on the bench. manifold 2 is hot and soaked: take it out.",
    ),
    (
        [
            casting(1, "slow cool", "wait", welded=True),
            casting(2, "oven", "wait", soaked_in=minutes(5, 8, 12)),
        ],
        None,
        "Nobody's turn: no casting is on the bench. "
        "manifold 2 may come out in about 8:00, at most 12:00.",
    ),
    (
        [casting(1, "slow cool", "wait"), casting(2, "oven", "wait")],
        None,
        "Nobody's turn: no casting is on the bench. "
        "manifold 2 stays in the oven: when it is hot and soaked cannot be told.",
    ),
    # One oven: what is welded is held in it until the other is welded too.
    (
        [casting(1, "oven", "wait", welded=True), casting(2, window=minutes(5, 6, 7))],
        2,
        "manifold 2 first: its window holds for 5:13. Hold manifold 1 in the oven until "
        "manifold 2 is welded, then cool together: one oven cannot cool one while another is "
        "heated.",
    ),
    (
        [casting(1, "oven", "wait", welded=True), casting(2, window=minutes(5, 6, 7), welded=True)],
        2,
        "manifold 2 first: its window holds for 5:13. Hold manifold 1 in the oven until "
        "manifold 2 is in it too, then cool together.",
    ),
    (
        [casting(1, "oven", "wait", welded=True), casting(2, "slow cool", "wait", welded=True)],
        None,
        "Nobody's turn: no casting is on the bench. manifold 1 may cool down in the oven.",
    ),
    # What cannot be judged is nobody's turn, and does not free the welder's hands either.
    (
        [
            casting(1, verdict="unknown", doubt="tc1 is silent"),
            casting(2, "oven", "wait", soaked_in=NOW),
        ],
        None,
        "Whose turn it is cannot be told, manifold 1 is in doubt: tc1 is silent. manifold 2 is hot "
        "and soaked, stays in the oven: not before manifold 1 is under its cover.",
    ),
    # A window too short for its purge is no turn.
    (
        [
            casting(1, verdict="wait", window=minutes(1, 2, 3), ready_in=minutes(4, 5, 6)),
            casting(2, verdict="wait", window=minutes(9, 9, 10), ready_in=minutes(1, 2, 3)),
        ],
        2,
        "manifold 2 next in about 2:00. manifold 1 will not hold: back into the oven.",
    ),
    (
        [casting(1, verdict="wait", below=True), casting(2, verdict="unknown", below=True)],
        None,
        "manifold 1 and manifold 2 will not hold: back into the oven.",
    ),
    (
        [casting(1, verdict="wait"), casting(2, "slow cool", "wait")],
        None,
        "Nobody's turn yet: when manifold 1 is ready cannot be told.",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("shop", "heat_id", "text"), TWO)
def test_two_castings(shop, heat_id, text):
    for order in (shop, shop[::-1]):
        turn = advise(order)
        assert turn.heat_id == heat_id
        assert turn.text == text


def test_the_one_that_was_told_stays_unless_the_other_is_much_more_urgent():
    first, second = casting(1, window=Spread(300, 300, 300)), casting(2)
    near = replace(second, window=Spread(250, 250, 250))
    far = replace(second, window=Spread(230, 230, 230))
    assert advise([first, near]).heat_id == 2
    assert advise([first, near], Turn(1, "")).heat_id == 1
    assert advise([first, far], Turn(1, "")).heat_id == 2


def test_what_may_come_out_between_passes_does_not_flap():
    waits = casting(1, verdict="wait", welded=True, ready_in=Spread(490, 490, 490))
    oven = casting(2, "oven", "wait", soaked_in=NOW)
    told = advise([waits, oven])
    assert told.take_out_in == NOW
    shorter = replace(waits, ready_in=Spread(470, 470, 470))
    assert advise([shorter, oven]).take_out_in is None
    assert advise([shorter, oven], told).take_out_in == NOW
    too_short = replace(waits, ready_in=Spread(410, 410, 410))
    assert advise([too_short, oven], told).take_out_in is None


def test_two_castings_through_the_judge(stage):
    """One cools on the bench while the other soaks: judged from readings, spoken, replayed."""
    limits = act.Limits(preheat_min_c=200)
    stage.part(1, {"tc1": "thermocouple"}, limits)
    stage.part(2, {"tc2": "thermocouple"}, limits)
    stage.sources = {
        "tc1": lambda t_s: 300 - 0.2 * t_s,
        "tc2": lambda t_s: 330 - 130 * 0.99 ** (t_s + 5),
    }
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(60)
    assert stage.judge.bench()["turn"] is None
    stage.act(act.BeginHeat(heat_id=2, part_id=2))
    stage.run(30)
    turn = stage.judge.bench()["turn"]
    assert turn["heat_id"] == 1
    assert turn["order"] == [
        {"heat_id": 1, "part_id": 1, "what": "weld"},
        {"heat_id": 2, "part_id": 2, "what": "heating"},
    ]
    assert turn["take_out"] == 2
    assert turn["take_out_in_s"] is None
    assert turn["text"].startswith("manifold 1 first: its window holds for ")
    assert "not before manifold 1 is under its cover" in turn["text"]
    # Its probe falls silent: not its turn any more, at the same moment as it is in doubt.
    stage.sources["tc1"] = lambda _t_s: None
    for _ in range(10):
        stage.run(1)
        turn = stage.judge.bench()["turn"]
        assert (turn["heat_id"] == 1) == (stage.bench_part(1)["verdict"] == "ready")
    assert turn["heat_id"] is None
    assert turn["text"].startswith("Whose turn it is cannot be told, manifold 1 is in doubt: ")
    stage.act(act.MovePart(heat_id=1, phase="slow cool"))
    stage.run(1)
    turn = stage.judge.bench()["turn"]
    assert turn["take_out_why"] is None or "hot and soaked" in turn["take_out_why"]
    stage.act(act.EndHeat(heat_id=1))
    stage.run(1)
    assert stage.judge.bench()["turn"] is None
