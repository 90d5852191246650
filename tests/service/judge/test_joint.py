"""A joint's two sides, where its probes sit, the spread of a bead's heat, and the root's gas."""

from __future__ import annotations

from dataclasses import replace

import pytest
from pydantic import ValidationError

from service.judge import actions as act
from service.judge.channel import Standing
from service.judge.heat_verdict import HeatView, ProbeView, beside, judge_heat, spread_s
from service.judge.joint_limits import in_force
from service.judge.purge_verdict import CLOSE_OUT, PurgeView, judge_purge
from service.judge.shop import Part
from service.readings import Forecast, Spread

PART = Part(1, "manifold", "ductile iron", 6.0, 0.15, None, 0.0)

SIDES = [
    # casting's preheat and interpass, tube's, who governs; what counts, what is asked
    ((200, 320, None, None), None, (200, 320), None),
    ((200, None, None, 300), None, (200, 300), None),
    ((None, 320, 150, 260), None, (150, 260), None),
    ((None, None, None, 150), None, (None, 150), None),
    (
        (250, 350, None, 175),
        None,
        (None, None),
        "the casting wants at least 250 °C and at most 350 °C, the tube wants at most 175 °C",
    ),
    ((250, 350, None, 175), "casting", (250, 350), None),
    ((250, 350, None, 175), "tube", (None, 175), None),
    ((250, 350, 100, 175), "casting", (250, 350), None),
    ((250, 300, None, 250), None, (None, None), "the casting wants at least 250 °C"),
]


def part_with(limits, governs):
    names = ("preheat_min_c", "interpass_max_c", "tube_preheat_min_c", "tube_interpass_max_c")
    return replace(PART, governing_side=governs, **dict(zip(names, limits, strict=True)))


@pytest.mark.parametrize(("limits", "governs", "expected", "conflict"), SIDES)
def test_both_sides_are_kept_where_that_can_be_and_else_somebody_is_asked(
    limits, governs, expected, conflict
):
    found = in_force(part_with(limits, governs))
    assert (found.preheat_min_c, found.interpass_max_c) == expected
    assert (found.conflict or "").startswith(conflict or "")
    assert (found.conflict is None) is (conflict is None)
    assert (found.set_aside is None) is (governs is None)


def test_the_side_that_does_not_govern_is_named():
    found = in_force(part_with((250, 350, None, 175), "casting"))
    assert found.set_aside == "the casting governs; the tube's at most 175 °C is set aside"


@pytest.mark.parametrize("prefix", ["", "tube_"])
def test_a_side_that_contradicts_itself_is_refused(prefix):
    limits = {f"{prefix}preheat_min_c": 300, f"{prefix}interpass_max_c": 200}
    with pytest.raises(ValidationError, match=f"{prefix}interpass_max_c 200 must be above"):
        act.Limits(**limits)


def test_a_conflict_is_unknown_until_somebody_has_chosen(stage):
    limits = act.Limits(preheat_min_c=200, tube_interpass_max_c=150)
    stage.part(1, {"tc1": "thermocouple"}, limits)
    stage.sources = {"tc1": lambda t_s: 260.0 - t_s / 50}
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(30)
    part = stage.bench_part()
    assert part["verdict"] == part["heat"]["verdict"] == "unknown"
    assert part["next"] == (
        "The casting wants at least 200 °C, the tube wants at most 150 °C: "
        "both cannot be kept, say which side governs."
    )
    assert part["limits"]["in_force"]["conflict"]
    stage.act(
        act.SetLimits(part_id=1, limits=limits.model_copy(update={"governing_side": "casting"}))
    )
    stage.run(2)
    part = stage.bench_part()
    assert part["verdict"] == "ready"
    assert "the tube's at most 150 °C is set aside" in part["heat"]["reasons"][-1]
    stage.act(act.SetLimits(part_id=1, limits=limits.model_copy(update={"governing_side": "tube"})))
    stage.run(2)
    assert "above interpass 150 °C" in stage.bench_part()["next"]


def probe(temperature_c, mm, name="tc1", standing=Standing.GOOD):
    return ProbeView(name, standing, temperature_c, None, from_joint_mm=mm)


