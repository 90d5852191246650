"""Heat loss and material properties against handbooks, standards and reference libraries.

Each check names its source. Values marked "C" in the comments were calculated once from the
standard's formula by somebody else than this code.
"""

from __future__ import annotations

import math

import ht
import ht.radiation
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.integrate import solve_ivp

from service.physics import heat_loss, materials
from service.units import ZERO_C_IN_K

SIGMA = 5.670374419e-8  # CODATA 2018

# EN 1993-1-2 clause 3.4.1.2; values calculated from its equations (C).
STEEL_CP = {
    20: 439.8, 100: 487.6, 200: 529.8, 300: 564.7, 400: 605.9, 500: 666.5, 600: 760.2,
    700: 1008.2, 735: 5000.0, 800: 803.3,
}  # fmt: skip


@pytest.mark.parametrize(("temperature_c", "expected"), STEEL_CP.items())
def test_steel_specific_heat(temperature_c: float, expected: float) -> None:
    assert float(materials.steel_specific_heat(temperature_c)) == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize(("temperature_c", "expected"), [(20, 455.5), (300, 511.4), (600, 542.2)])
def test_stainless_specific_heat(temperature_c: float, expected: float) -> None:
    # EN 1993-1-2 annex C; values calculated from its equation (C).
    found = float(materials.stainless_specific_heat(temperature_c))
    assert found == pytest.approx(expected, abs=0.06)


def test_conductivities() -> None:
    # EN 1993-1-2 equation 3.3a and annex C equation C.5, at round temperatures by hand.
    assert float(materials.steel_conductivity(300.0)) == pytest.approx(54 - 9.99)
    assert float(materials.stainless_conductivity(300.0)) == pytest.approx(14.6 + 3.81)


def test_iron_specific_heat_lies_in_the_handbook_band() -> None:
    # Grey iron 450-490 J/(kg K) at 20 °C (property site); 530-560 at 300 °C from memory.
    grid, c = materials.specific_heat_table("grey iron")
    assert 450 <= float(np.interp(20, grid, c)) <= 490
    assert 530 <= float(np.interp(300, grid, c)) <= 560


def test_emissivities_lie_in_the_handbook_bands() -> None:
    # Thermal-camera manual: iron casting 0.81 at 50 °C, oxidised iron 0.64 to 0.76 from 100 to
    # 538 °C and 0.64 to 0.78 over 200 to 600 °C, oxidised steel 0.79 at 200 °C. Infrared-camera
    # manual: oxidised 304 0.44 to 0.36 over 215 to 490 °C, 310 0.90 to 0.97; each must lie within
    # two standard deviations.
    for metal, low, high in (
        ("grey iron", 0.64, 0.81), ("carbon steel", 0.79, 0.79),
        ("cast austenitic stainless", 0.36, 0.44),
        ("heat-resistant stainless, high carbon", 0.90, 0.97),
    ):  # fmt: skip
        likely, sd = materials.emissivity(metal)
        assert likely - 2 * sd <= low <= high <= likely + 2 * sd


@pytest.mark.parametrize("bad", [19.0, 1201.0, math.nan])
def test_properties_refuse_what_the_standard_does_not_cover(bad: float) -> None:
    for rule in (materials.steel_specific_heat, materials.stainless_specific_heat):
        with pytest.raises(ValueError, match="20 to 1200"):
            rule(bad)


def test_radiation_against_ht() -> None:
    # The ht library's documented example: a black body at 400 K into nothing, 1451.613952 W/m².
    # ht has the constant of CODATA 2014, we that of 2018: they differ by 1.3e-6.
    assert ht.radiation.q_rad(1, 400) == pytest.approx(1451.613952)
    found = heat_loss.radiation_w_m2(1.0, 400 - ZERO_C_IN_K, -ZERO_C_IN_K)
    assert found == pytest.approx(1451.613952, rel=2e-6)


@pytest.mark.parametrize(
    ("part_c", "expected"), [(100, 6.81), (200, 10.77), (300, 16.29), (400, 23.63), (600, 44.88)]
)
def test_radiation_coefficient_table(part_c: float, expected: float) -> None:
    # ht.radiation.q_rad(0.8, T, 293.15)/(T - 293.15), printed with two decimals.
    q = ht.radiation.q_rad(0.8, part_c + ZERO_C_IN_K, 293.15)
    assert q / (part_c - 20) == pytest.approx(expected, abs=0.005)
    found = heat_loss.radiation_coefficient_w_m2_k(0.8, part_c, 20.0)
    assert found == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize("diameter_m", [0.05, 0.1])
