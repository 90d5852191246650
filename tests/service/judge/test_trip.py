"""Trips without taps: what the arc, the button and the temperatures say, and what a person may."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from service.judge import actions as act
from service.judge.checkpoint import decode, encode
from service.judge.events import Advance, Refused
from service.judge.judge import Judge
from service.readings import Reading

LIMITS = act.Limits(preheat_min_c=200, interpass_max_c=380)


@dataclass
class Casting:
    """A lump as in ``test_story.py``: 24 K/min bare at 350 °C, a tenth of it covered."""

    temperature_c: float = 300.0
    place: str = "oven"
    plugged: bool = True
    arc_a: float = 0.0
    cold_c: float | None = None
    """A cold probe clamped on: where its junction is."""

    def second(self, t_s):
        if self.place == "oven":
            self.temperature_c += (340.0 - self.temperature_c) / 400.0
        else:
            loss = 0.4 * (max(0.0, self.temperature_c - 20.0) / 330.0) ** 1.3
            self.temperature_c -= 0.1 * loss if self.place == "cover" else loss
            self.temperature_c += 0.9 if self.arc_a > 10 else 0.0
        noise = ((int(t_s) * 7919) % 13 - 6) * 0.05
        return round((self.temperature_c + noise) * 4) / 4 if self.plugged else "open-circuit"

    def clamped(self, t_s):
        """The second probe: lying on the bench until it is clamped on cold."""
        if self.cold_c is None:
            return "open-circuit"
        self.cold_c += (self.temperature_c - self.cold_c) * 0.28
        return round((self.cold_c + ((int(t_s) * 31) % 7 - 3) * 0.05) * 4) / 4


@pytest.fixture
def casting():
    return Casting()


@pytest.fixture
def shop(stage, casting):
    """A hot casting in the oven with one probe, and an arc channel that belongs to no part."""
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.sources = {"tc1": casting.second, "arc1": lambda _t: casting.arc_a}
    stage.part(1, {"tc1": "thermocouple"}, LIMITS)
    stage.act(act.AdoptChannel(channel="arc1", channel_kind="arc"))
    stage.act(act.BeginHeat(heat_id=1, part_id=1))
    return stage


def trip(stage, number=1):
    return stage.bench_part(number)["trip"]


def steps(stage):
    return [(t.kind, t.phase or t.number, t.origin) for t in stage.trips]


def carry(stage, casting, seconds=35):
    casting.plugged = False
    casting.place = "bench"
    stage.run(seconds)
    casting.plugged = True
    stage.run(45)


def weld(stage, casting, seconds=40, amps=95.0):
    casting.arc_a = amps
    stage.run(seconds)
    casting.arc_a = 0.0
    stage.run(8)


# --- a heat without a tap ------------------------------------------------------------------------


def test_a_clean_heat_by_the_readings_alone(shop, casting):
    shop.run(60)
    left_s = shop.t_s
    carry(shop, casting)
    part = shop.bench_part()
    assert part["phase"] == "bench"
    assert part["verdict"] == "ready"
    assert [p["origin"] for p in part["trip"]["phases"]] == ["tap", "readings", "readings"]

    shop.run(90)  # fit-up and brushing: what it loses bare is learnt
    weld(shop, casting, 3, 60.0)
    weld(shop, casting, 40)
    casting.arc_a = 95.0
    shop.run(20)
    assert shop.bench_part()["pass_running"]
    assert trip(shop)["arc"] == "on"
    assert trip(shop)["arc_s"] == pytest.approx(3 + 40 + 20, abs=2)
    casting.arc_a = 0.0
    shop.run(30)
    part = shop.bench_part()
    assert not part["pass_running"]
    assert part["passes"] == 3
    assert [each["origin"] for each in part["pass_times"]] == ["readings"] * 3
    assert part["trip"]["last_arc_s"] == pytest.approx(30, abs=1.5)

    casting.place = "cover"
    shop.run(400)
    part = shop.bench_part()
    assert part["phase"] == "slow cool"
    assert part["trip"]["phase_origin"] == "readings"
    assert part["trip"]["last_arc_s"] is None
    assert part["trip"]["covered_after_s"] > 30
    assert steps(shop) == [
        ("move part", "carry", "readings"),
        ("move part", "bench", "readings"),
        *[(kind, n, "readings") for n in (1, 2, 3) for kind in ("begin pass", "end pass")],
        ("move part", "slow cool", "readings"),
    ]
    carried = shop.trips[0]
    assert (carried.since_us - shop.events[0].stamp.utc_us) / 1e6 == pytest.approx(left_s, abs=3)
    assert not [a for a in shop.alarms if a.kind in ("sensor fault", "no data")]


def test_the_same_readings_find_the_same_steps(shop, casting):
    shop.run(60)
    carry(shop, casting)
    weld(shop, casting)
    told = list(shop.trips)
    assert told
    judge, found = Judge(), []
    for event in shop.events:
        found += judge.step(event).trips
    assert found == told
    judge, found = Judge(), []
    for event in [e for e in shop.events if not isinstance(e, Advance)]:
        found += judge.step(event).trips
    found += judge.step(shop.events[-1]).trips
    assert found == told, "wherever time was told"


def test_a_judge_taken_up_from_a_checkpoint_goes_on_alike(shop, casting):
    shop.run(60)
    carry(shop, casting)
    casting.arc_a = 90.0
    shop.run(5)
    kept = encode((shop.judge.state, shop.judge.gate), "v")
    before = len(shop.events)
    casting.arc_a = 0.0
    shop.run(20)
    again = Judge(*decode(kept, "v"))
    found = []
    for event in shop.events[before:]:
        found += again.step(event).trips
    assert found == shop.trips[-len(found) :]
    assert [t.kind for t in found] == ["end pass"]
    assert again.bench() == shop.judge.bench()


def test_without_the_arc_readings_there_is_no_pass(shop, casting):
    shop.run(60)
    carry(shop, casting)
    weld(shop, casting)
    judge, found = Judge(), []
    for event in shop.events:
        if isinstance(event, Reading) and event.channel == "arc1" and event.value:
            continue
        found += judge.step(event).trips
    assert {t.kind for t in found} == {"move part"}


# --- phases, conservatively ----------------------------------------------------------------------


def test_one_broken_probe_in_a_warming_oven_is_no_carry(shop, casting):
    casting.temperature_c = 120.0
    shop.run(60)
    casting.plugged = False
    shop.run(120)
    assert shop.bench_part()["phase"] == "oven"
    assert shop.states("sensor fault") == ["unacknowledged"]


def test_a_door_opened_for_a_moment_is_no_carry(shop, casting):
    shop.run(60)
    for _ in range(20):
        casting.temperature_c -= 0.3
        shop.run(1)
    shop.run(120)
    assert shop.bench_part()["phase"] == "oven"


def test_a_node_that_falls_silent_is_no_carry(shop, casting):
    shop.run(60)
    source = shop.sources.pop("tc1")
    shop.run(60)
    assert shop.bench_part()["phase"] == "oven"
    shop.sources["tc1"] = source
    shop.run(30)
    assert shop.trips == []


def test_plugged_in_again_in_the_oven_is_no_landing(shop, casting):
    shop.run(60)
    casting.plugged = False
    shop.run(10)
    assert shop.bench_part()["phase"] == "carry"
    casting.plugged = True
    shop.run(120)
    assert shop.bench_part()["phase"] == "carry", "it does not cool: it is not on the bench"


def test_it_may_leave_with_its_probe_plugged_in(shop, casting):
    casting.temperature_c = 330.0
    shop.run(60)
    casting.place = "bench"
    shop.run(100)
    assert shop.bench_part()["phase"] == "carry"
    assert trip(shop)["phase_origin"] == "readings"


def test_what_was_taken_back_is_not_found_again(shop, casting):
    shop.run(60)
    casting.plugged = False
    shop.run(10)
    last = trip(shop)["last_step"]
    assert (last["kind"], last["phase"], last["origin"]) == ("move part", "carry", "readings")
    shop.act(act.UndoStep(heat_id=1, number=last["number"]))
    shop.run(60)
    assert shop.bench_part()["phase"] == "oven"
    shop.act(act.MovePart(heat_id=1, phase="carry"))
    assert trip(shop)["phase_origin"] == "tap"


def test_a_tap_confirms_what_was_seen(shop, casting):
    shop.run(60)
    casting.plugged = False
    casting.place = "bench"
    shop.run(10)
    seen = trip(shop)["phases"][-1]
    shop.act(act.MovePart(heat_id=1, phase="carry"))
    assert trip(shop)["phases"][-1] == {**seen, "origin": "tap"}
    with pytest.raises(Refused, match="already in the phase"):
        shop.act(act.MovePart(heat_id=1, phase="carry"))


def test_a_tap_before_the_evidence_wins(shop, casting):
    shop.run(60)
    shop.act(act.MovePart(heat_id=1, phase="carry"))
    casting.plugged = False
    casting.place = "bench"
    shop.run(20)
    shop.act(act.MovePart(heat_id=1, phase="bench"))
    casting.plugged = True
    shop.run(60)
    assert steps(shop) == [("move part", "carry", "tap"), ("move part", "bench", "tap")]


def test_a_lull_after_the_arc_is_no_cover(shop, casting):
    shop.run(60)
    carry(shop, casting)
    shop.run(60)
    weld(shop, casting)
    held = casting.temperature_c
    for _ in range(100):  # the heat of the bead arrives at the probe and holds it up
        casting.temperature_c = held
        shop.run(1)
    shop.run(300)
    assert shop.bench_part()["phase"] == "bench"


# --- the carry -----------------------------------------------------------------------------------


def test_a_cold_second_probe_takes_over_after_the_carry(shop, casting):
    """The oven's lead stays at the oven; a cold probe is clamped on at the bench."""
    shop.act(act.AdoptChannel(channel="tc2", channel_kind="thermocouple"))
    shop.act(act.AssignChannel(channel="tc2", part_id=1))
    shop.sources["tc2"] = casting.clamped
    shop.run(60)
    part = shop.bench_part()
    assert part["heat"]["verdict"] == "wait", "a probe that lies ready is not on the part yet"
    assert part["heat"]["temperature_c"] > 290
    assert not shop.alarms

    casting.plugged = False
    casting.place = "bench"
    shop.run(30)
    part = shop.bench_part()
    assert part["phase"] == "carry"
    assert part["heat"]["verdict"] == "unknown"
    assert part["heat"]["temperature_c"] is None
    casting.cold_c = 20.0
    shop.run(4)
    assert shop.bench_part()["heat"]["verdict"] == "unknown", "the cold probe settles"
    shop.run(60)
    part = shop.bench_part()
    assert part["phase"] == "bench"
    assert trip(shop)["phase_origin"] == "readings"
    assert part["heat"]["verdict"] == "ready"
    assert part["heat"]["temperature_c"] == pytest.approx(casting.temperature_c, abs=2)
    shop.run(400)
    assert {a.kind for a in shop.alarms} == {"below preheat"}, "the lead left behind is no fault"


