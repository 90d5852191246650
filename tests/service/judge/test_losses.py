"""Where the heat goes, as told with the bench: energy balance by hand, gas by its heat capacity."""

from __future__ import annotations

import pytest

from service.judge import actions as act

RATE_K_S = 0.35


@pytest.fixture
def shop(stage):
    """6 kg of ductile iron that lose 0.35 K/s from 330 °C, a second probe 12 K colder."""
    stage.sources = {
        "tc1": lambda t_s: 330.0 - RATE_K_S * t_s,
        "tc2": lambda t_s: 318.0 - RATE_K_S * t_s,
        "room1": lambda _t: 18.0,
        "flow1": lambda _t: 10.0,
    }
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.part(
        1,
        {"tc1": "thermocouple", "tc2": "thermocouple", "flow1": "gas flow"},
        act.Limits(preheat_min_c=200),
        metal="ductile iron",
        mass_kg=6.0,
        area_m2=0.15,
        cavity_volume_l=2.0,
    )
    stage.act(act.AdoptChannel(channel="room1", channel_kind="ambient"))
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.act(act.BeginPurge(heat_id=1))
    return stage


def test_the_paths_add_up_to_what_the_casting_loses(shop):
    shop.run(60)
    heat = shop.bench_part()["heat"]
    losses = heat["losses"]
    # m·c·dT/dt with c = 545 J/(kg K) at 300 °C (property table of ``physics.materials``).
    assert losses["total_w"] == pytest.approx(6.0 * 545.0 * RATE_K_S, rel=0.08)
    paths = [losses[f"{path}_w"] for path in ("air", "radiation", "argon", "contact")]
    assert sum(paths) == pytest.approx(losses["total_w"], abs=3)
    # 10 l/min of argon at 20 °C carry at most 0.1445 W/K (CoolProp: 1.662 kg/m³, 521.6 J/(kg K)).
    assert losses["argon_w"] == pytest.approx(0.1445 * (heat["temperature_c"] - 18.0), rel=0.05)
    assert heat["gradient_k"] == pytest.approx(12.0, abs=1.0)


def test_nothing_is_said_without_a_mass_or_while_heat_goes_in(shop):
    shop.run(60)
    facts = act.PartFacts(name="manifold 1", metal="ductile iron")
    shop.act(act.ChangePart(part_id=1, facts=facts))
    shop.run(2)
    assert shop.bench_part()["heat"]["losses"] is None
    facts = act.PartFacts(name="manifold 1", metal="ductile iron", mass_kg=6.0)
    shop.act(act.ChangePart(part_id=1, facts=facts))
    shop.run(30)
    losses = shop.bench_part()["heat"]["losses"]
    assert losses["contact_w"] is None
    assert losses["total_w"] > 0
    shop.sources["tc1"] = shop.sources["tc2"] = lambda _t: 290.0
    shop.run(60)
    assert shop.bench_part()["heat"]["losses"] is None
