"""The bench answer: what everybody outside reads of the judge's state."""

from service.judge import actions as act
from service.judge.bench import utc_text


def test_pass_times_are_those_of_the_taps_in_utc(stage):
    stage.offset_us = -3_600_000_000
    stage.part()
    stage.act(act.BeginHeat(part_id=1, heat_id=1, phase="bench"))
    expected = []
    for seconds in (12, 30):
        stage.run(5)
        began_us = stage.now_us + stage.offset_us
        stage.act(act.BeginPass(heat_id=1))
        assert stage.bench_part()["pass_times"] == [
            *expected,
            {"began_at": utc_text(began_us), "ended_at": None},
        ]
        stage.run(seconds)
        stage.act(act.EndPass(heat_id=1))
        ended_us = stage.now_us + stage.offset_us
        expected.append({"began_at": utc_text(began_us), "ended_at": utc_text(ended_us)})
        assert stage.bench_part()["pass_times"] == expected