@pytest.mark.parametrize("part_c", [100.0, 200.0, 300.0, 400.0, 600.0])
def test_natural_convection_against_ht_and_coolprop(diameter_m: float, part_c: float) -> None:
    # Churchill & Chu in ht with CoolProp's air at film temperature, beta = 1/T_film. 2 %: our air
    # comes from a printed table, interpolated.
    film_k = 0.5 * (part_c + 20.0) + ZERO_C_IN_K
    density, mu, k, cp = (PropsSI(what, "T", film_k, "P", 101325, "Air") for what in "DVLC")
    grashof = 9.80665 / film_k * (part_c - 20.0) * diameter_m**3 / (mu / density) ** 2
    nusselt = ht.Nu_horizontal_cylinder_Churchill_Chu(cp * mu / k, grashof)
    found = heat_loss.natural_convection_w_m2_k(diameter_m, part_c, 20.0)
    assert found == pytest.approx(nusselt * k / diameter_m, rel=0.02)


@pytest.mark.parametrize(
    ("part_c", "h_50_mm", "h_100_mm"),
    [(100, 7.17, 6.47), (200, 8.44, 7.64), (300, 9.03, 8.16), (400, 9.37, 8.45), (600, 9.73, 8.72)],
)
def test_natural_convection_table(part_c: float, h_50_mm: float, h_100_mm: float) -> None:
    # The trade-fact table got from ht and CoolProp; 2 % for our air table.
    assert heat_loss.natural_convection_w_m2_k(0.05, part_c, 20) == pytest.approx(h_50_mm, rel=0.02)
    assert heat_loss.natural_convection_w_m2_k(0.10, part_c, 20) == pytest.approx(
        h_100_mm, rel=0.02
    )


def test_convection_goes_with_the_quarter_power_within_the_range_of_use() -> None:
    # The estimator's ΔT^1.25 against Churchill & Chu over 350 -> 150 °C: within 10 %.
    true = [
        heat_loss.natural_convection_w_m2_k(0.08, t, 20) * (t - 20) for t in (350.0, 250.0, 150.0)
    ]
    law = heat_loss.convection_shape(
        np.array([350.0, 250.0, 150.0]), np.array(20.0), np.array(350.0)
    )
    assert np.array(true) / true[0] == pytest.approx(law, rel=0.10)


# Closed forms, Heat Transfer Handbook equations 3.283 to 3.286: m 6 kg, c 560 J/(kg K),
# A 0.15 m², emissivity 0.8, 350 -> 250 °C, surroundings 20 °C.
C_J_K, AREA_M2, EPS = 6 * 560.0, 0.15, 0.8


def test_closed_forms() -> None:
    assert heat_loss.radiation_time_s(C_J_K, EPS * AREA_M2, 350, 250, 20) == pytest.approx(
        506.506, abs=5e-4
    )
    assert heat_loss.newton_time_s(C_J_K, 8 * AREA_M2, 350, 250, 20) == pytest.approx(
        1010.837, abs=5e-4
    )
    assert heat_loss.natural_convection_time_s(C_J_K, 8 * AREA_M2, 350, 250, 20) == pytest.approx(
        1057.857, abs=5e-4
    )


def _loss_w(temperature_c: float, around_c: float = 20.0, sky_c: float = 20.0) -> float:
    radiated = heat_loss.radiation_w_m2(EPS, temperature_c, sky_c)
    return AREA_M2 * (8 * (temperature_c - around_c) + radiated)


def test_convection_and_radiation_together() -> None:
    # Same source: 238.317 s with surroundings at 0 K (closed form), 336.478 s at 20 °C, 338.359 s
    # with the steel c(T) of EN 1993-1-2 (both from SciPy's solve_ivp).
    into_nothing = heat_loss.cooling_time_s(
        lambda _: C_J_K, lambda t: _loss_w(t, -ZERO_C_IN_K, -ZERO_C_IN_K), 350, 250
    )
    assert into_nothing == pytest.approx(238.317, abs=5e-4)
    both = heat_loss.cooling_time_s(lambda _: C_J_K, _loss_w, 350, 250)
    assert both == pytest.approx(336.478, abs=5e-4)
    steel = heat_loss.cooling_time_s(
        lambda t: 6 * float(materials.steel_specific_heat(t)), _loss_w, 350, 250
    )
    assert steel == pytest.approx(338.359, abs=5e-4)


def test_cooling_time_against_scipy() -> None:
    hit = solve_ivp(
        lambda _, y: [-_loss_w(float(y[0])) / (6 * float(materials.steel_specific_heat(y[0])))],
        (0, 3000), [400.0], events=lambda _, y: y[0] - 180.0, rtol=1e-10, atol=1e-10,
    )  # fmt: skip
    ours = heat_loss.cooling_time_s(
        lambda t: 6 * float(materials.steel_specific_heat(t)), _loss_w, 400, 180
    )
    assert ours == pytest.approx(float(hit.t_events[0][0]), abs=1e-4)