NEAR, FAR, UNSAID = probe(250, 5), probe(240, 60, "tc2"), probe(230, None, "tc3")


@pytest.mark.parametrize(
    ("probes", "expected"),
    [
        ([NEAR, FAR, UNSAID], [NEAR]),
        ([FAR, UNSAID], [FAR]),
        ([FAR, probe(1, 90, "tc4")], [FAR]),
        ([UNSAID], [UNSAID]),
        ([], []),
    ],
)
def test_interpass_is_judged_on_the_weld_or_directly_beside_it(probes, expected):
    """ISO 13916: interpass temperature is measured on weld metal or directly beside it."""
    assert beside(probes) == expected


BENCH = HeatView("bench", False, [NEAR], preheat_min_c=200.0, interpass_max_c=300.0)


def test_a_hot_flange_does_not_govern_interpass_but_a_cold_one_governs_preheat():
    assert judge_heat(replace(BENCH, probes=[NEAR, probe(340, 60, "tc2")])).verdict == "ready"
    assert judge_heat(replace(BENCH, probes=[NEAR, probe(190, 60, "tc2")])).verdict == "stop"
    assert judge_heat(replace(BENCH, probes=[probe(310, 5), FAR])).verdict == "wait"


def test_interpass_read_far_from_the_weld_is_said():
    assert judge_heat(replace(BENCH, probes=[NEAR, FAR])).notes == []
    (note,) = judge_heat(replace(BENCH, probes=[FAR])).notes
    assert "60 mm from the joint" in note


@pytest.mark.parametrize(("wall_mm", "wait_s"), [(12.5, 60), (25, 120), (50, 240), (None, 10)])
def test_the_wait_after_the_arc(wall_mm, wait_s):
    """ISO 13916: about 2 min for every 25 mm after the heat is taken away."""
    assert spread_s(wall_mm) == wait_s


def test_interpass_waits_for_the_spread_and_for_the_probe_beside_the_weld():
    just_out = replace(BENCH, arc_out_s=20.0, spread_s=60.0)
    found = judge_heat(just_out)
    assert (found.verdict, found.lead) == ("wait", "arc just out")
    assert "0:40" in (found.detail or "")
    assert judge_heat(replace(just_out, arc_out_s=60.0)).verdict == "ready"
    rising = judge_heat(replace(just_out, arc_out_s=60.0, still_rising=True))
    assert (rising.verdict, rising.lead) == ("wait", "the probe beside the weld still rises")


@pytest.mark.parametrize("wall_mm", [None, 12.5])
def test_a_cold_weld_from_bead_to_bead(stage, wall_mm):
    """The cold method: an upper limit only, from room temperature, nothing in an oven."""
    part = {"t": 21.0, "arc": False}

    def metal(t_s):
        part["t"] += 3.0 if part["arc"] else -(part["t"] - 20.0) / 120.0
        return round(part["t"] * 4) / 4

    stage.sources = {"tc1": metal}
    stage.part(1, {"tc1": "thermocouple"}, act.Limits(interpass_max_c=60), joint_wall_mm=wall_mm)
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(600)
    assert stage.bench_part()["verdict"] == "ready", "a cold part that does not move is no fault"
    assert stage.bench_part()["next"] == "Start now."
    stage.act(act.BeginPass(heat_id=1))
    part["arc"] = True
    stage.run(30)
    assert stage.bench_part()["verdict"] == "ready", "never judged under the arc"
    part["arc"] = False
    stage.act(act.EndPass(heat_id=1))
    stage.run(4)
    assert stage.bench_part()["heat"]["verdict"] == "wait"
    stage.run(70)
    waiting = stage.bench_part()
    assert "above interpass 60 °C" in waiting["heat"]["reasons"][0]
    assert waiting["heat"]["window"]["opens_in_s"]["p50"] > 0
    assert "until below" in waiting["next"]
    assert [a["advice"] for a in stage.judge.bench()["alarms"]] == ["let it cool"]
    stage.run(120)
    assert stage.bench_part()["verdict"] == "ready"
    assert stage.states("above interpass") == ["unacknowledged", "returned"]
    assert stage.states("below preheat") == []


