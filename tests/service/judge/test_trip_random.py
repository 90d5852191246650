"""Random trips: whatever the arc, the button and the probe do and whoever taps what.

Checked after every second against rules written down here.
"""

from __future__ import annotations

import json
from itertools import pairwise

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from service.judge import actions as act
from service.judge.events import Refused

NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
"""A failing trip takes seconds to run; shrinking it would take minutes."""

LIMITS = act.Limits(preheat_min_c=150, interpass_max_c=380)

ARC = {"out": 0.0, "on": 90.0, "drift": 3.0, "silent": None, "fault": "out-of-range"}
PROBE = ["steady", "falls", "open-circuit", "silent"]
PRESSES = {"short": 0.2, "long": 1.5, "stuck": None}

step = st.one_of(
    st.tuples(st.just("arc"), st.sampled_from([*sorted(ARC), "on", "out"])),
    st.tuples(st.just("probe"), st.sampled_from(PROBE)),
    st.tuples(st.just("press"), st.sampled_from(sorted(PRESSES))),
    st.tuples(
        st.just("tap"),
        st.sampled_from(
            ["next", "undo", "pass", "end pass", "correct", "never", "pass never", "answer"]
        ),
    ),
    st.tuples(st.just("move"), st.sampled_from(["oven", "carry", "bench", "bench", "slow cool"])),
    st.tuples(st.just("second part"), st.sampled_from(["oven", "bench"])),
)


class Shop:
    """What really is, beside the stage that only tells the judge."""

    def __init__(self, stage) -> None:
        self.stage, self.arc, self.probe, self.temperature_c = stage, "out", "steady", 300.0
        self.level = 0.0
        stage.sources = {"tc1": self.read_probe, "arc1": lambda _t: ARC[self.arc]}
        stage.part(1, {"tc1": "thermocouple"}, LIMITS)
        stage.act(act.AdoptChannel(channel="arc1", channel_kind="arc"))
        stage.act(act.AdoptChannel(channel="button1", channel_kind="button"))
        stage.act(act.BeginHeat(heat_id=1, part_id=1))

    def read_probe(self, t_s):
        self.temperature_c -= 0.4 if self.probe == "falls" else 0.02
        wobble = ((int(t_s) * 7919) % 13 - 6) * 0.05
        values = {"open-circuit": "open-circuit", "silent": None}
        return values.get(self.probe, self.temperature_c + wobble)

    def press(self, kind):
        for level, after_s in ((1.0, PRESSES[kind]), (0.0, 0.2)):
            if after_s is not None:
                self.stage.say("button1", level)
                self.stage.now_us += round(after_s * 1e6)

    def do(self, kind, what):
        match kind:
            case "arc" | "probe":
                setattr(self, kind, what)
            case "press":
                self.press(what)
            case _:
                for action in self.actions(kind, what):
                    try:
                        self.stage.act(action)
                    except Refused:
                        del self.stage.events[-1]  # the journal keeps accepted actions only

    def actions(self, kind, what):
        bench = self.stage.judge.bench()
        trip = bench["parts"][0]["trip"]
        last, phases = trip["last_step"], trip["phases"]
        if kind == "move":
            return [act.MovePart(heat_id=1, phase=what)]
        if kind == "second part":
            made = act.CreatePart(part_id=2, facts=act.PartFacts(name="other"), limits=LIMITS)
            return [made, act.BeginHeat(heat_id=2, part_id=2, phase=what)]
        return {
            "next": [act.NextStep(heat_id=1)],
            "undo": [] if last is None else [act.UndoStep(heat_id=1, number=last["number"])],
            "pass": [act.BeginPass(heat_id=1)],
            "end pass": [act.EndPass(heat_id=1)],
            "correct": [act.CorrectPhase(heat_id=1, number=phases[-1]["number"], phase="bench")],
            "pass never": [act.CorrectPass(heat_id=1, number=1, never=True)],
            "never": [act.CorrectPhase(heat_id=1, number=phases[-1]["number"], never=True)],
            "answer": [
                act.AnswerQuestion(question_id=q["id"], heat_id=q["heat_ids"][-1])
                for q in bench["questions"]
            ],
        }[what]


def check(stage) -> None:
    answer = stage.judge.bench()
    json.dumps(answer, allow_nan=False)
    arc_quality = next(c["quality"] for c in answer["channels"] if c["name"] == "arc1")
    for part in answer["parts"]:
        if part["heat_id"] is None:
            continue
        trip, passes = part["trip"], part["pass_times"]
        phases = trip["phases"]
        assert part["phase"] == phases[-1]["phase"]
        assert all(one["phase"] != other["phase"] for one, other in pairwise(phases))
        assert all(one["began_at"] <= other["began_at"] for one, other in pairwise(phases))
        assert all(one["number"] < other["number"] for one, other in pairwise(phases))
        assert part["passes"] == len(passes) >= trip["tacks"]
        assert all(p["ended_at"] is not None for p in passes[:-1]), "one pass at a time"
        assert all(p["began_at"] <= (p["ended_at"] or answer["at"]) for p in passes)
        assert part["pass_running"] == (bool(passes) and passes[-1]["ended_at"] is None)
        if part["pass_running"]:
            assert part["phase"] == "bench"
            assert trip["arc"] == "on"
            assert trip["last_arc_s"] is None
        if part["verdict"] == "ready":
            assert part["phase"] == "bench"
            assert trip["arc"] != "unknown", "interpass is judged with the arc known out only"
        said_so = any(
            t.heat_id == part["heat_id"]
            and t.origin != "readings"
            and "pass" in (t.undone or t.kind)
            for t in stage.trips
        )
        if arc_quality != "good" and part["phase"] == "bench" and not said_so:
            assert trip["arc"] != "out"
    for question in answer["questions"]:
        assert question["heat_ids"]


@settings(
    max_examples=40,
    deadline=None,
    phases=NO_SHRINKING,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(script=st.lists(st.tuples(step, st.integers(1, 12)), min_size=5, max_size=25))
def test_no_trip_goes_wrong(new_stage, script):
    stage = new_stage()
    shop = Shop(stage)
    stage.run(40)
    for (kind, what), seconds in script:
        shop.do(kind, what)
        stage.now_us -= stage.now_us % 1_000_000
        for _ in range(seconds):
            stage.run(1)
            check(stage)
    judge = type(stage.judge)()
    trips = [trip for event in stage.events for trip in judge.step(event).trips]
    assert trips == stage.trips
