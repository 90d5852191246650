"""The soak in the oven and the bare hand under the cover, in words and figures."""

from __future__ import annotations

import math

import pytest

from service.judge import actions as act
from service.judge.ahead import LET_GO_K, SOAK_S, THICKEST_MM, TOUCH_C, Ahead
from service.physics.weld_heat import preheat_soak_min
from service.readings import Forecast, Spread

ABOVE = Forecast(Spread(0.0, 0.0, 0.0), "already above")
LIMITS = act.Limits(preheat_min_c=250, interpass_max_c=350)


def at(seconds: float) -> int:
    return int(seconds * 1e6)


def soaking(*seen: tuple[float, float | None]) -> Ahead:
    """In the oven at these times [s] with these coldest probes [°C]; preheat from 250 °C."""
    ahead = Ahead()
    for t_s, coldest_c in seen:
        ahead.look(at(t_s), "oven", coldest_c, 250.0)
    return ahead


def rest_s(ahead: Ahead, now_s: float) -> float:
    ahead.ask(at(now_s), "oven", ABOVE, [])
    assert ahead.comes_in is not None
    assert ahead.comes_in.time_left_s is not None
    return ahead.comes_in.time_left_s.p50


def test_the_soak_holds_for_the_section_it_names():
    # The least soak is a quarter of an hour; thicker sections need longer by the slab's series.
    assert SOAK_S == 60.0 * 15.0
    assert preheat_soak_min(THICKEST_MM) == 15.0 < preheat_soak_min(THICKEST_MM + 10.0)


def test_it_counts_from_when_the_coldest_probe_is_at_preheat():
    ahead = soaking((0.0, 240.0), (100.0, 250.0), (200.0, 252.0))
    assert rest_s(ahead, 400.0) == pytest.approx(SOAK_S - 300.0)
    assert ahead.words == (
        "soaked in about 10:00, at most 10:00 (15 min above 250 °C; longer where a section is "
        "thicker than 140 mm)"
    )
    assert rest_s(ahead, 1001.0) == 0.0
    assert ahead.words == "soaked: 15 min above 250 °C"


def test_noise_and_doubt_do_not_end_it_and_cold_does():
    ahead = soaking((0.0, 251.0), (60.0, 250.5 - LET_GO_K), (70.0, None), (80.0, 250.2))
    assert rest_s(ahead, 100.0) == pytest.approx(SOAK_S - 100.0)
    ahead = soaking((0.0, 251.0), (60.0, 249.0 - LET_GO_K), (80.0, 250.2))
    assert rest_s(ahead, 100.0) == pytest.approx(SOAK_S - 20.0)


def test_out_of_the_oven_or_with_another_limit_it_begins_anew():
    ahead = soaking((0.0, 260.0))
    ahead.look(at(50.0), "carry", 258.0, 250.0)
    ahead.look(at(60.0), "oven", 256.0, 250.0)
    assert rest_s(ahead, 60.0) == SOAK_S
    ahead.look(at(90.0), "oven", 256.0, 240.0)
    assert rest_s(ahead, 90.0) == SOAK_S


def test_before_preheat_the_soak_comes_on_top_and_what_is_not_known_is_said():
    ahead = soaking((0.0, 200.0))
    ahead.ask(at(1.0), "oven", Forecast(Spread(300.0, 400.0, None), None), [])
    assert ahead.words is not None
    assert ahead.words.startswith("soaked in about 21:40, no upper end known (15 min above 250 °C")
    ahead.ask(at(2.0), "oven", Forecast(None, "not rising"), [])
    assert ahead.words == "when it is soaked cannot be said: not rising"
    ahead.ask(at(3.0), "oven", None, [])
    assert ahead.words is None


def test_under_the_cover_the_last_probe_counts():
    ahead = Ahead()
    soon, late = Spread(3000.0, 3600.0, 4000.0), Spread(9000.0, 10800.0, 12600.0)
    ahead.ask(0, "slow cool", None, [Forecast(soon, None), Forecast(late, None)])
    assert ahead.words == "safe to touch in about 3 h 00 min, at most 3 h 30 min (below 43 °C)"
    ahead.ask(0, "slow cool", None, [Forecast(soon, None), None])
    assert ahead.words is not None
    assert ahead.words.startswith("when it is safe to touch cannot be said")
    ahead.ask(0, "slow cool", None, [Forecast(Spread(0.0, 0.0, 0.0), "already below")])
    assert ahead.words == "below 43 °C where it is measured: safe to touch there"
    ahead.ask(0, "bench", None, [Forecast(soon, None)])
    assert ahead.words is None


def later_of(stage):
    return stage.bench_part()["heat"]["later"]


def test_the_bench_tells_the_soak_in_the_oven_and_nothing_on_the_bench(stage):
    """An oven at 400 °C: 250 °C comes after 600·ln(350/150) = 508 s, the soak 900 s later."""
    stage.sources["tc1"] = lambda t: 400.0 - 350.0 * math.exp(-t / 600.0)
    stage.part(1, {"tc1": "thermocouple"}, LIMITS)
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="oven"))
    stage.run(360)
    later = later_of(stage)
    assert later["what"] == "soaked"
    if later["in_s"] is not None:
        assert later["in_s"]["p05"] > SOAK_S
    stage.run(400)
    later = later_of(stage)
    done_s = 600.0 * math.log(350.0 / 150.0) + SOAK_S
    assert later["in_s"]["p50"] == pytest.approx(done_s - stage.t_s, abs=15.0)
    assert "15 min above 250 °C" in later["text"]
    stage.run(done_s - stage.t_s + 20)
    assert later_of(stage)["text"] == "soaked: 15 min above 250 °C"
    stage.act(act.MovePart(heat_id=1, phase="bench"))
    stage.run(6)
    assert later_of(stage) is None


def test_the_bench_tells_when_it_is_safe_to_touch_under_the_cover(stage):
    """Newton's law under a blanket in air of 20 °C: 43 °C after 3000·ln(180/23) s."""
    stage.sources["tc1"] = lambda t: 20.0 + 180.0 * math.exp(-t / 3000.0)
    stage.sources["room1"] = lambda _t: 20.0
    stage.part(1, {"tc1": "thermocouple"}, LIMITS)
    stage.act(act.AdoptChannel(channel="room1", channel_kind="ambient"))
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.act(act.MovePart(heat_id=1, phase="slow cool"))
    stage.run(900)
    later = later_of(stage)
    assert later["what"] == "safe to touch"
    truth_s = 3000.0 * math.log(180.0 / (TOUCH_C - 20.0)) - stage.t_s
    # Convection goes with less than the first power of the excess here, so only roughly.
    assert later["in_s"]["p05"] < 1.3 * truth_s
    assert later["in_s"]["p50"] == pytest.approx(truth_s, rel=0.4)
    assert "safe to touch in about" in later["text"]
    assert "(below 43 °C)" in later["text"]
