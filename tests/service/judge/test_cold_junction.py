"""Probes that arrive as bare voltages: no temperature without that of their terminals.

What a meter at such terminals reads is made with the package thermocouple-its90 (NIST SRD 60
coefficients), not with our own tables.
"""

from __future__ import annotations

import pytest
import thermocouple_its90
from pydantic import ValidationError

from service.judge import actions as act
from service.judge.events import Refused
from service.readings import Quality

LIMITS = act.Limits(preheat_min_c=200, interpass_max_c=320)


def meter_mv(hot_c: float, terminals_c: float, letter: str = "K") -> float:
    """EMF of a thermocouple between a hot end and terminals [mV]."""
    table = thermocouple_its90.get(letter)
    return float(table.emf(hot_c) - table.emf(terminals_c))


@pytest.fixture
def shop(stage):
    """A casting that loses 0.3 K/s from 300 °C, its probe a type K voltage, a warming box."""
    stage.box_c = lambda t_s: 22.0 + t_s / 60.0
    stage.hot_c = lambda t_s: 300.0 - 0.3 * t_s
    stage.sources = {
        "board1": lambda t_s: round(stage.box_c(t_s), 3),
        "emf1": lambda t_s: meter_mv(stage.hot_c(t_s), stage.box_c(t_s)),
    }
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.run(3)
    stage.part(1, {}, LIMITS)
    stage.act(adopt())
    stage.act(act.AssignChannel(channel="emf1", part_id=1))
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    return stage


def adopt(letter: str = "K", terminals: str = "board1") -> act.AdoptChannel:
    return act.AdoptChannel(
        channel="emf1",
        channel_kind="thermocouple",
        thermocouple=letter,
        cold_junction=terminals,
    )


def channel(stage, name: str = "emf1") -> dict:
    return next(dict(c) for c in stage.judge.bench()["channels"] if c["name"] == name)


def test_a_voltage_gives_the_verdict_that_its_temperature_deserves(shop):
    shop.run(40)
    shown = channel(shop)
    assert shown["unit"] == "Cel"
    assert shown["value"] == pytest.approx(shop.hot_c(shop.t_s), abs=0.01)
    assert shown["emf_mv"] == pytest.approx(meter_mv(shop.hot_c(43), shop.box_c(43)), abs=1e-3)
    assert (shown["thermocouple"], shown["cold_junction"]) == ("K", "board1")
    part = shop.bench_part()
    assert part["heat"]["verdict"] == "ready"
    assert part["heat"]["temperature_c"] == pytest.approx(shop.hot_c(shop.t_s), abs=0.5)
    assert channel(shop, "board1")["kind"] == "cold junction"


def test_terminals_are_added_as_voltage_not_as_degrees(stage):
    """Type K, 10 mV at terminals of 25 °C: 270.71 °C; adding the degrees would give 271.23."""
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.sources = {"board1": lambda _t: 25.0, "emf1": lambda _t: 10.0}
    stage.act(adopt())
    stage.run(5)
    expected = float(thermocouple_its90.get("K").temperature(10.0, reference=25.0))
    assert channel(stage)["value"] == pytest.approx(expected, abs=0.01)


def test_silent_terminals_leave_the_verdict_unknown(shop):
    shop.run(40)
    assert shop.bench_part()["heat"]["verdict"] == "ready"
    del shop.sources["board1"]
    shop.run(12)
    shown = channel(shop)
    assert shown["quality"] == "bad"
    assert shown["reason"] == "no temperature of the cold junction: board1 gives none now"
    assert shown["value"] is None
    assert shop.bench_part()["heat"]["verdict"] == "unknown"
    shop.sources["board1"] = shop.box_c
    shop.run(40)
    assert shop.bench_part()["heat"]["verdict"] == "ready"


def test_the_gate_names_a_voltage_without_terminals(stage):
    stage.act(adopt())
    assert stage.say("emf1", 8.0) == (
        Quality.BAD,
        "no temperature of the cold junction: board1 gives none now",
    )
    stage.say("board1", 21.0)
    assert stage.say("emf1", 8.0) == (Quality.GOOD, None)
    stage.now_us += 61_000_000
    assert stage.say("emf1", 8.0)[0] is Quality.BAD