def test_worked_examples_of_textbooks() -> None:
    # Thermocouple bead 0.706 mm in a 200 °C gas, 25 -> 199 °C: 5.16 s (heat-transfer textbook,
    # example 5.1; density 8500, c 400, h 400).
    d = 0.706e-3
    sphere = heat_loss.newton_time_s(
        8500 * 400 * math.pi * d**3 / 6, 400 * math.pi * d**2, 25, 199, 200
    )
    assert sphere == pytest.approx(5.16, abs=0.01)
    # Junction 1 mm, 99 % response: 9.94 s, printed as 10 (second textbook, example 4-1; density
    # 8500, c 320, h 210), Biot number 0.001.
    d = 1e-3
    junction = heat_loss.newton_time_s(
        8500 * 320 * math.pi * d**3 / 6, 210 * math.pi * d**2, 0, 99, 100
    )
    assert junction == pytest.approx(9.94, abs=0.01)
    assert heat_loss.biot(210, d / 6, 35) == pytest.approx(0.001, abs=5e-5)
    # Steel ball 12 mm, 1150 -> 400 K in air of 325 K, density 7800, c 600, h 20: 1122 s.
    d = 12e-3
    ball = heat_loss.newton_time_s(
        7800 * 600 * math.pi * d**3 / 6, 20 * math.pi * d**2,
        1150 - ZERO_C_IN_K, 400 - ZERO_C_IN_K, 325 - ZERO_C_IN_K,
    )  # fmt: skip
    assert ball == pytest.approx(1122, abs=1)


def test_biot_number() -> None:
    # fluids.core.Biot's documented example; and a 6 mm iron wall, h 30, k 40: lumped.
    assert heat_loss.biot(1000, 1.2, 300) == pytest.approx(4.0)
    # Own calculation: 0.002, far below the 0.1 up to which one temperature will do.
    assert heat_loss.biot(30, 0.003, 40) == pytest.approx(0.002, abs=5e-4)


def test_bare_casting_loses_what_the_trade_sheet_says() -> None:
    # 6 kg, 0.15 m² bare at 350 °C: 24.5 K/min with h 8 and emissivity 0.8 (own calculation there).
    rate = 60 * _loss_w(350.0) / C_J_K
    assert rate == pytest.approx(24.5, abs=0.3)


def test_bare_thin_tube_cools_twice_as_fast_as_the_casting() -> None:
    # 2 mm tube of 45 mm at 350 °C, emissivity 0.6: about 58 K/min (own calculation in the notes),
    # against 24.5 of the casting. Outside only; heat capacity of EN 1993-1-2 annex C.
    h = heat_loss.natural_convection_w_m2_k(0.045, 350.0, 20.0)
    out_w_m2 = h * 330.0 + heat_loss.radiation_w_m2(0.6, 350.0, 20.0)
    per_m2 = 7900.0 * 0.002 * float(materials.stainless_specific_heat(350.0))
    assert 60.0 * out_w_m2 / per_m2 == pytest.approx(58.0, rel=0.1)


@pytest.mark.parametrize(
    ("start_c", "end_c", "around_c"), [(350, 360, 20), (350, 10, 20), (100, 250, 200), (20, 20, 20)]
)
def test_closed_forms_refuse_the_impossible(start_c: float, end_c: float, around_c: float) -> None:
    with pytest.raises(ValueError, match="between start and surroundings"):
        heat_loss.newton_time_s(1000, 1, start_c, end_c, around_c)


def test_cooling_time_refuses_to_heat_by_losing_heat() -> None:
    with pytest.raises(ValueError, match="towards 360"):
        heat_loss.cooling_time_s(lambda _: 1000.0, _loss_w, 350, 360)


def test_out_of_range_is_refused() -> None:
    with pytest.raises(ValueError, match="emissivity"):
        heat_loss.radiation_w_m2(1.2, 100, 20)
    with pytest.raises(ValueError, match="emissivity"):
        heat_loss.radiation_coefficient_w_m2_k(-0.1, 100, 20)
    with pytest.raises(ValueError, match="at least 0"):
        heat_loss.radiation_w_m2(0.8, -300, 20)
    with pytest.raises(ValueError, match="diameter_m"):
        heat_loss.natural_convection_w_m2_k(0.0, 100, 20)
    with pytest.raises(ValueError, match="film temperature"):
        heat_loss.natural_convection_w_m2_k(0.1, 1600, 1000)
    with pytest.raises(ValueError, match="conductivity"):
        heat_loss.biot(10, 1, 0)
