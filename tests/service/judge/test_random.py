"""Random shops: whatever is read and done, doubt is never shown as ready or clear.

Each example is a few minutes of a part with faults, moves and taps in any order, checked after
every second against rules written down here, not taken from the code.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from service.judge import actions as act
from service.judge.events import Acted, Advance, Refused
from service.judge.judge import Judge
from service.readings import Quality, Reading

NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
"""A failing shop takes seconds to run; shrinking it would take minutes."""

LIMITS = act.Limits(
    preheat_min_c=200, interpass_max_c=320, cooling_max_c_per_h=300, oxygen_max_ppm=5000
)

TAPS = {
    "carry": act.MovePart(heat_id=1, phase="carry"),
    "bench": act.MovePart(heat_id=1, phase="bench"),
    "oven": act.MovePart(heat_id=1, phase="oven"),
    "cover": act.MovePart(heat_id=1, phase="slow cool"),
    "purge": act.BeginPurge(heat_id=1),
    "end purge": act.EndPurge(heat_id=1),
    "pass": act.BeginPass(heat_id=1),
    "end pass": act.EndPass(heat_id=1),
    "restart": act.ServiceStarted(version="t", offset_us=0),
    "clock": act.ClockStepped(offset_us=3_600_000_000),
    "not recording": act.RecordingChanged(recording=False),
    "off": act.AssignChannel(channel="tc1", part_id=None),
    "on": act.AssignChannel(channel="tc1", part_id=1),
    "no limit": act.SetLimits(part_id=1, limits=act.Limits(preheat_min_c=200)),
    "limits": act.SetLimits(part_id=1, limits=LIMITS),
}
PROBE = ["steady", "open-circuit", "silent", "zero", "jump", "noise", "below", "above"]
FLOW = ["on", "none", "silent", "fault", "drift"]

steps = st.lists(
    st.tuples(
        st.sampled_from(["probe", "flow", "tap", "nothing"]),
        st.sampled_from(PROBE),
        st.sampled_from(FLOW),
        st.sampled_from([*TAPS, "bench", "bench", "purge", "end pass"]),
        st.integers(1, 9),
    ),
    min_size=1,
    max_size=14,
)


class Shop:
    """What really is, beside the stage that only tells the judge."""

    def __init__(self, stage) -> None:
        self.stage = stage
        self.probe, self.flow = "steady", "none"
        self.temperature_c = 260.0
        stage.sources = {"tc1": self.read_probe, "flow1": self.read_flow}
        stage.part(1, {"tc1": "thermocouple", "flow1": "gas flow"}, LIMITS, cavity_volume_l=0.2)
        stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))

    def read_probe(self, t_s):
        self.temperature_c = {"below": 150.0, "above": 350.0}.get(self.probe, 260.0)
        wobble = 0.2 * math.sin(t_s)
        values = {"open-circuit": "open-circuit", "silent": None, "zero": 0.0}
        if self.probe == "jump":
            return self.temperature_c + (150 if int(t_s) % 2 else 0)
        if self.probe == "noise":
            return self.temperature_c + 90 * math.sin(37 * t_s)
        return values.get(self.probe, self.temperature_c + wobble)

    def read_flow(self, _t_s):
        values = {"on": 15.0, "none": 0.0, "silent": None, "fault": "out-of-range", "drift": -0.3}
        return values[self.flow]


def check(stage) -> None:
    answer = stage.judge.bench()
    channels = {c["name"]: c for c in answer["channels"]}
    part = answer["parts"][0]
    heat, purge = part["heat"], part["purge"]
    limits, probe, flow = part["limits"], channels["tc1"], channels["flow1"]
    if heat["verdict"] == "ready":
        assert part["phase"] == "bench"
        assert probe["part_id"] == 1
        assert probe["quality"] == "good"
        assert probe["age_s"] <= 3.5
        assert heat["temperature_c"] >= limits["preheat_min_c"]
    if part["verdict"] == "ready":
        assert heat["verdict"] == "ready"
        assert purge["verdict"] == "ready" or purge["basis"] == "not judged"
    if purge["clear"] or purge["verdict"] == "ready":
        assert limits["oxygen_max_ppm"] is not None
        assert purge["running"]
        assert flow["quality"] == "good"
        assert flow["value"] >= 0.5
    if part["pass_running"]:
        assert heat["verdict"] != "stop"
    if probe["quality"] in ("stale", "bad", "suspect", "settling"):
        assert heat["temperature_c"] is None
        assert heat["verdict"] != "ready"
    for alarm in answer["alarms"]:
        assert alarm["state"] in ("unacknowledged", "acknowledged", "returned")


@settings(
    max_examples=25,
    deadline=None,
    phases=NO_SHRINKING,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(script=steps, warm=st.integers(0, 30))
def test_doubt_is_never_ready_or_clear(new_stage, script, warm):
    stage = new_stage()
    shop = Shop(stage)
    stage.run(warm)
    for what, probe, flow, tap, seconds in script:
        if what == "probe":
            shop.probe = probe
        elif what == "flow":
            shop.flow = flow
        elif what == "tap":
            try:
                stage.act(TAPS[tap])
            except Refused:
                stage.events.pop()
            check(stage)
        for _ in range(seconds):
            stage.run(1)
            check(stage)
    assert stage.replayed() == (stage.alarms, stage.verdicts)
    told = [event for event in stage.events if not isinstance(event, Advance)]
    told.append(stage.events[-1])
    assert stage.replayed(told) == (stage.alarms, stage.verdicts)


def test_clear_never_outlives_its_gas(new_stage):
    """A purge that is clear loses that with the very reading that shows no gas."""
    stage = new_stage()
    shop = Shop(stage)
    shop.flow = "on"
    stage.act(act.BeginPurge(heat_id=1))
    for _ in range(120):
        stage.run(1)
        if stage.bench_part()["purge"]["clear"]:
            break
    assert stage.bench_part()["purge"]["clear"]
    stage.say("flow1", 0.0)
    part = stage.bench_part()
    assert not part["purge"]["clear"]
    assert part["purge"]["verdict"] == "wait"


@pytest.mark.parametrize("quality", [Quality.SUSPECT, Quality.BAD])
def test_one_doubtful_reading_is_enough(new_stage, quality):
    stage = new_stage()
    Shop(stage)
    stage.run(30)
    assert stage.bench_part()["heat"]["verdict"] == "ready"
    stage.feed(
        Reading("tc1", "Cel", 260.0, quality, "odd", stage.now_us, stage.now_us, stage.now_us, 9)
    )
    assert stage.bench_part()["heat"]["verdict"] == "unknown"
    assert stage.verdicts[-1].heat == "unknown"


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 3_000_000),
            st.floats(-100, 1500),
            st.sampled_from(list(Quality)),
            st.integers(-5_000_000, 5_000_000),
            st.booleans(),
        ),
        max_size=60,
    )
)
def test_any_readings_at_all_leave_a_plain_answer(script):
    """Odd numbers, odd times, any quality: no exception, and the answer is plain JSON."""
    import json

    judge, now_us = Judge(), 1_780_000_000_000_000
    part = act.CreatePart(part_id=1, facts=act.PartFacts(name="m"), limits=LIMITS)
    from service.judge.events import Stamp

    for action in (
        part,
        act.AdoptChannel(channel="tc1", channel_kind="thermocouple"),
        act.AssignChannel(channel="tc1", part_id=1),
        act.BeginHeat(heat_id=1, part_id=1, phase="bench"),
    ):
        judge.step(Acted(Stamp(1, now_us, now_us), action))
    for gap_us, value, quality, delay_us, timed in script:
        now_us += gap_us
        reason = None if quality is Quality.GOOD else "odd"
        judge.step(
            Reading(
                "tc1", "Cel", value, quality, reason, now_us - delay_us, now_us, now_us, 2, timed
            )
        )
        json.dumps(judge.bench(), allow_nan=False)


@settings(max_examples=6, deadline=None, phases=NO_SHRINKING)
@given(
    facts=st.fixed_dictionaries(
        {
            "mass_kg": st.one_of(st.none(), st.floats(1e-3, 2000)),
            "area_m2": st.one_of(st.none(), st.floats(1e-4, 50)),
            "cavity_volume_l": st.one_of(st.none(), st.floats(1e-6, 1000)),
            "hose_volume_l": st.floats(0, 100),
            "metal": st.sampled_from(["iron, unknown", "cast austenitic stainless"]),
        }
    ),
    low=st.one_of(st.none(), st.floats(-50, 1000)),
    oxygen=st.one_of(st.none(), st.floats(1e-3, 209_000)),
    start_c=st.floats(-40, 1300),
    slope_k_per_s=st.floats(-1, 1),
    flow=st.floats(-1, 300),
)
def test_any_part_that_may_be_described_can_be_judged(
    facts, low, oxygen, start_c, slope_k_per_s, flow
):
    """The outer limits of what the actions accept: no exception anywhere, and a plain answer."""
    import json

    from service.judge.events import Stamp

    judge, now_us = Judge(), 1_780_000_000_000_000
    limits = act.Limits(preheat_min_c=low, oxygen_max_ppm=oxygen, cooling_max_c_per_h=100)

    def do(action):
        judge.step(Acted(Stamp(1, now_us, now_us), action))

    do(act.CreatePart(part_id=1, facts=act.PartFacts(name="m", **facts), limits=limits))
    for name, kind in (("tc1", "thermocouple"), ("flow1", "gas flow")):
        do(act.AdoptChannel(channel=name, channel_kind=kind))
        do(act.AssignChannel(channel=name, part_id=1))
    do(act.BeginHeat(heat_id=1, part_id=1))
    for number in range(60):
        if number == 20:
            do(act.MovePart(heat_id=1, phase="bench"))
            do(act.BeginPurge(heat_id=1))
        if number == 50:
            do(act.MovePart(heat_id=1, phase="slow cool"))
        now_us += 1_000_000
        value = start_c + slope_k_per_s * number
        for name, unit, reading in (("tc1", "Cel", value), ("flow1", "l/min", flow)):
            judge.step(Reading(name, unit, reading, Quality.GOOD, None, now_us, now_us, now_us, 1))
        json.dumps(judge.bench(), allow_nan=False)
