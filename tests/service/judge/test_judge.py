"""The judge as a whole: alarms in their place, several parts, restarts, clocks, the answer."""

from __future__ import annotations

import json
import math

import jsonschema
import pytest

from service.judge import actions as act
from service.judge import checkpoint
from service.judge.events import Acted, Advance, Refused
from service.judge.judge import Judge
from service.judge.state import JudgeState

LIMITS = act.Limits(preheat_min_c=200, interpass_max_c=320, oxygen_max_ppm=500)


def cooling(start_c, k_per_s=0.4):
    """A probe on a cooling part, with a little noise that repeats."""
    return lambda t: round((start_c - k_per_s * t + ((int(t) * 7919) % 13 - 6) * 0.05) * 4) / 4


@pytest.fixture
def hot(stage):
    """A part on the bench, its probe settled."""
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.sources = {"tc1": cooling(300.0)}
    stage.part(1, {"tc1": "thermocouple"}, act.Limits(preheat_min_c=200, interpass_max_c=320))
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(20)
    assert stage.bench_part()["verdict"] == "ready"
    return stage


def alarms(stage):
    return [(a["kind"], a["state"]) for a in stage.judge.bench()["alarms"]]


# --- temperature alarms --------------------------------------------------------------------------


def test_below_preheat_after_five_seconds_once(hot):
    hot.sources["tc1"] = lambda t: 199.5 + math.sin(t)  # one degree around the limit
    hot.run(60)
    hot.sources["tc1"] = lambda t: 198.0 + 0.1 * math.sin(t)
    hot.run(30)
    assert hot.bench_part()["verdict"] == "stop"
    assert hot.states("below preheat") == ["unacknowledged"]
    hot.sources["tc1"] = lambda t: 201.5 + 0.1 * math.sin(t)
    hot.run(30)
    assert hot.states("below preheat") == ["unacknowledged"], "within the deadband"
    hot.sources["tc1"] = lambda t: 203.0 + 0.1 * math.sin(t)
    hot.run(30)
    assert hot.states("below preheat") == ["unacknowledged", "returned"]


def test_a_cold_part_put_on_the_bench_is_no_alarm_until_somebody_welds(stage):
    stage.sources = {"tc1": lambda t: 21.0 + 0.1 * math.sin(t)}
    stage.part(1, {"tc1": "thermocouple"}, LIMITS)
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(60)
    assert stage.bench_part()["heat"]["verdict"] == "stop"
    assert alarms(stage) == []
    stage.act(act.BeginPass(heat_id=1))
    stage.run(10)
    assert alarms(stage) == [("below preheat", "unacknowledged")]


def test_below_preheat_in_mid_bead_is_no_stop(hot):
    hot.act(act.BeginPass(heat_id=1))
    hot.sources["tc1"] = lambda t: 195.0 + 0.1 * math.sin(t)
    hot.run(20)
    part = hot.bench_part()
    assert part["verdict"] == part["heat"]["verdict"] == "wait"
    assert "finish the bead, fill the crater" in part["next"]
    assert hot.states("below preheat") == ["unacknowledged"]
    hot.act(act.EndPass(heat_id=1))
    hot.run(15)
    assert hot.bench_part()["verdict"] == "stop"


def test_above_interpass_with_the_arc_out_only(hot):
    hot.act(act.BeginPass(heat_id=1))
    hot.sources["tc1"] = lambda t: 340.0 + 0.1 * math.sin(t)
    hot.run(60)
    assert hot.bench_part()["heat"]["verdict"] == "ready"
    assert alarms(hot) == []
    hot.act(act.EndPass(heat_id=1))
    hot.run(30)
    assert hot.bench_part()["heat"]["verdict"] == "wait"
    assert hot.states("above interpass") == ["unacknowledged"]
    hot.act(act.BeginPass(heat_id=1))
    hot.run(30)
    assert hot.states("above interpass") == ["unacknowledged"], "not judged is not returned"


