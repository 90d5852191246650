"""A node that invents names: everything followed is bounded, and nothing real is forgotten."""

from service.judge import actions as act
from service.judge.room import UNADOPTED_MOST


def test_invented_names_are_bounded_and_real_channels_stay(stage):
    stage.part(channels={"tc1": "thermocouple"}, limits=act.Limits(preheat_min_c=200))
    stage.act(act.BeginHeat(part_id=1, heat_id=1, phase="bench"))
    stage.sources["tc1"] = lambda t_s: round(300 - 0.3 * t_s, 2)
    stage.sources["tc2"] = lambda t_s: 21.0  # speaks all the time, adopted by nobody
    for burst in range(20):
        stage.run(1)
        for number in range(50):
            stage.now_us += 1000
            stage.say(f"tc{10_000 + 50 * burst + number}", 20.0)
    shown = {channel["name"]: channel for channel in stage.judge.bench()["channels"]}
    assert len(shown) == UNADOPTED_MOST + 1
    assert shown["tc1"]["part_id"] == 1
    assert "tc2" in shown
    assert "tc10999" in shown, "what came last is shown: it may be a sensor just plugged in"
    assert len(stage.judge.gate.tracks) <= UNADOPTED_MOST + 1
    assert stage.judge.bench()["parts"][0]["verdict"] == "ready"
    assert stage.replayed() == (stage.alarms, stage.verdicts)