@pytest.mark.parametrize(("limit_s", "kept_s"), [(60, 60), (None, 300)])
def test_the_carry_may_take_as_long_as_the_procedure_says(shop, casting, limit_s, kept_s):
    limits = act.Limits(preheat_min_c=200, interpass_max_c=380, carry_max_s=limit_s)
    shop.act(act.SetLimits(part_id=1, limits=limits))
    shop.run(60)
    casting.plugged = False
    casting.place = "bench"
    shop.run(kept_s - 5)
    assert shop.alarms == []
    assert "probably" in shop.bench_part()["next"], "the model's wide bounds meanwhile"
    shop.run(20)
    assert shop.states("sensor fault") == ["unacknowledged"]
    assert "too long" in shop.bench_part()["next"]


# --- the arc's doubt and whose it is -------------------------------------------------------------


@pytest.fixture
def on_bench(shop, casting):
    shop.run(60)
    carry(shop, casting)
    shop.trips.clear()
    return shop


@pytest.mark.parametrize("trouble", ["silent", "out-of-range"])
def test_an_arc_channel_in_doubt_is_no_arc_out(on_bench, casting, trouble):
    on_bench.sources["arc1"] = lambda _t: None if trouble == "silent" else trouble
    on_bench.run(6)
    part = on_bench.bench_part()
    assert part["trip"]["arc"] == "unknown"
    assert part["heat"]["verdict"] == part["verdict"] == "unknown"
    on_bench.act(act.BeginPass(heat_id=1))
    on_bench.run(20)
    on_bench.act(act.EndPass(heat_id=1))
    on_bench.run(60)
    assert on_bench.bench_part()["verdict"] == "ready", "a person has said that the arc is out"