def test_cooling_too_fast_only_under_cover(stage):
    stage.sources = {"tc1": cooling(400.0, 0.3)}
    limits = act.Limits(preheat_min_c=200, cooling_max_c_per_h=200)
    stage.part(1, {"tc1": "thermocouple"}, limits)
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(90)
    assert alarms(stage) == [], "bare on the bench 1,000 °C/h is normal"
    stage.act(act.MovePart(heat_id=1, phase="slow cool"))
    stage.run(110)
    assert alarms(stage) == [], "the cover must warm up first, and a minute be measured"
    stage.run(40)
    assert ("cooling too fast", "unacknowledged") in alarms(stage)
    assert stage.bench_part()["verdict"] == "wait"


# --- channels ------------------------------------------------------------------------------------


def test_stale_is_unknown_within_half_a_second_of_its_limit(hot):
    hot.sources = {}
    hot.run(3)
    assert hot.bench_part()["verdict"] == "ready"
    hot.run(1)
    part = hot.bench_part()
    assert part["verdict"] == "unknown"
    assert part["heat"]["temperature_c"] is None
    assert part["heat"]["window"]["closes_in_s"] is None
    hot.run(3)
    assert hot.states("no data") == ["unacknowledged"]
    hot.run(3600)
    assert hot.states("no data") == ["unacknowledged"]


@pytest.mark.parametrize("value", ["open-circuit", 2046.0, 0.0])
def test_a_faulty_probe_is_unknown_at_once_and_an_alarm_after_five_seconds(hot, value):
    hot.sources["tc1"] = lambda _t: value
    hot.run(1)
    assert hot.bench_part()["verdict"] == "unknown"
    hot.run(9)
    assert hot.states("sensor fault") == ["unacknowledged"]


def test_a_probe_that_fails_and_then_falls_silent_is_one_alarm(hot):
    hot.sources["tc1"] = lambda _t: "open-circuit"
    hot.run(10)
    hot.sources = {}
    hot.run(60)
    assert alarms(hot) == [("sensor fault", "unacknowledged")]


def test_one_unplugged_node_with_four_channels_is_one_alarm(stage):
    stage.sources = {
        "tc1": cooling(300.0), "tc2": cooling(305.0),
        "flow1": lambda _t: 8.0, "oxygen1": lambda _t: 30.0,
    }  # fmt: skip
    kinds = {"tc1": "thermocouple", "tc2": "thermocouple", "flow1": "gas flow", "oxygen1": "oxygen"}
    stage.part(1, kinds, LIMITS, cavity_volume_l=1.0)
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.act(act.BeginPurge(heat_id=1))
    stage.run(30)
    assert alarms(stage) == []
    stage.sources = {}
    stage.run(30)
    assert alarms(stage) == [("no data", "unacknowledged")]
    text = stage.judge.bench()["alarms"][0]["text"]
    assert all(name in text for name in kinds)
    assert sum(change.speak for change in stage.alarms) == 1
    assert stage.bench_part()["purge"]["verdict"] == "unknown"


def test_the_carry_gap_is_expected_for_five_minutes(stage):
    stage.sources = {"tc1": lambda t: 300.0 + 0.1 * math.sin(t)}
    stage.part(1, {"tc1": "thermocouple"}, LIMITS)
    stage.act(act.BeginHeat(heat_id=1, part_id=1))
    stage.run(30)
    stage.sources["tc1"] = lambda _t: "open-circuit"
    stage.run(2)
    stage.act(act.MovePart(heat_id=1, phase="carry"))
    stage.run(200)
    assert alarms(stage) == []
    stage.act(act.MovePart(heat_id=1, phase="bench"))
    stage.run(90)
    assert alarms(stage) == []
    assert stage.bench_part()["heat"]["verdict"] == "unknown"
    stage.run(30)
    assert alarms(stage) == [("sensor fault", "unacknowledged")]


def test_a_probe_that_was_back_and_fails_again_is_a_fault(stage):
    """Also within the five minutes, and while the other probe is not back yet."""
    stage.sources = {f"tc{n}": cooling(310.0 + n, 0.2) for n in (1, 2)}
    stage.part(1, {"tc1": "thermocouple", "tc2": "thermocouple"}, LIMITS)
    stage.act(act.BeginHeat(heat_id=1, part_id=1))
    stage.run(30)
    stage.act(act.MovePart(heat_id=1, phase="carry"))
    stage.run(2)
    stage.sources = {f"tc{n}": lambda _t: "open-circuit" for n in (1, 2)}
    stage.run(20)
    stage.act(act.MovePart(heat_id=1, phase="bench"))
    stage.sources["tc1"] = cooling(310.0, 0.2)
    stage.run(10)
    assert alarms(stage) == []
    stage.sources["tc1"] = lambda _t: "open-circuit"
    stage.run(10)
    assert [(a["kind"], a["channel"]) for a in stage.judge.bench()["alarms"]] == [
        ("sensor fault", "tc1")
    ]