def test_a_voltage_beyond_the_type_is_out_of_range(shop):
    shop.run(20)
    quality, reason = shop.say("emf1", 60.0)
    assert quality is Quality.BAD
    assert "outside the range of type K" in reason
    assert channel(shop)["quality"] == "bad"


def test_an_impossible_jump_is_seen_in_degrees(shop):
    shop.run(20)
    quality, reason = shop.say("emf1", meter_mv(420.0, 22.0))
    assert quality is Quality.SUSPECT
    assert "impossible jump: 420" in reason
    assert channel(shop)["quality"] == "suspect"


def test_an_open_wire_stays_an_open_wire(shop):
    shop.run(20)
    assert shop.say("emf1", "open-circuit")[1] == "open circuit: probe unplugged or broken"
    assert channel(shop)["reason"] == "open circuit: probe unplugged or broken"


def test_a_frozen_conversion_is_seen_though_the_box_warms(shop):
    shop.run(40)
    stuck_mv = meter_mv(shop.hot_c(shop.t_s), shop.box_c(shop.t_s))
    shop.sources["emf1"] = lambda _t: stuck_mv
    shop.run(100)
    assert "has not moved by a digit" in channel(shop)["reason"]
    assert shop.bench_part()["heat"]["verdict"] != "ready"


def test_another_letter_starts_the_probe_afresh(shop):
    shop.run(40)
    shop.act(adopt("N"))
    assert channel(shop)["value"] is None
    assert shop.bench_part()["heat"]["verdict"] == "unknown"
    shop.run(2)
    k, n = thermocouple_its90.get("K"), thermocouple_its90.get("N")
    emf_mv = meter_mv(shop.hot_c(shop.t_s), shop.box_c(shop.t_s))
    expected = float(n.temperature(emf_mv, reference=shop.box_c(shop.t_s)))
    assert channel(shop)["value"] == pytest.approx(expected, abs=0.02)
    assert abs(expected - float(k.temperature(emf_mv, reference=shop.box_c(shop.t_s)))) > 50


def test_a_replay_says_the_same(shop):
    shop.run(30)
    del shop.sources["board1"]
    shop.run(10)
    assert shop.replayed() == (shop.alarms, shop.verdicts)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"channel_kind": "thermocouple", "thermocouple": "K"}, "go together"),
        ({"channel_kind": "thermocouple", "cold_junction": "board1"}, "go together"),
        (
            {"channel_kind": "ambient", "thermocouple": "K", "cold_junction": "board1"},
            "belong to a thermocouple",
        ),
        (
            {"channel_kind": "thermocouple", "thermocouple": "K", "cold_junction": "emf1"},
            "is the channel itself",
        ),
        (
            {"channel_kind": "thermocouple", "thermocouple": "X", "cold_junction": "board1"},
            "'K', 'J'",
        ),
    ],
)
def test_half_a_junction_is_refused(given, says):
    with pytest.raises(ValidationError, match=says):
        act.AdoptChannel(channel="emf1", **given)


def test_what_does_not_fit_what_is_heard_is_refused(shop):
    shop.say("flow1", 9.0)
    shop.say("tc1", 300.0)
    plain = act.AdoptChannel(channel="emf1", channel_kind="thermocouple")
    with pytest.raises(Refused, match="sends mV: say also which type"):
        shop.act(plain)
    with pytest.raises(Refused, match="flow1 sends l/min"):
        shop.act(adopt("K", "flow1"))
    shop.act(act.AdoptChannel(channel="tc1", channel_kind="thermocouple"))
    with pytest.raises(Refused, match="tc1 is a thermocouple channel"):
        shop.act(adopt("K", "tc1"))
    with pytest.raises(Refused, match="board1 is the cold junction of emf1"):
        shop.act(act.AdoptChannel(channel="board1", channel_kind="thermocouple"))
    degrees = act.AdoptChannel(
        channel="tc1", channel_kind="thermocouple", thermocouple="K", cold_junction="board1"
    )
    with pytest.raises(Refused, match="sends Cel, not a voltage"):
        shop.act(degrees)