def test_without_an_interpass_limit_the_arc_is_not_asked_for(on_bench):
    on_bench.act(act.SetLimits(part_id=1, limits=act.Limits(preheat_min_c=200)))
    on_bench.sources["arc1"] = lambda _t: None
    on_bench.run(6)
    assert on_bench.bench_part()["verdict"] == "ready"


def test_silence_in_mid_pass_ends_no_pass(on_bench, casting):
    casting.arc_a = 90.0
    on_bench.run(10)
    source = on_bench.sources.pop("arc1")
    on_bench.run(30)
    assert on_bench.bench_part()["pass_running"]
    casting.arc_a = 0.0
    on_bench.sources["arc1"] = source
    on_bench.run(3)
    (weld_pass,) = on_bench.bench_part()["pass_times"]
    assert weld_pass["ended_at"] is not None
    assert weld_pass["arc_s"] == pytest.approx(10, abs=1.5), "what was not seen is not counted"


@pytest.fixture
def two_on_bench(on_bench, casting):
    on_bench.sources["tc7"] = lambda t: round(4 * (300 - 0.3 * (t % 300))) / 4
    on_bench.part(2, {"tc7": "thermocouple"}, LIMITS)
    on_bench.act(act.BeginHeat(heat_id=2, part_id=2, phase="bench"))
    on_bench.run(20)
    return on_bench