def test_a_probe_that_stays_plugged_in_is_watched_again_after_the_landing(stage):
    stage.sources = {"tc1": cooling(310.0, 0.2)}
    stage.part(1, {"tc1": "thermocouple"}, LIMITS)
    stage.act(act.BeginHeat(heat_id=1, part_id=1))
    stage.run(20)
    stage.act(act.MovePart(heat_id=1, phase="bench"))
    stage.run(40)
    stage.sources = {}
    stage.run(10)
    assert alarms(stage) == [("no data", "unacknowledged")]


def test_a_channel_moved_in_mid_heat_settles_and_fits_anew(hot):
    before = hot.judge.state.heats[1].cooling["tc1"].model
    hot.part(2, {"tc2": "thermocouple"})
    hot.act(act.AssignChannel(channel="tc1", part_id=2))
    hot.act(act.AssignChannel(channel="tc1", part_id=1))
    assert hot.bench_part()["heat"]["verdict"] == "unknown"
    hot.run(20)
    assert hot.bench_part()["heat"]["verdict"] == "ready"
    assert hot.judge.state.heats[1].cooling["tc1"].model is not before


def test_two_probes_the_coldest_governs_preheat(hot):
    hot.sources["tc2"] = lambda t: cooling(215.0, 0.2)(t - 20)
    hot.act(act.AdoptChannel(channel="tc2", channel_kind="thermocouple"))
    hot.act(act.AssignChannel(channel="tc2", part_id=1))
    hot.run(20)
    part = hot.bench_part()
    assert part["heat"]["verdict"] == "ready"
    assert part["heat"]["temperature_c"] == pytest.approx(211, abs=2)
    hot.run(60)
    assert hot.bench_part()["heat"]["verdict"] == "stop"


def test_a_kind_that_cannot_send_this_unit_is_refused(hot):
    with pytest.raises(Refused, match="Channel tc1 sends Cel, which is no gas flow"):
        hot.act(act.AdoptChannel(channel="tc1", channel_kind="gas flow"))


# --- purge ---------------------------------------------------------------------------------------


@pytest.fixture
def purged(hot):
    """The hot part with a purge that is clear."""
    hot.flow_l_min = 12.0
    hot.sources["tc1"] = lambda t: 260.0 + 0.3 * math.sin(t)
    hot.sources["flow1"] = lambda _t: hot.flow_l_min
    hot.act(act.AdoptChannel(channel="flow1", channel_kind="gas flow"))
    hot.act(act.AssignChannel(channel="flow1", part_id=1))
    facts = act.PartFacts(name="manifold 1", mass_kg=6, area_m2=0.15, cavity_volume_l=0.8)
    hot.act(act.ChangePart(part_id=1, facts=facts))
    hot.act(act.SetLimits(part_id=1, limits=LIMITS))
    hot.act(act.BeginPurge(heat_id=1))
    hot.run(5)
    assert hot.bench_part()["purge"]["verdict"] == "wait"
    for _ in range(60):
        hot.run(5)
        if hot.bench_part()["verdict"] == "ready":
            break
    part = hot.bench_part()
    assert part["purge"]["clear"]
    assert part["purge"]["basis"] == "flow"
    assert "estimated from flow" in " ".join(part["purge"]["reasons"])
    assert part["verdict"] == "ready"
    return hot


def test_a_kink_in_mid_bead_is_a_stop_and_never_ready_while_it_lasts(purged):
    purged.act(act.BeginPass(heat_id=1))
    purged.run(10)
    purged.flow_l_min = 0.0
    for _ in range(40):
        purged.run(1)
        part = purged.bench_part()
        assert part["verdict"] == part["purge"]["verdict"] == "stop"
        assert not part["purge"]["clear"]
    assert purged.states("purge lost") == ["unacknowledged"]
    purged.flow_l_min = 12.0
    purged.run(1)
    assert not purged.bench_part()["purge"]["clear"], "the clearing counts anew"


