"""The bench answer: what everybody outside reads of the judge's state."""

from service.judge import actions as act
from service.judge.utc import utc_text
from service.physics.cooldown import Rate


def test_pass_times_are_those_of_the_taps_in_utc(stage):
    stage.offset_us = -3_600_000_000
    stage.part()
    stage.act(act.BeginHeat(part_id=1, heat_id=1, phase="bench"))
    expected = []
    for seconds in (12, 30):
        stage.run(5)
        began_us = stage.now_us + stage.offset_us
        stage.act(act.BeginPass(heat_id=1))
        assert times(stage) == [*expected, (utc_text(began_us), None)]
        stage.run(seconds)
        stage.act(act.EndPass(heat_id=1))
        ended_us = stage.now_us + stage.offset_us
        expected.append((utc_text(began_us), utc_text(ended_us)))
        assert times(stage) == expected


def times(stage):
    return [(each["began_at"], each["ended_at"]) for each in stage.bench_part()["pass_times"]]


def test_a_rate_that_is_not_known_is_not_shown(stage):
    stage.part(channels={"tc1": "thermocouple"}, limits=act.Limits(preheat_min_c=200))
    stage.sources["tc1"] = lambda t_s: round(340 - 0.4 * t_s, 2)
    stage.act(act.BeginHeat(part_id=1, heat_id=1, phase="bench"))
    stage.run(60)
    heat = stage.judge.state.heats[1]
    heat.rate = Rate(c_per_h=-1440.0, sd_c_per_h=60.0)
    assert stage.bench_part()["heat"]["rate_c_per_h"] == -1440.0
    heat.rate = Rate(c_per_h=-16_000.0, sd_c_per_h=9_000.0)
    assert stage.bench_part()["heat"]["rate_c_per_h"] is None


def test_a_probe_that_has_just_settled_is_no_doubt(stage):
    stage.part(channels={"tc1": "thermocouple"}, limits=act.Limits(preheat_min_c=200))
    stage.sources["tc1"] = lambda t_s: round(340 - 0.4 * t_s, 2)
    stage.act(act.BeginHeat(part_id=1, heat_id=1, phase="bench"))
    said = set()
    for _ in range(60):
        stage.run(1)
        part = stage.bench_part()
        if part["verdict"] == "ready":
            said.add(part["heat"]["window"]["reason"])
    assert said
    assert "the temperature is in doubt" not in said