def test_an_arc_that_may_be_on_either_part_asks(two_on_bench, casting):
    weld(two_on_bench, casting, 30)
    assert two_on_bench.trips == [], "nothing is guessed"
    (question,) = two_on_bench.judge.bench()["questions"]
    assert question["kind"] == "arc"
    assert question["heat_ids"] == [1, 2]
    assert "manifold 1 and manifold 2" in question["text"]
    for number in (1, 2):
        assert two_on_bench.bench_part(number)["heat"]["verdict"] == "unknown"
    asked_at_us = two_on_bench.now_us
    two_on_bench.run(60)
    two_on_bench.act(act.AnswerQuestion(question_id=question["id"], heat_id=2))
    assert two_on_bench.judge.bench()["questions"] == []
    (weld_pass,) = two_on_bench.bench_part(2)["pass_times"]
    assert weld_pass["arc_s"] == pytest.approx(30, abs=1.5)
    assert two_on_bench.trips[-1].since_us < asked_at_us, "dated when it was, not when it was said"
    assert two_on_bench.bench_part(1)["passes"] == 0


def test_answered_while_it_burns_and_good_for_the_next_stitch(two_on_bench, casting):
    casting.arc_a = 90.0
    two_on_bench.run(5)
    (question,) = two_on_bench.judge.bench()["questions"]
    with pytest.raises(Refused, match="not one of those"):
        two_on_bench.act(act.AnswerQuestion(question_id=question["id"], heat_id=9))
    two_on_bench.act(act.AnswerQuestion(question_id=question["id"], heat_id=1))
    assert two_on_bench.bench_part(1)["pass_running"]
    casting.arc_a = 0.0
    two_on_bench.run(20)
    weld(two_on_bench, casting, 10)
    assert two_on_bench.bench_part(1)["passes"] == 2
    two_on_bench.run(200)
    weld(two_on_bench, casting, 10)
    assert two_on_bench.judge.bench()["questions"], "after a while it may be the other part"


def test_none_of_them(two_on_bench, casting):
    weld(two_on_bench, casting, 10)
    (question,) = two_on_bench.judge.bench()["questions"]
    two_on_bench.act(act.AnswerQuestion(question_id=question["id"], heat_id=None))
    two_on_bench.run(5)
    assert two_on_bench.trips == []
    assert two_on_bench.bench_part(1)["verdict"] == "ready"
    with pytest.raises(Refused, match="no question"):
        two_on_bench.act(act.AnswerQuestion(question_id=question["id"], heat_id=None))


def test_a_pass_that_was_tapped_keeps_its_arc(two_on_bench, casting):
    two_on_bench.act(act.BeginPass(heat_id=2))
    weld(two_on_bench, casting, 15)
    assert not two_on_bench.bench_part(2)["pass_running"], "the channel saw it go out"
    assert two_on_bench.judge.bench()["questions"] == []
    (weld_pass,) = two_on_bench.bench_part(2)["pass_times"]
    assert (weld_pass["origin"], weld_pass["arc_s"]) == ("tap", pytest.approx(15, abs=1.5))