def test_a_kink_between_passes_waits(purged):
    purged.flow_l_min = 0.0
    purged.run(5)
    part = purged.bench_part()
    assert part["verdict"] == "wait"
    assert "no argon is flowing" in part["purge"]["reasons"][0]


def test_a_silent_flow_meter_is_never_clear(purged):
    del purged.sources["flow1"]
    purged.run(4)
    part = purged.bench_part()
    assert part["verdict"] == part["purge"]["verdict"] == "unknown"
    assert not part["purge"]["clear"]


def test_after_a_restart_the_purge_is_unproven(purged):
    purged.act(act.ServiceStarted(version="test", offset_us=0))
    part = purged.bench_part()
    assert not part["purge"]["clear"]
    assert part["purge"]["verdict"] != "ready"
    purged.run(5)
    assert any("restarted" in reason for reason in purged.bench_part()["purge"]["reasons"])
    purged.run(200)
    assert purged.bench_part()["purge"]["clear"]


def test_without_an_oxygen_limit_the_purge_has_no_say(purged):
    purged.act(act.SetLimits(part_id=1, limits=act.Limits(preheat_min_c=200)))
    purged.run(2)
    part = purged.bench_part()
    assert part["purge"]["basis"] == "not judged"
    assert not part["purge"]["clear"]
    assert part["verdict"] == part["heat"]["verdict"] == "ready"


def test_an_oxygen_sensor_that_reads_high_is_believed(purged):
    purged.sources["oxygen1"] = lambda _t: 4000.0
    purged.act(act.AdoptChannel(channel="oxygen1", channel_kind="oxygen"))
    purged.act(act.AssignChannel(channel="oxygen1", part_id=1))
    purged.run(60)
    part = purged.bench_part()
    assert not part["purge"]["clear"]
    assert part["purge"]["basis"] == "oxygen sensor"


def test_a_purge_ended_on_purpose_is_not_judged_any_more(purged):
    purged.act(act.EndPurge(heat_id=1))
    purged.run(2)
    part = purged.bench_part()
    assert part["purge"]["basis"] == "not judged"
    assert part["verdict"] == "ready"
    assert not part["purge"]["running"]


# --- the shop ------------------------------------------------------------------------------------


def test_two_parts_do_not_disturb_each_other(hot):
    hot.sources["tc2"] = lambda t: 21.0 + min(200.0, t) + 0.2 * math.sin(t)
    hot.part(2, {"tc2": "thermocouple"}, LIMITS)
    hot.act(act.BeginHeat(heat_id=2, part_id=2))
    hot.run(40)
    first, second = hot.bench_part(1), hot.bench_part(2)
    assert first["verdict"] == "ready"
    assert second["verdict"] == "wait"
    assert second["phase"] == "oven"
    hot.sources["tc2"] = lambda _t: None
    hot.run(10)
    assert hot.bench_part(1)["verdict"] == "ready"
    assert hot.bench_part(2)["verdict"] == "unknown"
    assert {a["part_id"] for a in hot.judge.bench()["alarms"]} == {2}


def test_not_recording_alarms_at_once(hot):
    hot.act(act.RecordingChanged(recording=False, detail="disk full"))
    answer = hot.judge.bench()
    assert answer["recording"] is False
    assert "disk full" in answer["alarms"][0]["text"]
    hot.act(act.RecordingChanged(recording=True))
    hot.run(1)
    assert alarms(hot) == [("not recording", "returned")]
    assert hot.judge.bench()["recording"] is True


def test_acknowledging(hot):
    hot.sources["tc1"] = lambda _t: "open-circuit"
    hot.run(10)
    alarm = hot.judge.bench()["alarms"][0]
    tap = act.AcknowledgeAlarm(alarm_id=alarm["id"], token="tap")
    hot.act(tap)
    assert alarms(hot) == [("sensor fault", "acknowledged")]
    hot.act(tap)
    with pytest.raises(Refused, match="already acknowledged"):
        hot.act(act.AcknowledgeAlarm(alarm_id=alarm["id"]))
    with pytest.raises(Refused, match="no alarm 12345"):
        hot.act(act.AcknowledgeAlarm(alarm_id=12345))
    hot.sources["tc1"] = cooling(290.0)
    hot.run(30)
    assert alarms(hot) == []
    assert hot.states("sensor fault") == ["unacknowledged", "acknowledged", "normal"]