PURGED = PurgeView(50.0, True, flowing=True, clear=True, was_clear=True, gas_off_below_c=220.0)
WELDED = replace(PURGED, welded=True, needs_gas=True, root_c=310.0)
LEFT = Forecast(Spread(100, 130, 200), None)

GAS = [
    (PURGED, "ready", [CLOSE_OUT]),
    (replace(PURGED, pass_running=True), "ready", [CLOSE_OUT]),
    (
        replace(WELDED, root_cool_in=LEFT),
        "ready",
        ["after the last bead keep the gas on until the root is below 220 °C, about 2:10",
         CLOSE_OUT],
    ),
    (replace(WELDED, needs_gas=False), "ready",
     ["the root is below 220 °C: after the last bead the gas may go off", CLOSE_OUT]),
    (replace(WELDED, clear=False, lost=True), "stop",
     ["after the last bead keep the gas on until the root is below 220 °C"]),
    (replace(WELDED, clear=False, lost=True, needs_gas=False), "wait",
     ["the root is below 220 °C: after the last bead the gas may go off"]),
    (replace(WELDED, lost=True, gas_off_below_c=None, needs_gas=False, clear=False), "stop", []),
    (replace(PURGED, lost=True, clear=False), "wait", []),
    (replace(WELDED, running=False, ended=True), "stop", []),
    (replace(WELDED, running=False, ended=True, root_c=None), "unknown", []),
    (replace(WELDED, running=False, ended=True, needs_gas=False), "unknown", []),
]  # fmt: skip


@pytest.mark.parametrize(("view", "verdict", "notes"), GAS)
def test_gas_until_the_root_is_cold(view, verdict, notes):
    found = judge_purge(view)
    assert found.verdict == verdict, found.reasons
    assert found.notes == notes


def test_gas_shut_off_too_early_is_a_stop_and_an_alarm_until_it_is_back(stage):
    part = {"t": 300.0}

    def metal(_t_s):
        part["t"] -= 0.2
        return round(part["t"] * 4) / 4

    flow = {"l_min": 10.0}
    stage.sources = {"tc1": metal, "flow1": lambda _t: flow["l_min"]}
    stage.part(
        1,
        {"tc1": "thermocouple", "flow1": "gas flow"},
        act.Limits(preheat_min_c=150, oxygen_max_ppm=5000, gas_off_below_c=220),
        cavity_volume_l=0.2,
    )
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.act(act.BeginPurge(heat_id=1))
    stage.run(90)
    assert stage.bench_part()["purge"]["clear"]
    stage.act(act.BeginPass(heat_id=1))
    stage.run(20)
    stage.act(act.EndPass(heat_id=1))
    stage.run(10)
    words = " ".join(stage.bench_part()["purge"]["reasons"])
    assert "keep the gas on until the root is below 220 °C, about" in words
    stage.act(act.EndPurge(heat_id=1))
    flow["l_min"] = 0.0
    stage.run(5)
    early = stage.bench_part()
    assert early["purge"]["verdict"] == early["verdict"] == "stop"
    assert early["next"].startswith("Gas off while the root is at 2")
    (alarm,) = stage.judge.bench()["alarms"]
    assert (alarm["kind"], alarm["advice"]) == (
        "purge lost", "on again until it is below 220 °C"
    )  # fmt: skip
    stage.act(act.MovePart(heat_id=1, phase="slow cool"))
    stage.run(2)
    assert stage.bench_part()["next"].startswith("Gas off while")
    stage.act(act.MovePart(heat_id=1, phase="bench"))
    flow["l_min"] = 10.0
    stage.act(act.BeginPurge(heat_id=1))
    stage.run(20)
    assert stage.states("purge lost") == ["unacknowledged", "returned"]
    while part["t"] > 218:
        stage.run(10)
    assert "the gas may go off" in " ".join(stage.bench_part()["purge"]["reasons"])
    stage.act(act.EndPurge(heat_id=1))
    stage.run(5)
    assert stage.bench_part()["purge"]["basis"] == "not judged"
    assert stage.replayed() == (stage.alarms, stage.verdicts)
