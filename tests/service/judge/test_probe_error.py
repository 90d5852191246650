"""What is known of a probe's error, and how forecasts allow for it."""

from __future__ import annotations

import math

import pytest
from pydantic import ValidationError

from service.judge import actions as act
from service.judge.calibration import Calibration, Check
from service.judge.channel_actions import CheckPoint
from service.judge.events import Refused
from service.judge.probe_error import YEAR_US, ProbeError, within_error
from service.readings import Forecast, Spread


def test_the_class_counts_where_nothing_was_checked() -> None:
    error = ProbeError("K", "IEC class 2", 0.0, 0.5, 0)
    checked = Calibration((Check(0.3, 0.0), Check(99.1, 98.2)), 0)
    assert error.floor_k(300, None, 0) == 2.5
    assert error.floor_k(50, checked, 0) == 0.5  # within the checks: their own uncertainty
    assert error.floor_k(400, checked, 0) == 3.0  # beyond them: the wire's
    assert error.floor_k(1300, None, 0) is None  # the class says nothing there


def test_drift_is_counted_from_the_last_check() -> None:
    error = ProbeError("K", "IEC class 2", 4.0, None, 0)
    half = round(YEAR_US / 2)
    assert error.floor_k(100, None, half) == pytest.approx(math.hypot(2.5, 2.0))
    checked = Calibration((Check(0.0, 0.0),), half)
    assert error.floor_k(100, checked, half) == 2.5
    assert ProbeError(None, None, 4.0, None, 0).floor_k(100, None, half) == 2.0
    assert ProbeError(None, None, 0.0, None, 0).floor_k(100, None, half) is None


def line(limit_c: float) -> Forecast:
    """A probe that falls from 300 °C by 0.1 K/s, its model sure of it within 5 %."""
    middle = (300 - limit_c) / 0.1
    return Forecast(Spread(0.95 * middle, middle, 1.05 * middle), None)


def test_a_forecast_s_ends_move_out_by_the_error_over_the_rate() -> None:
    """By hand: 2 K of 1.96 sd are 1.679 K of 1.645 sd, at 0.1 K/s 16.79 s."""
    told = within_error(line, 200, 2.0).time_left_s
    assert told is not None
    off_s = 2.0 * 1.645 / 1.96 / 0.1
    assert told.p50 == 1000
    assert told.p05 == pytest.approx(1000 - math.hypot(50, off_s))
    assert told.p95 == pytest.approx(1000 + math.hypot(50, off_s))


@pytest.mark.parametrize("error_k", [None, 0.0])
def test_nothing_known_changes_nothing(error_k) -> None:
    assert within_error(line, 200, error_k) == line(200)


def test_what_cannot_be_said_stays_unsaid() -> None:
    unsaid = Forecast(None, "the temperature is in doubt")
    assert within_error(lambda _limit: unsaid, 200, 2.0) is unsaid


def test_where_the_colder_limit_is_never_reached_there_is_no_end() -> None:
    def floor(limit_c: float) -> Forecast:
        return line(limit_c) if limit_c >= 200 else Forecast(None, "never")

    told = within_error(floor, 200, 2.0).time_left_s
    assert told is not None
    assert told.p95 is None
    assert told.p05 < 950


def test_the_window_closes_earlier_for_a_probe_that_may_read_high(stage) -> None:
    """Through the judge: told its class, the same casting's window may close sooner, not later."""
    stage.part(1, {"tc1": "thermocouple"}, act.Limits(preheat_min_c=200))
    stage.sources = {"tc1": lambda t_s: 300 - t_s * 0.2}
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(60)
    cooling = stage.judge.state.heats[1].cooling["tc1"]
    assert cooling.closes == cooling.model.until_below(200, stage.now_us / 1e6)
    stage.act(act.RateProbe(channel="tc1", letter="K", tolerance_class="IEC class 2"))
    stage.run(1)
    (shown,) = [each for each in stage.judge.bench()["channels"] if each["name"] == "tc1"]
    assert shown["error_floor_k"] == 2.5
    wide, plain = cooling.closes, cooling.model.until_below(200, stage.now_us / 1e6)
    assert wide == within_error(cooling.model.at(stage.now_us / 1e6).until_below, 200, 2.5)
    assert wide.time_left_s.p05 < plain.time_left_s.p05
    assert wide.time_left_s.p95 > plain.time_left_s.p95
    stage.act(act.RateProbe(channel="tc1"))
    assert stage.judge.shop.channels["tc1"].error is None
    with pytest.raises(Refused, match="no channel that measures a temperature"):
        stage.act(act.RateProbe(channel="flow1", drift_k_per_year=1))


def test_ice_and_boiling_water_say_what_is_true() -> None:
    """IAPWS-IF97, table 36: water boils at 372.755919 K under 0.1 MPa."""
    ice = CheckPoint(reads=0.4, against="ice point")
    boiling = CheckPoint(reads=99.9, against="boiling point", pressure_pa=100_000)
    given = act.CalibrateChannel(channel="tc1", checks=(ice, boiling), valid_days=90)
    first, second = given.as_checks()
    assert (first.reads, first.true) == (0.4, 0.0)
    assert second.true == pytest.approx(372.755919 - 273.15)
    assert given.words == "ice point; water boiling at 100000 Pa"
    high = CheckPoint(reads=95.0, against="boiling point", altitude_m=1500)
    assert high.known() == pytest.approx(95.0, abs=0.2)  # handbooks: 95 °C at 1500 m, from memory


def test_a_comparison_that_fails_is_kept_and_due_at_once() -> None:
    beside = CheckPoint(reads=204.0, true=200.5, against="beside", beside="ref", most_off=2.2)
    given = act.CalibrateChannel(channel="tc1", checks=(beside,), valid_days=90, note="Ada")
    assert given.words == "beside ref differs by +3.5, FAILED 2.2; Ada"
    assert given.due_us(1000) == 1000
    fine = CheckPoint(reads=201.0, true=200.5, against="beside", beside="ref", most_off=2.2)
    kept = act.CalibrateChannel(channel="tc1", checks=(fine,), valid_days=1)
    assert kept.words == "beside ref differs by +0.5, within 2.2"
    assert kept.due_us(0) == 86_400_000_000


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"reads": 1}, "a check against known value needs true"),
        ({"reads": 1, "true": 0, "against": "ice point"}, "goes without true"),
        ({"reads": 99, "against": "boiling point"}, "pressure_pa or altitude_m, one of them"),
        (
            {"reads": 99, "against": "boiling point", "pressure_pa": 1013},
            "pressure 1013 Pa is not between 30000 and 120000",
        ),
        ({"reads": 1, "true": 2, "against": "beside"}, "beside .a reference's name. goes with"),
        ({"reads": 1, "true": 2, "altitude_m": 5}, "and with nothing else"),
    ],
)
def test_a_check_that_is_none_is_said(given, words) -> None:
    with pytest.raises(ValidationError, match=words):
        CheckPoint(**given)


def test_a_class_needs_its_type() -> None:
    with pytest.raises(ValidationError, match="go together"):
        act.RateProbe(channel="tc1", letter="K")
    with pytest.raises(ValidationError, match="IEC class 1 knows no type B"):
        act.RateProbe(channel="tc1", letter="B", tolerance_class="IEC class 1")


def test_ice_for_a_flow_meter_is_refused(stage) -> None:
    stage.part(1, {"flow1": "gas flow"})
    ice = CheckPoint(reads=0.4, against="ice point")
    with pytest.raises(Refused, match="measures no temperature"):
        stage.act(act.CalibrateChannel(channel="flow1", checks=(ice,)))
