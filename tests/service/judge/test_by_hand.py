"""Readings typed in: believed for a minute at their pessimistic end, never a proof of a purge."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from service.judge import actions as act
from service.judge.checkpoint import decode, encode
from service.judge.events import Advance, Refused
from service.judge.judge import Judge

LIMITS = act.Limits(preheat_min_c=200, interpass_max_c=320)


def enter(stage, method, value, **more):
    stage.act(act.EnterReading(part_id=1, method=method, value=value, **more))


@pytest.fixture
def bare(stage):
    """A part on the bench without a single wire."""
    stage.part(1, {}, LIMITS)
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(1)
    return stage


def channel(stage, name):
    return next(c for c in stage.judge.bench()["channels"] if c["name"] == name)


@pytest.mark.parametrize(
    ("method", "value", "unit", "off"),
    [
        ("crayon melted", 204, "Cel", 2.04),  # makers' 1 % (from memory)
        ("crayon not melted", 50, "Cel", 1.0),
        ("contact probe", 187, "Cel", 3.0),
        ("contact probe", 400, "Cel", 6.0),
        ("infrared", 400, "Cel", 20.0),
        ("ball meter", 12, "l/min", 1.2),
    ],
)
def test_each_method_has_its_own_uncertainty(method, value, unit, off):
    entry = act.EnterReading(part_id=1, method=method, value=value)
    assert (entry.unit, entry.off) == (unit, pytest.approx(off))
    assert act.EnterReading(part_id=1, method=method, value=value, plus_minus=7).off == 7
    assert f"by hand: {method}" in entry.words


@pytest.mark.parametrize(
    ("method", "value"), [("contact probe", 1500), ("ball meter", -1), ("infrared", float("nan"))]
)
def test_what_cannot_be_is_refused(method, value):
    with pytest.raises(ValidationError, match="value"):
        act.EnterReading(part_id=1, method=method, value=value)


def test_a_crayon_says_at_least_and_the_handheld_says_both(bare):
    enter(bare, "crayon melted", 204)
    part = bare.bench_part()
    assert part["heat"]["verdict"] == "unknown", "how hot it is at most is not known"
    assert "how hot it is at most beside the weld is not known" in part["heat"]["reasons"]
    enter(bare, "crayon not melted", 316)
    assert bare.bench_part()["heat"]["verdict"] == "unknown", (
        "one crayon has taken the other's place"
    )
    enter(bare, "crayon melted", 204, place="flange")
    part = bare.bench_part()
    assert part["heat"]["verdict"] == part["verdict"] == "ready"
    assert "flange by hand, part 1: at least 204 °C, ± 2 K by now" in part["heat"]["reasons"]


def test_a_melted_crayon_alone_opens_a_window_with_a_lower_limit_only(bare):
    bare.act(act.SetLimits(part_id=1, limits=act.Limits(preheat_min_c=200)))
    enter(bare, "crayon melted", 204)
    assert bare.bench_part()["heat"]["verdict"] == "ready"
    bare.run(10)
    part = bare.bench_part()
    assert part["heat"]["verdict"] == "stop", "24.5 K/min: the 204 may be 198 by now"
    enter(bare, "crayon melted", 201)
    assert bare.bench_part()["heat"]["verdict"] == "stop", "201 less 1 % is below 200"


def test_187_at_the_flange_is_below_preheat_whatever_the_wire_says(stage):
    stage.part(1, {"tc1": "thermocouple"}, LIMITS)
    stage.sources = {"tc1": lambda t_s: round(4 * (260.0 - t_s / 5)) / 4}
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(20)
    assert stage.bench_part()["verdict"] == "ready"
    enter(stage, "contact probe", 187, place="flange")
    part = stage.bench_part()
    assert part["heat"]["verdict"] == "stop"
    assert part["heat"]["temperature_c"] == 187
    stage.run(8)
    assert stage.states("below preheat") == ["unacknowledged"]
    stage.run(80)
    assert stage.bench_part()["heat"]["verdict"] == "ready", "old, and the wire speaks for itself"
    assert not [a for a in stage.alarms if a.kind == "no data"], "nobody types all the time"


def test_after_a_minute_it_must_be_taken_again(bare):
    enter(bare, "contact probe", 260)
    assert bare.bench_part()["verdict"] == "ready"
    bare.run(30)
    window = bare.bench_part()["heat"]["window"]
    assert bare.bench_part()["verdict"] == "ready"
    assert window["closes_in_s"] is None
    assert window["reason"], "from one reading no forecast can be made, and that is said"
    bare.run(32)
    part = bare.bench_part()
    assert part["verdict"] == "unknown"
    assert "1:02 old, measure again" in part["next"]
    assert channel(bare, "joint by hand, part 1")["by_hand"] == {
        "method": "contact probe", "place": "joint", "plus_minus": 3.9,
    }  # fmt: skip


def test_the_model_heeds_how_sure_a_reading_is(new_stage):
    """Two handhelds that differ in nothing but their error: the surer one narrows the window."""

    def width(plus_minus):
        stage = new_stage()
        stage.part(1, {}, LIMITS)
        stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
        for value in (262.0, 258.0, 254.0):
            enter(stage, "contact probe", value, plus_minus=plus_minus)
            stage.run(20)
        window = stage.bench_part()["heat"]["window"]["closes_in_s"]
        return window["p95"] - window["p05"]

    assert width(1.0) < width(20.0)


def purged(stage, channels, sources):
    limits = act.Limits(preheat_min_c=100, oxygen_max_ppm=5000)
    stage.part(1, {"tc1": "thermocouple", **channels}, limits, cavity_volume_l=0.2)
    stage.sources = {"tc1": lambda t_s: round(4 * (260.0 - t_s / 20)) / 4, **sources}
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.act(act.BeginPurge(heat_id=1))
    stage.run(5)


def test_a_typed_flow_is_an_estimate_and_never_clear(stage):
    purged(stage, {}, {})
    enter(stage, "ball meter", 12)
    for _ in range(30):
        stage.run(20)
        part = stage.bench_part()
        assert not part["purge"]["clear"]
        assert part["purge"]["verdict"] == part["verdict"] == "unknown"
    assert part["purge"]["oxygen_ppm"]["p50"] < 1000, "it is an estimate all the same"
    assert "typed in (12 l/min)" in " ".join(part["purge"]["reasons"])


def test_a_typed_flow_does_not_mend_a_meter_that_has_failed(stage):
    purged(stage, {"flow1": "gas flow"}, {"flow1": lambda t_s: 12.0 if t_s < 200 else None})
    stage.run(150)
    assert stage.bench_part()["purge"]["clear"]
    stage.run(60)
    enter(stage, "ball meter", 12)
    stage.run(60)
    part = stage.bench_part()
    assert not part["purge"]["clear"]
    assert part["purge"]["verdict"] == "unknown"


def test_beside_a_sensor_a_typed_flow_may_stand(stage):
    level = {"ppm": 200_000.0}

    def cell(_t_s):
        level["ppm"] = max(20.0, level["ppm"] * 0.93)
        return round(level["ppm"], 1)

    purged(stage, {"oxygen1": "oxygen"}, {"oxygen1": cell})
    enter(stage, "ball meter", 12)
    stage.run(240)
    part = stage.bench_part()
    assert (part["purge"]["basis"], part["purge"]["clear"]) == ("oxygen sensor", True)


def test_it_needs_a_part_and_a_place_of_its_own(bare):
    with pytest.raises(Refused, match="no part 7"):
        bare.act(act.EnterReading(part_id=7, method="infrared", value=200))
    bare.events.pop()
    bare.act(act.AdoptChannel(channel="joint by hand, part 1", channel_kind="thermocouple"))
    with pytest.raises(Refused, match="name the place otherwise"):
        enter(bare, "infrared", 200)


def test_it_is_replayed_and_survives_a_checkpoint(bare):
    enter(bare, "contact probe", 260, token="tap")
    bare.run(5)
    enter(bare, "contact probe", 100, token="tap")  # the same tap again
    bare.run(5)
    assert bare.bench_part()["heat"]["temperature_c"] == 260
    kept = decode(encode((bare.judge.state, bare.judge.gate), "1"), "1")
    again = Judge(*kept)
    later = Advance(bare.now_us + 70_000_000, 0)
    assert again.step(later) == bare.feed(later)
    assert again.bench() == bare.judge.bench()
    assert bare.replayed() == (bare.alarms, bare.verdicts)
