"""Actions: the journal, and the tables made from it."""

from __future__ import annotations

from typing import get_args

import pytest

from service.judge.actions import (
    AcknowledgeAlarm,
    Action,
    AdoptChannel,
    AssignChannel,
    BeginHeat,
    BeginPass,
    BeginPurge,
    ChangePart,
    ClockStepped,
    CreatePart,
    EndHeat,
    EndPass,
    EndPurge,
    Limits,
    MovePart,
    PartFacts,
    RecordingChanged,
    ServiceStarted,
    SetLimits,
)
from service.judge.events import AlarmChange, Outcome, VerdictChange
from service.readings import ChannelKind
from service.store.entries import Arrived, Checkpoint
from service.store.projections import JOURNAL_ONLY, WRITERS

PART = CreatePart(
    part_id=3,
    facts=PartFacts(name="pump engine manifold", metal="ductile iron", mass_kg=11.5),
    limits=Limits(preheat_min_c=260, interpass_max_c=370),
)


@pytest.fixture
def act(store, shop):
    """Do an action at once; gives it back with its stamps."""

    def do(action):
        acted = shop.acted(action)
        store.write_side.keeper.keep([acted])
        return acted

    return do


def at(acted):
    return acted.stamp.utc_us


def test_every_kind_of_action_has_its_place():
    kinds = set(get_args(get_args(Action)[0]))
    assert kinds == set(WRITERS) | set(JOURNAL_ONLY)
    assert not set(WRITERS) & set(JOURNAL_ONLY)


def test_every_action_comes_back_as_it_was(store, act):
    done = [
        act(action)
        for action in (
            ServiceStarted(version="1.0", offset_us=12),
            PART,
            ChangePart(part_id=3, facts=PartFacts(name="manifold, left")),
            SetLimits(part_id=3, limits=Limits(oxygen_max_ppm=50), by="the welder"),
            AdoptChannel(channel="TC1", channel_kind=ChannelKind.THERMOCOUPLE, token="abc"),
            AssignChannel(channel="TC1", part_id=3),
            BeginHeat(heat_id=8, part_id=3),
            MovePart(heat_id=8, phase="carry"),
            MovePart(heat_id=8, phase="bench"),
            BeginPurge(heat_id=8),
            BeginPass(heat_id=8),
            EndPass(heat_id=8),
            EndPurge(heat_id=8),
            MovePart(heat_id=8, phase="slow cool"),
            AcknowledgeAlarm(alarm_id=4),
            EndHeat(heat_id=8),
            AssignChannel(channel="TC1", part_id=None),
            ClockStepped(offset_us=-7),
            RecordingChanged(recording=False, detail="disk full"),
        )
    ]
    assert list(store.journal()) == done
    assert list(store.journal(3, 5)) == done[2:5]


def test_actions_and_readings_come_in_one_order(store, shop):
    mixed = [
        shop.reading(1.0),
        shop.acted(PART),
        shop.reading(2.0),
        shop.reading(3.0, t_us=5, timed=True),
        shop.acted(BeginHeat(heat_id=1, part_id=3)),
        shop.reading(4.0),
    ]
    # Actions reach the writer behind readings that have a later place.
    store.write_side.keeper.keep([Arrived((mixed[0], mixed[2], mixed[3])), mixed[1]])
    store.write_side.keeper.keep([Arrived((mixed[5],)), mixed[4]])
    assert list(store.events(0)) == mixed
    assert list(store.events(2, 5)) == mixed[1:5]
    assert store.next_seq() == 7
    assert store.last_mono_us() == mixed[-1].mono_us


def test_an_action_given_twice_is_done_once(store, shop, rows):
    entries = [
        shop.acted(PART),
        shop.acted(BeginHeat(heat_id=1, part_id=3)),
    ]
    for _ in range(3):
        store.write_side.keeper.keep(entries)
    assert rows("SELECT count(*) FROM journal") == [(2,)]
    assert rows("SELECT count(*) FROM heat_phase") == [(1,)]
    assert rows("SELECT count(*) FROM limits") == [(1,)]