def test_an_arc_of_the_parts_own_needs_no_question(two_on_bench, casting):
    two_on_bench.act(act.AssignChannel(channel="arc1", part_id=2))
    weld(two_on_bench, casting, 15)
    assert two_on_bench.bench_part(2)["passes"] == 1
    assert two_on_bench.bench_part(1)["passes"] == 0


def test_an_arc_with_every_part_in_the_oven_is_other_work(shop, casting):
    shop.run(60)
    weld(shop, casting, 20)
    assert shop.trips == []
    assert shop.judge.bench()["questions"] == []


def test_the_arc_of_a_carried_part_asks_unless_it_is_its_own(shop, casting):
    shop.run(60)
    casting.plugged = False
    casting.place = "bench"
    shop.run(10)
    weld(shop, casting, 10)
    (question,) = shop.judge.bench()["questions"]
    assert question["heat_ids"] == [1]
    shop.act(act.AnswerQuestion(question_id=question["id"], heat_id=1))
    assert shop.bench_part()["phase"] == "bench"
    assert shop.bench_part()["passes"] == 1


def test_a_tap_ends_the_pass_though_the_channel_still_shows_an_arc(on_bench, casting):
    casting.arc_a = 90.0
    on_bench.run(10)
    on_bench.act(act.EndPass(heat_id=1))
    on_bench.run(10)
    assert not on_bench.bench_part()["pass_running"]
    assert trip(on_bench)["arc"] == "unknown"
    assert on_bench.bench_part()["passes"] == 1
    casting.arc_a = 0.0
    on_bench.run(10)
    weld(on_bench, casting, 10)
    assert on_bench.bench_part()["passes"] == 2


# --- next, back, and corrections -----------------------------------------------------------------


def press(stage, seconds=0.2):
    """The button is pressed and let go."""
    stage.now_us += 100_000
    stage.say("button1", 1.0)
    stage.now_us += round(seconds * 1e6)
    stage.say("button1", 0.0)
    stage.now_us -= stage.now_us % 1_000_000
    stage.run(2)


@pytest.fixture
def button(stage, casting):
    """No arc channel, one button."""
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    casting.temperature_c = 330.0
    stage.sources = {"tc1": casting.second}
    limits = act.Limits(preheat_min_c=200, interpass_max_c=380, oxygen_max_ppm=100)
    stage.part(1, {"tc1": "thermocouple"}, limits, cavity_volume_l=1.0)
    stage.act(act.AdoptChannel(channel="button1", channel_kind="button"))
    stage.act(act.BeginHeat(heat_id=1, part_id=1))
    stage.run(10)
    return stage


def test_each_press_is_the_next_step_and_a_long_one_goes_back(button):
    wanted = ["move part", "move part", "begin purge", "begin pass", "end pass", "begin pass"]
    for kind in wanted:
        assert trip(button)["next_step"]["kind"] == kind
        press(button)
    assert [t.kind for t in button.trips] == wanted
    assert {t.origin for t in button.trips} == {"button"}
    press(button, 1.5)
    assert button.trips[-1].undone == "begin pass"
    assert button.bench_part()["passes"] == 1
    press(button, 1.5)
    assert button.bench_part()["pass_running"], "its end was taken back too"
    press(button)
    assert not button.bench_part()["pass_running"]


def test_a_bouncing_button_is_pressed_once(button):
    for level in (1.0, 0.0, 1.0, 0.0, 1.0):
        button.now_us += 4_000
        button.say("button1", level)
    button.now_us += 300_000
    button.say("button1", 0.0)
    button.now_us += 680_000
    button.run(2)
    assert [t.phase for t in button.trips] == ["carry"]


def test_a_button_with_two_parts_in_the_oven_asks(button):
    button.part(2, limits=LIMITS)
    button.act(act.BeginHeat(heat_id=2, part_id=2))
    press(button)
    assert button.trips == []
    (question,) = button.judge.bench()["questions"]
    assert (question["kind"], question["heat_ids"]) == ("next", [1, 2])
    button.act(act.AnswerQuestion(question_id=question["id"], heat_id=2))
    assert button.bench_part(2)["phase"] == "carry"
    press(button)
    assert button.bench_part(2)["phase"] == "bench", "the part at hand, not the one in the oven"


