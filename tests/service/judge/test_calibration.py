"""Calibrations: dated, applied on the way to the judge, never to what is stored."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from service.judge import actions as act
from service.judge.calibration import Calibration, Check, corrected, fault_of
from service.judge.events import Refused
from service.judge.shop_rules import MOST_CORRECTED, UNMEASURED
from service.readings import ChannelKind

numbers = st.floats(-500, 2000, allow_nan=False)


@st.composite
def rising_checks(draw) -> tuple[Check, ...]:
    reads = sorted(draw(st.lists(st.integers(-100, 1000), min_size=1, max_size=6, unique=True)))
    true = sorted(
        draw(
            st.lists(st.integers(-100, 1000), min_size=len(reads), max_size=len(reads), unique=True)
        )
    )
    return tuple(Check(float(r), float(t)) for r, t in zip(reads, true, strict=True))


@given(rising_checks(), numbers)
def test_the_correction_is_numpys_interpolation_held_at_its_ends(checks, value):
    """Oracle: numpy.interp of the correction, which holds its end values."""
    reads = [check.reads for check in checks]
    shifts = [check.true - check.reads for check in checks]
    expected = value + float(np.interp(value, reads, shifts))
    assert corrected(value, checks) == pytest.approx(expected, abs=1e-6)


@given(rising_checks(), numbers)
def test_what_it_read_is_found_back(checks, value):
    calibration = Calibration(checks, 0)
    assert calibration.read(calibration.corrected(value)) == pytest.approx(value, abs=1e-6)


@given(rising_checks(), numbers, numbers)
def test_order_is_kept(checks, one, other):
    low, high = sorted((one, other))
    assert corrected(low, checks) <= corrected(high, checks) + 1e-9


@given(rising_checks())
def test_what_was_checked_reads_true(checks):
    assert fault_of(checks) is None
    for check in checks:
        assert corrected(check.reads, checks) == pytest.approx(check.true)


@pytest.mark.parametrize(
    ("checks", "says"),
    [
        ([(10, 0), (10, 5)], "reads 10 does not follow 10"),
        ([(10, 0), (5, 5)], "reads 5 does not follow 10"),
        ([(0, 10), (100, 10)], "true 10 does not follow 10"),
        ([(0, 0), (100, float("nan"))], "finite number"),
        ([(i, i) for i in range(11)], "at most 10"),
    ],
)
def test_what_is_no_calibration_is_refused(checks, says):
    with pytest.raises(ValidationError, match=says):
        calibrate("tc1", checks)


def calibrate(channel: str, checks, **more) -> act.CalibrateChannel:
    points = [{"reads": reads, "true": true} for reads, true in checks]
    return act.CalibrateChannel(channel=channel, checks=points, **more)


@pytest.fixture
def shop(stage):
    stage.sources = {"tc1": lambda t_s: 206.0 - 0.02 * t_s}
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.part(1, {"tc1": "thermocouple"}, act.Limits(preheat_min_c=200, interpass_max_c=320))
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(40)
    return stage


def channel(stage, name: str = "tc1") -> dict:
    return next(dict(c) for c in stage.judge.bench()["channels"] if c["name"] == name)


def test_a_probe_that_reads_high_is_no_longer_ready(shop):
    """It reads 205 °C, is ready by that; checked, it reads 8 K high: 197 °C is below preheat."""
    assert shop.bench_part()["heat"]["verdict"] == "ready"
    shop.act(calibrate("tc1", [(208.0, 200.0)], note="crayon of 200 °C"))
    assert shop.bench_part()["heat"]["verdict"] == "unknown", "nothing before it counts"
    shop.run(30)
    part, shown = shop.bench_part(), channel(shop)
    assert part["heat"]["verdict"] == "stop" or part["heat"]["verdict"] == "wait"
    assert shown["value"] == pytest.approx(206.0 - 0.02 * shop.t_s - 8.0, abs=0.01)
    assert shown["calibration"]["uncorrected"] == pytest.approx(shown["value"] + 8.0)
    assert shown["calibration"]["note"] == "crayon of 200 °C"
    readings = [event for event in shop.events if getattr(event, "channel", None) == "tc1"]
    assert readings[-1].value == pytest.approx(206.0 - 0.02 * shop.t_s), "stored as it came"
    assert shop.replayed() == (shop.alarms, shop.verdicts)


def test_it_can_be_taken_off_again(shop):
    shop.act(calibrate("tc1", [(208.0, 200.0)]))
    shop.act(calibrate("tc1", []))
    shop.run(30)
    assert channel(shop)["calibration"] is None
    assert shop.bench_part()["heat"]["verdict"] == "ready"


def test_an_overdue_one_is_told_and_doubles_an_oxygen_sensors_drift(shop):
    shop.sources["oxygen1"] = lambda _t: 30.0
    shop.run(2)
    shop.act(act.AdoptChannel(channel="oxygen1", channel_kind="oxygen"))
    shop.act(act.AssignChannel(channel="oxygen1", part_id=1))
    shop.act(calibrate("oxygen1", [(209_000.0, 209_500.0)], valid_days=1e-4))
    shop.run(5)
    assert channel(shop, "oxygen1")["reason"] is None
    shop.run(10)
    shown = channel(shop, "oxygen1")
    assert shown["reason"] == "its calibration is overdue"
    assert shown["calibration"]["overdue"] is True
    shop.act(act.BeginPurge(heat_id=1))
    assert shop.judge.state.heats[1].purging.model.setup.sensor_overdue is True


def test_only_what_measures_is_calibrated(shop):
    with pytest.raises(Refused, match="Say first what channel ghost measures"):
        shop.act(calibrate("ghost", [(0.0, 1.0)]))
    shop.act(act.AdoptChannel(channel="arc1", channel_kind="arc"))
    with pytest.raises(Refused, match="nothing to correct"):
        shop.act(calibrate("arc1", [(0.0, 1.0)]))


def test_a_fault_is_not_calibrated_away(shop):
    with pytest.raises(Refused, match=r"331\.2 for a true 100 is no drift but a fault"):
        shop.act(calibrate("tc1", [(331.2, 100.0)]))
    shop.sources["flow1"] = lambda _t: 9.0
    shop.run(2)
    shop.act(act.AdoptChannel(channel="flow1", channel_kind="gas flow"))
    shop.act(calibrate("flow1", [(0.4, 0.0), (12.0, 10.0)]))
    shop.sources["oxygen1"] = lambda _t: 209_000.0
    shop.run(2)
    shop.act(act.AdoptChannel(channel="oxygen1", channel_kind="oxygen"))
    with pytest.raises(Refused, match="no drift but a fault"):
        shop.act(calibrate("oxygen1", [(90_000.0, 209_500.0)]))


def test_every_kind_that_measures_has_its_bound():
    assert set(MOST_CORRECTED) == set(ChannelKind) - set(UNMEASURED)
