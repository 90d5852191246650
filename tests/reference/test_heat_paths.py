"""Where the heat goes: against CoolProp's argon and the trade sheet's worked figures."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI

from service.physics.cooldown import Level, Rate
from service.physics.heat_paths import argon_takes_w, gradient, heat_paths


def test_argon_against_coolprop() -> None:
    # 10 l/min counted at 20 °C, warmed from 20 to 350 °C: mass flow times enthalpy difference.
    density = PropsSI("D", "T", 293.15, "P", 101325, "Argon")
    warm, cold = (PropsSI("H", "T", t + 273.15, "P", 101325, "Argon") for t in (350, 20))
    true = 10e-3 / 60 * density * (warm - cold)
    assert argon_takes_w(10, 350, 20) == pytest.approx(true, rel=3e-3)


def test_argon_is_little_on_a_casting_and_much_on_an_elbow() -> None:
    # Trade sheet (own calculation there): 3 % of a bare 6 kg casting's loss at 350 °C, which
    # cools 24.5 K/min; up to 16 K/min from a 0.3 kg elbow. It says "about"; 15 %.
    paths = heat_paths(
        "ductile iron", 6.0, 0.15, part_c=350, rate=Rate(-24.5 * 60, 20), around_c=20,
        argon_flow_l_min=10,
    )  # fmt: skip
    assert 2.5 < paths.percent()["argon"] < 4.0
    assert argon_takes_w(10, 350, 20) * 60 / (0.3 * 560) == pytest.approx(16, rel=0.15)


def test_paths_add_up_and_radiation_leads_when_hot() -> None:
    # Radiation and convection match near 100 °C and radiation leads above 200 °C (trade sheet).
    for part_c, leads in ((100.0, False), (400.0, True)):
        paths = heat_paths("grey iron", 6, 0.15, part_c=part_c, rate=Rate(-900, 9), around_c=20)
        parts = paths.air_w + paths.radiation_w + paths.argon_w + paths.contact_w
        assert parts == pytest.approx(paths.total_w)
        assert (paths.radiation_w > 1.4 * paths.air_w) is leads
        assert sum(paths.percent().values()) == pytest.approx(100)


def test_contact_is_what_the_air_cannot_explain() -> None:
    bare = heat_paths("grey iron", 6, 0.15, part_c=350, rate=Rate(-1450, 9), around_c=20)
    on_steel = heat_paths("grey iron", 6, 0.15, part_c=350, rate=Rate(-2400, 9), around_c=20)
    assert bare.percent()["contact"] < 10
    assert on_steel.percent()["contact"] > 30


def test_without_area_or_without_loss() -> None:
    unknown = heat_paths("grey iron", 6, None, part_c=350, rate=Rate(-1450, 9), around_c=20)
    assert unknown.contact_w == 0
    assert unknown.air_w + unknown.radiation_w == pytest.approx(unknown.total_w)
    rising = heat_paths("grey iron", 6, 0.15, part_c=350, rate=Rate(500, 9), around_c=20)
    assert rising.total_w == 0
    assert rising.percent() == {}


def test_wrong_input_is_refused() -> None:
    for mass, area in ((0.0, 0.15), (-1.0, 0.15), (6.0, 0.0)):
        with pytest.raises(ValueError, match="must be above 0"):
            heat_paths("grey iron", mass, area, part_c=350, rate=Rate(-900, 9), around_c=20)
    with pytest.raises(ValueError, match="argon_flow_l_min"):
        argon_takes_w(-1, 350, 20)


def test_gradient_across_a_part() -> None:
    assert gradient({"flange": Level(300, 1)}) is None
    found = gradient({"flange": Level(310, 0.3), "port": Level(280, 0.4), "tube": Level(295, 9)})
    assert found is not None
    assert found.temperature_c == pytest.approx(30)
    assert found.sd_k == pytest.approx(0.5)