def test_a_question_nobody_answers_goes_away(button):
    button.part(2, limits=LIMITS)
    button.act(act.BeginHeat(heat_id=2, part_id=2))
    press(button)
    button.run(905)
    assert button.judge.bench()["questions"] == []


def test_next_by_a_tap(button):
    button.act(act.NextStep(heat_id=1))
    assert steps(button) == [("move part", "carry", "tap")]
    button.act(act.NextStep(heat_id=1, token="once"))
    button.act(act.NextStep(heat_id=1, token="once"))
    assert button.bench_part()["phase"] == "bench"
    assert not button.bench_part()["purge"]["running"], "the same tap twice is one"
    button.act(act.MovePart(heat_id=1, phase="slow cool"))
    assert trip(button)["next_step"] is None
    with pytest.raises(Refused, match="No next step"):
        button.act(act.NextStep(heat_id=1))


def test_with_an_arc_channel_next_is_the_cover(on_bench, casting):
    assert trip(on_bench)["next_step"] is None
    weld(on_bench, casting)
    assert trip(on_bench)["next_step"] == {"kind": "move part", "phase": "slow cool"}


def test_only_the_last_step_is_taken_back(button):
    button.act(act.NextStep(heat_id=1))
    first = trip(button)["last_step"]["number"]
    button.act(act.NextStep(heat_id=1))
    with pytest.raises(Refused, match="Another step"):
        button.act(act.UndoStep(heat_id=1, number=first))
    button.act(act.UndoStep(heat_id=1, number=first + 1))
    button.act(act.UndoStep(heat_id=1, number=first))
    assert button.bench_part()["phase"] == "oven"
    with pytest.raises(Refused, match="no step"):
        button.act(act.UndoStep(heat_id=1, number=first))


def test_a_purge_ended_by_mistake_counts_anew(button):
    for _ in range(3):
        button.act(act.NextStep(heat_id=1))
    button.run(30)
    button.act(act.EndPurge(heat_id=1))
    button.act(act.UndoStep(heat_id=1, number=4))
    purge = button.bench_part()["purge"]
    assert purge["running"]
    assert any("counted anew" in reason for reason in purge["reasons"])


def test_a_phase_is_corrected_without_touching_readings(shop, casting):
    shop.run(60)
    carry(shop, casting)
    readings = [e for e in shop.events if isinstance(e, Reading)]
    phases = trip(shop)["phases"]
    landed = shop.trips[-1]
    shop.act(
        act.CorrectPhase(heat_id=1, number=3, began_us=landed.since_us - 9_000_000, by="the welder")
    )
    after = trip(shop)["phases"]
    assert after[:2] == phases[:2]
    assert after[2]["corrected"]
    assert after[2]["origin"] == "tap"
    assert after[2]["began_at"] < phases[2]["began_at"]
    assert shop.trips[-1].by == "the welder"
    assert [e for e in shop.events if isinstance(e, Reading)] == readings

    shop.act(act.CorrectPhase(heat_id=1, number=3, never=True))
    assert shop.bench_part()["phase"] == "carry"
    shop.run(60)
    assert shop.bench_part()["phase"] == "carry", "what never was is not found again"
    shop.act(act.CorrectPhase(heat_id=1, number=2, phase="bench"))
    assert shop.bench_part()["phase"] == "bench"


@pytest.mark.parametrize(
    ("correction", "words"),
    [
        ({"number": 1, "never": True}, "begins with its first phase"),
        ({"number": 7, "phase": "oven"}, "no phase 7"),
        ({"number": 2, "phase": "oven"}, "into the same phase"),
        ({"number": 2, "began_us": 5}, "not between"),
        ({"number": 1, "began_us": 5}, "begins with the heat"),
    ],
)
def test_a_correction_that_cannot_be_is_refused(button, correction, words):
    button.act(act.NextStep(heat_id=1))
    with pytest.raises(Refused, match=words):
        button.act(act.CorrectPhase(heat_id=1, **correction))


@pytest.fixture
def welded(button):
    """On the bench with two passes welded."""
    for _ in range(2):
        button.act(act.NextStep(heat_id=1))
    for _ in range(2):
        button.act(act.BeginPass(heat_id=1))
        button.run(20)
        button.act(act.EndPass(heat_id=1))
        button.run(20)
    return button