def test_a_refused_action_loses_no_outcome(hot):
    hot.sources = {}
    hot.now_us += 60_000_000
    with pytest.raises(Refused):
        hot.act(act.EndHeat(heat_id=9))
    assert hot.states("no data") == []
    hot.run(1)
    assert hot.states("no data") == ["unacknowledged"]
    assert hot.replayed(
        [e for e in hot.events if not (hasattr(e, "action") and e.action.kind == "end heat")]
    ) == (hot.alarms, hot.verdicts)


@pytest.mark.parametrize("step_s", [3600, -3600])
def test_the_wall_clock_may_step_either_way(hot, step_s):
    verdicts = len(hot.verdicts)
    hot.offset_us = step_s * 1_000_000
    hot.act(act.ClockStepped(offset_us=hot.offset_us))
    hot.run(30)
    assert hot.bench_part()["verdict"] == "ready"
    assert len(hot.verdicts) == verdicts
    hot.sources = {}
    hot.run(10)
    raised = hot.alarms[-1]
    assert raised.at_us - raised.mono_us == hot.offset_us


def test_a_gap_of_days_costs_little_and_changes_nothing(hot, monkeypatch):
    end_us = hot.now_us + 3 * 3_600_000_000
    events = [*hot.events, Advance(end_us, 0)]
    quick = hot.replayed(events)
    monkeypatch.setattr("service.judge.judge.QUIET_US", 10**18)
    assert hot.replayed(events) == quick
    monkeypatch.undo()
    judge = Judge()
    for event in hot.events:
        judge.step(event)
    year_us = hot.now_us + 365 * 86_400_000_000
    judge.step(Advance(year_us, 0))
    assert judge.bench()["parts"][0]["verdict"] == "unknown"


def test_recalled_history_leads_to_the_same_shop(hot):
    hot.act(act.EndHeat(heat_id=1))
    judge = Judge()
    for event in hot.events:
        if hasattr(event, "action"):
            judge.recall(event)
    assert judge.shop.parts == hot.judge.shop.parts
    assert judge.shop.channels == hot.judge.shop.channels
    assert judge.shop.next_heat_id == 2
    assert judge.bench()["alarms"] == []


def test_a_restart_in_the_second_heat_is_as_if_nothing_had_happened(hot):
    """As the service starts: the first heat is only recalled, the open one is judged again."""
    hot.sources["tc1"] = lambda _t: "open-circuit"
    hot.run(10)
    left_behind = hot.judge.bench()["alarms"][0]["id"]
    hot.act(act.EndHeat(heat_id=1))
    hot.sources["tc1"] = cooling(310.0)
    hot.run(30)
    begin = len(hot.events)
    hot.act(act.BeginHeat(heat_id=2, part_id=1, phase="bench"))
    hot.run(30)
    hot.sources = {}
    hot.run(10)

    rebuilt, changes = Judge(), []
    for event in hot.events[:begin]:
        if isinstance(event, Acted):
            rebuilt.recall(event)
    for event in hot.events[begin:]:
        changes += rebuilt.step(event).alarms
    assert changes == [c for c in hot.alarms if c.mono_us > hot.events[begin].stamp.mono_us]
    rebuilt.remember_alarms(hot.alarms)
    now, was = rebuilt.bench(), hot.judge.bench()
    assert now["parts"] == was["parts"]
    assert now["alarms"] == was["alarms"]
    assert [a["state"] for a in now["alarms"]] == ["returned", "unacknowledged"]
    assert now["alarms"][0]["id"] == left_behind


def test_alarms_already_dealt_with_are_not_taken_up_again(hot):
    hot.sources["tc1"] = lambda _t: "open-circuit"
    hot.run(10)
    hot.act(act.AcknowledgeAlarm(alarm_id=hot.judge.bench()["alarms"][0]["id"]))
    judge = Judge()
    judge.remember_alarms(hot.alarms)
    assert judge.bench()["alarms"] == []
    assert judge.state.book.last_id == hot.alarms[-1].alarm_id


