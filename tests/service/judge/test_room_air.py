"""Oxygen in the shop's air: its limits, its alarms with no heat open, and doubt never normal.

Limits: below 19.5 % deficient, above 23.5 % enriched, 29 CFR 1910.146(b) (definition of hazardous
atmosphere). The deadband and the delays are common practice, no source.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.judge import actions as act
from service.judge import checkpoint
from service.judge.events import Refused
from service.judge.judge import Judge
from service.judge.room_air import air_standing
from service.readings import Quality

AIR = "oxygen9"


def steady(percent):
    return lambda _t: percent * 1e4


@pytest.fixture
def room(stage):
    """A shop with a room oxygen channel and neither part nor heat."""
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.sources = {AIR: steady(20.9)}
    stage.run(5)
    stage.act(act.AdoptChannel(channel=AIR, channel_kind="room oxygen"))
    stage.run(5)
    return stage


def air(stage):
    (shown,) = stage.judge.bench()["room"]
    return shown


def states(stage, kind="room oxygen"):
    return stage.states(kind)


def test_good_air_is_normal_and_silent(room):
    assert air(room) == {
        "channel": AIR,
        "oxygen_percent": 20.9,
        "standing": "normal",
        "reason": None,
        "age_s": 0.0,
    }
    assert room.alarms == []


@pytest.mark.parametrize(
    ("percent", "standing"),
    [
        (0.0, "low"),
        (19.49, "low"),
        (19.5, "normal"),
        (20.9, "normal"),
        (23.5, "normal"),
        (23.51, "high"),
        (60.0, "high"),
        (None, "unknown"),
    ],
)
def test_the_limits(percent, standing):
    assert air_standing(percent) == standing


@given(st.one_of(st.none(), st.floats(-0.5, 100.0)))
def test_normal_is_only_what_lies_between_the_limits(percent):
    inside = percent is not None and 19.5 <= percent <= 23.5
    assert (air_standing(percent) == "normal") == inside


@pytest.mark.parametrize(
    ("percent", "standing", "words"),
    [
        (19.46, "low", "19.4 % oxygen, below 19.5 %: out into fresh air, ventilate"),
        (
            23.52,
            "high",
            "23.6 % oxygen, above 23.5 %: everything burns faster: arc and flames out, ventilate",
        ),
        (31.0, "high", "31.0 % oxygen, above 23.5 %"),
        (0.0, "low", "0.0 % oxygen, below 19.5 %"),
    ],
)
def test_it_alarms_with_no_heat_open(room, percent, standing, words):
    room.sources[AIR] = steady(percent)
    room.run(5)
    (alarm,) = room.alarms
    assert (alarm.kind, alarm.state, alarm.speak) == ("room oxygen", "unacknowledged", True)
    assert (alarm.part_id, alarm.channel) == (None, AIR)
    assert words in alarm.text
    assert air(room)["standing"] == standing


def test_one_glitch_is_no_alarm(room):
    room.say(AIR, 18.0e4)
    room.run(30)
    assert room.alarms == []


def test_it_returns_only_beyond_the_deadband(room):
    room.sources[AIR] = steady(19.4)
    room.run(10)
    room.sources[AIR] = steady(19.6)
    room.run(60)
    assert states(room) == ["unacknowledged"]
    assert air(room)["standing"] == "normal"
    room.sources[AIR] = steady(19.8)
    room.run(15)
    assert states(room) == ["unacknowledged", "returned"]


def test_a_percent_worse_is_heard_again(room):
    room.sources[AIR] = steady(19.2)
    room.run(10)
    room.act(act.AcknowledgeAlarm(alarm_id=room.alarms[0].alarm_id))
    room.sources[AIR] = steady(18.9)
    room.run(10)
    assert states(room) == ["unacknowledged", "acknowledged"]
    room.sources[AIR] = steady(18.0)
    room.run(10)
    assert states(room) == ["unacknowledged", "acknowledged", "unacknowledged"]
    assert room.alarms[-1].speak


def test_silence_is_unknown_and_keeps_the_alarm(room):
    room.sources[AIR] = steady(18.0)
    room.run(10)
    del room.sources[AIR]
    room.run(60)
    assert air(room)["standing"] == "unknown"
    assert air(room)["oxygen_percent"] is None
    assert states(room) == ["unacknowledged"]
    assert states(room, "no data") == ["unacknowledged"]
    assert "the room's oxygen is unknown" in room.alarms[-1].text


def test_a_channel_never_heard_is_an_alarm_and_unknown(stage):
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.act(act.AdoptChannel(channel=AIR, channel_kind="room oxygen"))
    stage.run(20)
    assert air(stage)["standing"] == "unknown"
    assert states(stage, "no data") == ["unacknowledged"]


@pytest.mark.parametrize("value", ["open-circuit", float("nan"), -2e4, 1.1e6])
def test_a_faulty_sensor_is_unknown_and_an_alarm(room, value):
    room.sources[AIR] = lambda _t: value
    room.run(15)
    shown = air(room)
    assert (shown["standing"], shown["oxygen_percent"]) == ("unknown", None)
    assert shown["reason"]
    assert states(room, "sensor fault") == ["unacknowledged"]
    assert states(room) == []


def test_enriched_air_is_no_fault_of_the_sensor(room):
    assert room.say(AIR, 40.0e4) == (Quality.GOOD, None)


def test_one_silent_node_is_one_alarm(stage):
    """A part's probe and the room's cell on one node: unplugged, they have one cause."""
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.sources = {"tc1": lambda t: 300.0 - 0.3 * t, AIR: steady(20.9)}
    stage.part(1, {"tc1": "thermocouple"})
    stage.act(act.AdoptChannel(channel=AIR, channel_kind="room oxygen"))
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(20)
    stage.sources.clear()
    stage.run(20)
    raised = [alarm for alarm in stage.alarms if alarm.kind == "no data" and alarm.speak]
    assert len(raised) == 1
    assert AIR in stage.alarms[-1].text
    assert "tc1" in stage.alarms[-1].text


def test_it_sits_on_no_part(room):
    room.part(1)
    with pytest.raises(Refused, match="belongs to the shop and sits on no part"):
        room.act(act.AssignChannel(channel=AIR, part_id=1))
    room.act(act.AssignChannel(channel=AIR, part_id=None))


def test_a_channel_on_a_part_must_be_taken_off_first(stage):
    stage.part(1, {AIR: "oxygen"})
    with pytest.raises(Refused, match="take oxygen9 off manifold 1 first"):
        stage.act(act.AdoptChannel(channel=AIR, channel_kind="room oxygen"))
    stage.act(act.AssignChannel(channel=AIR, part_id=None))
    stage.act(act.AdoptChannel(channel=AIR, channel_kind="room oxygen"))
    stage.run(1)
    assert air(stage)["standing"] == "unknown"


def test_called_something_else_it_is_no_longer_watched(room):
    room.sources[AIR] = steady(18.0)
    room.run(10)
    room.act(act.AdoptChannel(channel=AIR, channel_kind="oxygen"))
    room.run(2)
    assert room.judge.bench()["room"] == []
    assert states(room) == ["unacknowledged", "returned"]


def test_the_rooms_air_clears_no_purge(room):
    """A reading of the room is no reading of the cavity: the purge goes by its flow alone."""
    room.part(1, {"flow1": "gas flow"}, act.Limits(oxygen_max_ppm=500), cavity_volume_l=2.0)
    room.sources[AIR] = lambda _t: 1.0  # what a cell in a purged cavity would say
    room.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    room.act(act.BeginPurge(heat_id=1))
    room.run(30)
    purge = room.bench_part()["purge"]
    assert not purge["clear"]
    assert purge["basis"] == "flow"


def test_alarms_survive_a_checkpoint_and_a_replay(room):
    room.sources[AIR] = steady(18.0)
    room.run(10)
    kept = checkpoint.decode(checkpoint.encode(room.judge.state, "v"), "v")
    assert Judge(kept).bench() == room.judge.bench()
    assert room.replayed() == (room.alarms, room.verdicts)
