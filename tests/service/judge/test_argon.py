"""The argon bottle: counted by the second, left by its gauge or by what was typed in."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from service.judge import actions as act
from service.judge import checkpoint
from service.judge.events import Refused
from service.readings import Reading

BOTTLE = act.SetBottle(water_volume_l=50, pressure_pa=100e5, torch_flow_l_min=8)
FULL_L = 50 * 100e5 / 101_325
"""Ideal gas at 20 °C, down to the pressure of the air: own calculation."""


@pytest.fixture
def shop(stage):
    """A part with a purge at 12 l/min, its bottle just set."""
    stage.flow_l_min = 12.0
    stage.sources["flow1"] = lambda _t: stage.flow_l_min
    stage.sources["tc1"] = lambda t: 200.0 + 0.4 * (t % 2)
    stage.part(1, {"tc1": "thermocouple", "flow1": "gas flow"}, cavity_volume_l=1.0)
    stage.act(act.SetLimits(part_id=1, limits=act.Limits(oxygen_max_ppm=100)))
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(10)
    stage.act(BOTTLE)
    return stage


def argon(stage):
    return stage.judge.bench()["argon"]


def test_nothing_is_said_of_a_bottle_nobody_has_set(stage) -> None:
    stage.run(2)
    assert argon(stage)["left_l"] is None
    assert argon(stage)["basis"] == "unknown"
    assert argon(stage)["reason"] == "the size of the bottle has not been said"


def test_purge_and_torch_are_counted_apart(shop) -> None:
    shop.run(60)
    shop.act(act.BeginPass(heat_id=1))
    shop.run(30)
    shop.act(act.EndPass(heat_id=1))
    shop.run(30)
    told = argon(shop)
    # 12 l/min for 120 s, 8 l/min for the 30 s of the pass; a second more or less at the edges.
    assert told["used_purge_l"] == pytest.approx(24.0, abs=0.2)
    assert told["used_torch_l"] == pytest.approx(4.0, abs=0.15)
    assert told["basis"] == "counted"
    assert told["left_l"] == pytest.approx(FULL_L - 28.0, abs=0.4)
    assert told["left_min"] == pytest.approx(told["left_l"] / 12.0, abs=0.1)


def test_a_torch_meter_is_believed_before_what_was_said(shop) -> None:
    shop.sources["flow2"] = lambda _t: 6.0
    shop.act(act.AdoptChannel(channel="flow2", channel_kind="torch flow"))
    shop.run(60)
    assert argon(shop)["torch_l_min"] == 6.0
    assert argon(shop)["used_torch_l"] == pytest.approx(6.0, abs=0.2)
    with pytest.raises(Refused):
        shop.act(act.AssignChannel(channel="flow2", part_id=1))


def test_the_gauge_governs_and_two_gauges_do_not(shop) -> None:
    def pressure(name: str, pa: float) -> None:
        quality, reason = shop.judge.sense(name, "Pa", pa, None, shop.now_us)
        assert (str(quality), reason) == ("good", None)
        shop.seq += 1
        now = shop.now_us
        shop.feed(Reading(name, "Pa", pa, quality, reason, now, now, now, shop.seq))

    pressure("gauge1", 60e5)
    shop.act(act.AdoptChannel(channel="gauge1", channel_kind="bottle pressure"))
    shop.run(1)
    pressure("gauge1", 60e5)
    told = argon(shop)
    assert told["basis"] == "bottle pressure"
    assert told["left_l"] == pytest.approx(50 * 60e5 / 101_325, abs=0.1)
    pressure("gauge2", 90e5)
    shop.act(act.AdoptChannel(channel="gauge2", channel_kind="bottle pressure"))
    pressure("gauge2", 90e5)
    assert argon(shop)["basis"] == "counted"


def test_a_bottle_that_will_not_do_is_among_the_reasons_of_the_purge(shop) -> None:
    shop.act(act.SetBottle(water_volume_l=10, pressure_pa=10e5))  # 99 l: eight minutes
    shop.act(act.BeginPurge(heat_id=1))
    shop.run(20)
    reasons = " ".join(shop.bench_part()["purge"]["reasons"])
    assert "argon for about 8 min at the present flow: have another bottle at hand" in reasons
    shop.act(act.SetBottle(water_volume_l=1, pressure_pa=1e5))
    shop.run(2)
    assert "another bottle first" in " ".join(shop.bench_part()["purge"]["reasons"])


def test_after_a_restart_a_typed_pressure_is_worth_nothing(shop) -> None:
    shop.run(10)
    shop.act(act.ServiceStarted(version="test", offset_us=0))
    shop.run(2)
    assert argon(shop)["left_l"] is None
    assert "read the bottle's gauge again" in argon(shop)["reason"]
    shop.act(BOTTLE)
    shop.run(2)
    assert argon(shop)["left_l"] == pytest.approx(FULL_L, abs=1.0)


def test_the_bottle_survives_a_checkpoint(shop) -> None:
    shop.run(30)
    bottle = shop.judge.state.bottle
    assert checkpoint.decode(checkpoint.encode(bottle, "1"), "1") == bottle


@pytest.mark.parametrize(
    "wrong",
    [{"water_volume_l": 0}, {"water_volume_l": 50, "pressure_pa": 60e6}, {"pressure_pa": 1e5}],
)
def test_an_impossible_bottle_is_refused(wrong) -> None:
    with pytest.raises(ValidationError):
        act.SetBottle(**wrong)
