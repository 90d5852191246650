"""The alarm table cell by cell, and delays, deadband and grouping."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.judge.alarms import (
    GROUP_US,
    ID_EPOCH_S,
    TABLE,
    TIMINGS,
    AlarmBook,
    AlarmEvent,
    Condition,
    IllegalStep,
    next_state,
)
from service.judge.events import AlarmKind, AlarmState, Refused

EXPECTED = {
    # ISA-18.2 / IEC 62682 (from memory): state, then what each event makes of it.
    "normal": {"raise": "unacknowledged", "worsen": None, "clear": None, "acknowledge": None},
    "unacknowledged": {
        "raise": None,
        "worsen": "unacknowledged",
        "clear": "returned",
        "acknowledge": "acknowledged",
    },
    "acknowledged": {
        "raise": None,
        "worsen": "unacknowledged",
        "clear": "normal",
        "acknowledge": None,
    },
    "returned": {
        "raise": "unacknowledged",
        "worsen": None,
        "clear": None,
        "acknowledge": "normal",
    },
}


@pytest.mark.parametrize(("state", "event"), list(product(get_args(AlarmState), AlarmEvent)))
def test_every_cell(state, event):
    after = EXPECTED[state][event.value]
    if after is None:
        with pytest.raises(IllegalStep, match=event.value):
            next_state(state, event)
    else:
        assert next_state(state, event) == after
    assert TABLE.get((state, event)) == after


def test_every_kind_has_delays():
    assert set(TIMINGS) == set(get_args(AlarmKind))


SECOND = 1_000_000
COLD = Condition("below preheat", 1, None, True, "cold", clears=False, severity=1.0)
FINE = replace(COLD, holds=False, clears=True)
BAND = replace(COLD, holds=False, clears=False)
BLIND = replace(COLD, holds=None)


class Run:
    """An alarm book moved on in half seconds."""

    def __init__(self) -> None:
        self.book = AlarmBook()
        self.now_us = 0
        self.changes = []

    def hold(self, *conditions, seconds=0.5):
        for _ in range(round(seconds * 2)):
            self.now_us += SECOND // 2
            self.changes += self.book.update(list(conditions), self.now_us, 7)

    @property
    def states(self):
        return [change.state for change in self.changes]

    def acknowledge(self):
        alarm_id = next(iter(self.book.alarms))
        self.changes.append(self.book.acknowledge(alarm_id, self.now_us, 7))


@pytest.fixture
def run():
    return Run()


def test_raised_after_its_on_delay_and_not_before(run):
    run.hold(COLD, seconds=5)
    assert run.states == []
    run.hold(COLD)
    assert run.states == ["unacknowledged"]
    change = run.changes[0]
    assert change.speak
    assert change.at_us == change.mono_us + 7
    assert change.since_us == change.at_us


def test_a_dip_shorter_than_the_on_delay_says_nothing(run):
    for _ in range(5):
        run.hold(COLD, seconds=4)
        run.hold(FINE, seconds=1)
    assert run.states == []


def test_returned_only_beyond_the_deadband_and_after_the_off_delay(run):
    run.hold(COLD, seconds=6)
    run.hold(BAND, seconds=60)
    assert run.states == ["unacknowledged"]
    run.hold(FINE, seconds=9)
    run.hold(BAND, seconds=1)
    run.hold(FINE, seconds=10)
    assert run.states == ["unacknowledged"]
    run.hold(FINE, seconds=1)
    assert run.states == ["unacknowledged", "returned"]
    run.acknowledge()
    assert run.states[-1] == "normal"
    assert run.book.alarms == {}


def test_one_degree_either_side_is_one_raise_and_one_clear(run):
    for _ in range(40):
        run.hold(COLD, seconds=1)
        run.hold(BAND, seconds=1)
    run.hold(COLD, seconds=20)
    for _ in range(40):
        run.hold(BAND, seconds=1)
        run.hold(COLD, seconds=1)
    run.hold(FINE, seconds=30)
    assert run.states == ["unacknowledged", "returned"]


def test_missing_input_never_returns_an_alarm(run):
    run.hold(COLD, seconds=6)
    run.hold(BLIND, seconds=3600)
    assert run.states == ["unacknowledged"]
    run.hold(FINE, seconds=9)
    run.hold(BLIND, seconds=1)
    run.hold(FINE, seconds=9)
    assert run.states == ["unacknowledged"], "the off-delay counts anew after blindness"


def test_missing_input_never_raises_one(run):
    run.hold(BLIND, seconds=3600)
    run.hold(COLD, seconds=4)
    run.hold(BLIND, seconds=10)
    run.hold(COLD, seconds=4)
    assert run.states == []


def test_worsening_speaks_again_even_after_acknowledgement(run):
    run.hold(COLD, seconds=6)
    run.acknowledge()
    run.hold(replace(COLD, severity=15.9), seconds=1)
    assert run.states == ["unacknowledged", "acknowledged"]
    run.hold(replace(COLD, severity=16.0), seconds=1)
    assert run.states == ["unacknowledged", "acknowledged", "unacknowledged"]
    assert run.changes[-1].speak
    run.hold(replace(COLD, severity=20.0), seconds=1)
    assert len(run.changes) == 3


def test_the_same_condition_again_takes_up_the_returned_alarm(run):
    run.hold(COLD, seconds=6)
    run.hold(FINE, seconds=20)
    run.hold(COLD, seconds=6)
    assert run.states == ["unacknowledged", "returned", "unacknowledged"]
    assert len({change.alarm_id for change in run.changes}) == 1
    assert run.changes[2].since_us > run.changes[0].since_us


def test_a_condition_without_a_subject_is_withdrawn_at_once(run):
    run.hold(COLD, seconds=6)
    run.hold()
    assert run.states == ["unacknowledged", "returned"]


@pytest.mark.parametrize("alarm_id", [1, 99])
def test_nothing_to_acknowledge_is_refused(run, alarm_id):
    run.hold(COLD, seconds=6)
    run.acknowledge()
    before = dict(run.book.alarms)
    with pytest.raises(Refused):
        run.book.acknowledge(alarm_id, run.now_us, 0)
    assert run.book.alarms == before


def silent(channel):
    return Condition("no data", 1, channel, True, f"no data from {channel}")


def test_one_unplugged_node_is_one_alarm(run):
    run.hold(silent("a"), silent("b"), seconds=3)
    run.hold(silent("a"), silent("b"), silent("c"), seconds=4)
    assert len(run.book.alarms) == 1
    assert [change.speak for change in run.changes] == [True, False, False]
    assert run.changes[-1].text == "no data: a, b and c"
    back = replace(silent("b"), holds=False)
    run.hold(silent("a"), back, silent("c"), seconds=10)
    assert run.states[-1] == "unacknowledged", "two are still silent"
    run.hold(*[replace(silent(c), holds=False) for c in "abc"], seconds=10)
    assert run.states[-1] == "returned"


def test_another_one_of_a_group_sounds_again_once_somebody_has_acknowledged(run):
    run.hold(silent("a"), seconds=3)
    run.acknowledge()
    run.hold(silent("a"), silent("b"), seconds=3)
    assert run.states == ["unacknowledged", "acknowledged", "unacknowledged"]
    assert run.changes[-1].speak
    assert run.changes[-1].text == "no data: a and b"


def test_a_group_names_those_that_are_still_unwell(run):
    run.hold(silent("a"), silent("b"), seconds=3)
    run.hold(silent("a"), replace(silent("b"), holds=False), seconds=10)
    assert run.states[-1] == "unacknowledged"
    assert run.changes[-1].text == "no data: a"
    assert not run.changes[-1].speak


def test_what_to_do_ends_the_sentence_and_stands_apart_too(run):
    run.hold(replace(COLD, advice="re-heat"), seconds=6)
    (alarm,) = run.book.alarms.values()
    assert (alarm.text, alarm.advice) == ("cold: re-heat", "re-heat")
    run.hold(replace(COLD, advice="finish the bead"), seconds=1)
    assert (alarm.text, alarm.advice) == ("cold: finish the bead", "finish the bead")


def test_a_later_silence_is_another_alarm(run):
    run.hold(silent("a"), seconds=3)
    run.hold(silent("a"), seconds=GROUP_US / SECOND + 1)
    run.hold(silent("a"), silent("b"), seconds=3)
    assert len(run.book.alarms) == 2


def test_ids_are_seconds_and_stay_unique():
    start_us = (ID_EPOCH_S + 1000) * SECOND
    book = AlarmBook()
    named = [
        Condition("not recording", None, None, True, "disk"),
        replace(COLD, part_id=1, on_us=0),
        replace(COLD, part_id=2, on_us=0),
    ]
    ids = [change.alarm_id for change in book.update(named, start_us, 0)]
    assert ids == [1000, 1001, 1002]


@given(
    st.lists(
        st.tuples(
            st.lists(st.sampled_from([COLD, FINE, BAND, BLIND, None]), min_size=2, max_size=2),
            st.integers(1, 30),
            st.booleans(),
        ),
        max_size=30,
    )
)
def test_whatever_happens_every_step_is_in_the_table(script):
    run = Run()
    seen: dict[int, str] = {}
    for pair, halves, acknowledge in script:
        named = [replace(c, part_id=i) for i, c in enumerate(pair) if c is not None]
        run.hold(*named, seconds=halves / 2)
        waiting = [a.id for a in run.book.alarms.values() if a.state != "acknowledged"]
        if acknowledge and waiting:
            run.changes.append(run.book.acknowledge(waiting[0], run.now_us, 7))
    for change in run.changes:
        before = seen.get(change.alarm_id, "normal")
        assert change.state in EXPECTED[before].values()
        assert change.speak == (change.state == "unacknowledged")
        seen[change.alarm_id] = change.state
    for alarm in run.book.alarms.values():
        assert alarm.state == seen[alarm.id] != "normal"
        assert bool(alarm.members) == (alarm.state != "returned")
