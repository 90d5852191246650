"""A flow meter scaled for another gas: made good on the way to the judge and to the page."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from service.judge import actions as act
from service.judge.channel_actions import MeterScale
from service.judge.events import Refused


def flow_of(stage) -> float:
    return next(c["value"] for c in stage.judge.bench()["channels"] if c["name"] == "flow1")


@pytest.fixture
def metered(stage):
    stage.sources["flow1"] = lambda _t: 10.0
    stage.act(act.AdoptChannel(channel="flow1", channel_kind="gas flow"))
    stage.run(2)
    return stage


def scaled(**scale: object) -> act.CalibrateChannel:
    return act.CalibrateChannel(channel="flow1", checks=(), scale=MeterScale(**scale))


@pytest.mark.parametrize(
    ("scale", "flow_l_min"),
    [
        # A meter maker prints 0.85 for argon on an air scale; 1.405 is printed for argon on a
        # nitrogen scale by a sensor maker, and 1.07322 is the litre of 0 °C by the ideal gas law.
        ({"principle": "float", "scaled_for": "air"}, 8.51),
        ({"principle": "thermal", "scaled_for": "nitrogen", "gas_factor": 1.405}, 14.05),
        ({"litres_at": "0 °C, 1 atm"}, 10.73),
    ],
)
def test_what_the_meter_shows_becomes_true_argon(metered, scale, flow_l_min) -> None:
    metered.act(scaled(**scale))
    metered.run(2)
    assert flow_of(metered) == pytest.approx(flow_l_min, abs=0.01)
    # Nought stays nought, and a small drift below it is not blown up.
    metered.sources["flow1"] = lambda _t: 0.0
    metered.run(2)
    assert flow_of(metered) == 0.0


def test_taken_off_again(metered) -> None:
    metered.act(scaled(principle="float", scaled_for="air"))
    metered.act(act.CalibrateChannel(channel="flow1", checks=()))
    metered.run(2)
    assert flow_of(metered) == 10.0


def test_only_a_flow_has_a_scale(metered) -> None:
    metered.sources["tc1"] = lambda t: 200.0 + 0.2 * (t % 2)
    metered.act(act.AdoptChannel(channel="tc1", channel_kind="thermocouple"))
    metered.run(2)
    scale = MeterScale(principle="float", scaled_for="air")
    with pytest.raises(Refused, match="only a flow has such a scale"):
        metered.act(act.CalibrateChannel(channel="tc1", checks=(), scale=scale))


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        ({"scale": {"principle": "float", "scaled_for": "helium"}}, "helium"),
        ({"scale": {"principle": "thermal", "gas_factor": 20}}, "0.2 to 5"),
        (
            {"checks": [{"reads": 1, "true": 2}], "scale": {"litres_at": "0 °C, 1 atm"}},
            "exclude one another",
        ),
    ],
)
def test_an_impossible_scale_is_refused(wrong, text) -> None:
    with pytest.raises(ValidationError, match=text):
        act.CalibrateChannel(**{"channel": "flow1", "checks": (), **wrong})