def test_a_part_is_what_is_known_of_it_now(act, rows):
    made = act(PART)
    changed = act(ChangePart(part_id=3, facts=PartFacts(name="left", cavity_volume_l=2.4)))
    assert rows(
        "SELECT id, name, metal, mass_kg, cavity_volume_l, created_us, changed_us FROM part"
    ) == [(3, "left", "iron, unknown", None, 2.4, at(made), at(changed))]


def test_limits_are_dated_versions(act, rows):
    made = act(PART)
    set_anew = act(SetLimits(part_id=3, limits=Limits(preheat_min_c=300)))
    assert rows(
        "SELECT part_id, version, from_us, preheat_min_c, interpass_max_c FROM limits ORDER BY id"
    ) == [(3, 1, at(made), 260, 370), (3, 2, at(set_anew), 300, None)]


def test_a_channel_is_on_one_part_at_a_time(act, rows):
    act(PART)
    act(PART.model_copy(update={"part_id": 4}))
    on = act(AssignChannel(channel="TC1", part_id=3))
    over = act(AssignChannel(channel="TC1", part_id=4))
    off = act(AssignChannel(channel="TC1", part_id=None))
    assert rows("SELECT part_id, from_us, to_us FROM assignment ORDER BY id") == [
        (3, at(on), at(over)),
        (4, at(over), at(off)),
    ]


def test_a_channel_may_be_adopted_before_it_speaks(act, store, shop, rows):
    act(AdoptChannel(channel="flow", channel_kind=ChannelKind.GAS_FLOW))
    store.write_side.keeper.keep([Arrived((shop.reading(1.0, channel="flow", unit="l/min"),))])
    assert rows(
        "SELECT channel.name, kind, unit.name FROM channel JOIN unit ON unit.id = unit_id"
    ) == [("flow", "gas flow", "l/min")]


def test_an_action_that_fits_no_table_is_journalled_and_put_aside(act, store, rows):
    wrong = act(BeginHeat(heat_id=1, part_id=999))
    assert list(store.journal()) == [wrong]
    assert rows("SELECT count(*) FROM heat") == [(0,)]
    ((body, why),) = rows("SELECT body, why FROM misfit")
    assert "999" in body
    assert "FOREIGN KEY" in why


def test_two_actions_at_one_place_are_both_kept(store, shop, rows):
    one, other = shop.acted(PART), shop.acted(EndHeat(heat_id=5))
    impostor = type(other)(one.stamp, other.action)
    store.write_side.keeper.keep([one])
    store.write_side.keeper.keep([impostor])
    assert list(store.journal()) == [one]
    assert "end heat" in rows("SELECT body FROM misfit")[0][0]


def test_outcomes_are_logged_once(store, rows):
    outcome = Outcome(
        alarms=[
            AlarmChange(1, "no data", None, "TC1", "unacknowledged", 10, 11, 12, "silent", True),
            AlarmChange(1, "no data", None, "TC1", "returned", 10, 13, 14, "speaks", False),
        ],
        verdicts=[VerdictChange(8, 11, 12, "bench", "wait", "ready", "unknown", "purging")],
    )
    for _ in range(2):
        store.write_side.keeper.keep([outcome])
    assert rows(
        "SELECT alarm_id, kind, part_id, channel, state, since_us, at_us, mono_us, text, speak"
        " FROM alarm_change ORDER BY id"
    ) == [
        (1, "no data", None, "TC1", "unacknowledged", 10, 11, 12, "silent", 1),
        (1, "no data", None, "TC1", "returned", 10, 13, 14, "speaks", 0),
    ]
    assert rows(
        "SELECT heat_id, at_us, mono_us, phase, verdict, heat, purge, text FROM verdict_change"
    ) == [(8, 11, 12, "bench", "wait", "ready", "unknown", "purging")]
    assert store.last_mono_us() == 14


def test_the_last_two_checkpoints_are_kept(store):
    for seq in (5, 9, 9, 30):
        store.write_side.keeper.keep([Checkpoint(seq, bytes([seq, 0, 255]))])
    assert store.load_checkpoints() == [(30, bytes([30, 0, 255])), (9, bytes([9, 0, 255]))]