def test_a_pass_is_corrected(welded):
    first, second = welded.bench_part()["pass_times"]
    struck, out = welded.trips[-2].since_us, welded.trips[-1].since_us
    welded.act(act.CorrectPass(heat_id=1, number=2, ended_us=out + 10_000_000, by="the welder"))
    after = welded.bench_part()
    assert after["pass_times"][0] == first
    assert after["pass_times"][1]["ended_at"] > second["ended_at"]
    assert after["pass_times"][1]["corrected"]
    assert after["trip"]["last_arc_s"] == pytest.approx(10, abs=1)
    assert welded.trips[-1].by == "the welder"
    assert "pass 2 corrected" in welded.trips[-1].text

    welded.act(act.CorrectPass(heat_id=1, number=2, began_us=struck, ended_us=struck + 2_000_000))
    assert welded.bench_part()["pass_times"][1]["tack"]
    assert welded.bench_part()["trip"]["tacks"] == 1
    welded.act(act.CorrectPass(heat_id=1, number=1, never=True))
    assert [each["number"] for each in welded.bench_part()["pass_times"]] == [2]
    assert welded.bench_part()["passes"] == 1
    welded.act(act.BeginPass(heat_id=1))
    assert welded.trips[-1].number == 3, "a number that was given is not given again"


def test_a_heat_that_has_ended_is_corrected(welded):
    out = welded.trips[-1].since_us
    welded.act(act.MovePart(heat_id=1, phase="slow cool"))
    covered = welded.trips[-1].since_us
    welded.act(act.EndHeat(heat_id=1))
    welded.act(act.CorrectPass(heat_id=1, number=2, ended_us=out - 5_000_000))
    assert welded.trips[-1].kind == "correct pass"
    welded.act(act.CorrectPhase(heat_id=1, number=4, began_us=covered - 1_000_000))
    heat = welded.judge.shop.heats[1]
    assert heat.covered_after_us == pytest.approx(heat.phases[-1].since_us - heat.arc_out_us)
    assert heat.phases[-1].since_utc_us == covered - 1_000_000
    assert heat.welds[-1].ended_utc_us == out - 5_000_000
    with pytest.raises(Refused, match="not between"):
        welded.act(act.CorrectPass(heat_id=1, number=2, ended_us=covered + 10**12))
    with pytest.raises(Refused, match="no heat 9"):
        welded.act(act.CorrectPhase(heat_id=9, number=1, phase="bench"))


@pytest.mark.parametrize(
    ("correction", "words"),
    [
        ({"number": 5, "never": True}, "no pass 5"),
        ({"number": 1, "began_us": 5}, "not between"),
        ({"number": 2, "began_us": 5}, "not between"),
        ({"number": 3, "never": True}, "still running"),
        ({"number": 3, "ended_us": 5}, "still running"),
    ],
)
def test_a_correction_of_a_pass_that_cannot_be_is_refused(welded, correction, words):
    welded.act(act.BeginPass(heat_id=1))
    before = welded.bench_part()
    with pytest.raises(Refused, match=words):
        welded.act(act.CorrectPass(heat_id=1, **correction))
    assert welded.bench_part() == before


def test_a_running_pass_began_earlier(welded):
    welded.act(act.BeginPass(heat_id=1))
    begun = welded.trips[-1].since_us
    welded.act(act.CorrectPass(heat_id=1, number=3, began_us=begun - 5_000_000))
    welded.run(1)
    heat = welded.judge.shop.heats[1]
    assert heat.pass_running
    assert heat.pass_since_us == heat.welds[-1].began_us
    welded.act(act.EndPass(heat_id=1))
    assert heat.welds[-1].began_utc_us == begun - 5_000_000


def test_a_correction_must_say_something():
    for nothing in ({}, {"never": True, "ended_us": 5}):
        with pytest.raises(ValueError, match=r"never|corrected"):
            act.CorrectPass(heat_id=1, number=1, **nothing)
    for nothing in ({}, {"never": True, "phase": "oven"}):
        with pytest.raises(ValueError, match=r"never|corrected"):
            act.CorrectPhase(heat_id=1, number=1, **nothing)