def test_a_start_forgets_that_an_earlier_run_could_not_record(hot):
    hot.act(act.RecordingChanged(recording=False, detail="disk full"))
    hot.act(act.ServiceStarted(version="test", offset_us=0))
    hot.run(1)
    assert hot.judge.bench()["recording"]
    assert alarms(hot) == [("not recording", "returned")]


def test_a_heat_recalled_can_be_ended_by_a_step(hot):
    judge = Judge()
    for event in hot.events:
        if hasattr(event, "action"):
            judge.recall(event)
    hot.act(act.EndHeat(heat_id=1))
    judge.step(hot.events[-1])
    assert judge.shop.open_heats() == []


def test_a_checkpoint_in_mid_heat_changes_nothing(purged):
    middle = len(purged.events)
    data = checkpoint.encode(purged.judge.state, "1")
    purged.flow_l_min = 0.0
    purged.run(5)
    purged.flow_l_min = 12.0
    purged.run(5)
    state = checkpoint.decode(data, "1")
    assert isinstance(state, JudgeState)
    restored, found = Judge(state), []
    for event in purged.events[middle:]:
        found += restored.step(event).verdicts
    assert found
    assert found == purged.verdicts[-len(found) :]
    assert restored.bench() == purged.judge.bench()


# --- the answer ----------------------------------------------------------------------------------


def test_the_bench_answer_before_anything_happened():
    assert Judge().bench()["parts"] == []


def test_the_bench_answer_is_plain_json_in_its_shape(purged):
    purged.part(2, {})
    purged.act(act.AdoptChannel(channel="never heard", channel_kind="arc"))
    purged.say("tc9", math.nan)
    answer = purged.judge.bench()
    text = json.dumps(answer, allow_nan=False)
    assert json.loads(text) == answer
    jsonschema.validate(answer, SCHEMA)
    channels = {c["name"]: c for c in answer["channels"]}
    assert channels["tc9"]["value"] is None
    assert channels["tc9"]["quality"] == "bad"
    assert channels["tc9"]["kind"] is None
    assert channels["tc9"]["kind_guess"] == "thermocouple"
    assert channels["never heard"]["quality"] == "stale"
    assert channels["never heard"]["reason"] == "no reading yet"
    assert channels["tc1"]["age_s"] < 1
    assert answer["at"].endswith("Z")
    idle = answer["parts"][1]
    assert (idle["phase"], idle["verdict"], idle["heat_id"]) == ("none", "unknown", None)


VERDICT = {"enum": ["ready", "wait", "stop", "unknown"]}
SPREAD = {
    "oneOf": [
        {"type": "null"},
        {
            "type": "object",
            "required": ["p05", "p50", "p95"],
            "properties": {"p95": {"type": ["number", "null"]}},
        },
    ]
}
SCHEMA = {
    "type": "object",
    "required": ["at", "recording", "parts", "channels", "alarms"],
    "properties": {
        "parts": {
            "items": {
                "required": ["id", "name", "heat_id", "phase", "verdict", "heat", "purge", "next"],
                "properties": {
                    "verdict": VERDICT,
                    "heat": {
                        "required": ["verdict", "reasons", "temperature_c", "rate_c_per_h"],
                        "properties": {
                            "verdict": VERDICT,
                            "reasons": {"type": "array", "minItems": 1},
                            "window": {
                                "required": ["closes_in_s", "opens_in_s", "reason"],
                                "properties": {"closes_in_s": SPREAD, "opens_in_s": SPREAD},
                            },
                        },
                    },
                    "purge": {
                        "required": ["verdict", "reasons", "oxygen_ppm", "clear", "clear_in_s"],
                        "properties": {
                            "verdict": VERDICT,
                            "oxygen_ppm": SPREAD,
                            "clear_in_s": SPREAD,
                            "basis": {"enum": ["flow", "oxygen sensor", "not judged"]},
                        },
                    },
                },
            }
        },
    },
}
"""Written from the design's description of ``GET /api/v1/bench``, not from the code."""
