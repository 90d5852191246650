"""Readings typed in: a row of ``reading`` like any other, and what shows that it was by hand."""

from __future__ import annotations

import pytest

from service.judge.actions import CreatePart, EnterReading, PartFacts
from service.readings import Reading
from service.store.entries import Arrived
from service.store.schema import BY_HAND, GOOD, STRAY

PART = CreatePart(part_id=3, facts=PartFacts(name="pump engine manifold"))
CRAYON = EnterReading(part_id=3, method="crayon melted", value=204, place="flange")
ROWS = (
    "SELECT channel.name, kind, unit.name, value, quality, flags, reason, t_us, seq FROM reading "
    "JOIN channel ON channel.id = channel_id JOIN unit ON unit.id = reading.unit_id ORDER BY seq"
)


@pytest.fixture
def act(store, shop):
    def do(action):
        acted = shop.acted(action)
        store.write_side.keeper.keep([acted])
        return acted

    return do


def test_it_is_a_row_that_says_what_it_is(act, rows):
    act(PART)
    acted = act(CRAYON)
    (row,) = rows(ROWS)
    assert row == (
        "flange by hand, part 3", "thermocouple", "Cel", 204.0, GOOD, STRAY | BY_HAND,
        "by hand: crayon melted at flange, ± 2.04 K", acted.stamp.utc_us, acted.stamp.seq,
    )  # fmt: skip
    assert rows("SELECT part_id, to_us FROM assignment") == [(3, None)]
    act(CRAYON)
    assert rows("SELECT count(*) FROM assignment") == [(1,)]
    assert rows("SELECT count(*) FROM reading") == [(2,)]


def test_given_twice_it_is_one_row(act, store, rows):
    act(PART)
    acted = act(CRAYON)
    store.write_side.keeper.keep([acted])
    assert rows("SELECT count(*) FROM reading") == [(1,)]


def test_a_replay_takes_it_from_the_journal_only(act, store, shop):
    act(PART)
    store.write_side.keeper.keep([Arrived((shop.reading(),))])
    act(CRAYON)
    store.write_side.keeper.keep([Arrived((shop.reading(),))])
    events = list(store.events(1, None))
    assert [isinstance(event, Reading) for event in events] == [False, True, False, True]
    assert events[2].action == CRAYON
    assert store.next_seq() == 5


def test_after_the_clock_was_set_back_it_is_kept_all_the_same(act, shop, rows):
    act(PART)
    act(CRAYON)
    shop.offset_us = -1000
    act(CRAYON)
    assert rows("SELECT count(*) FROM reading") == [(2,)]


def test_it_is_in_the_history_before_and_after_it_is_summed_up(act, store, shop):
    act(PART)
    acted = act(CRAYON)
    at_us = acted.stamp.utc_us
    later = shop.readings(40)
    store.write_side.keeper.keep([Arrived(tuple(later))])
    act(EnterReading(part_id=3, method="contact probe", value=187, place="flange"))
    for points in (2, 1000):
        found = store.history("flange by hand, part 3", at_us - 10**6, at_us + 10**7, points)
        seen = [point for point in found.steps if point.low is not None]
        assert found.unit == "Cel"
        assert min(point.low for point in seen) == 187
        assert max(point.high for point in seen) == 204
