"""Every computed number on the thermocouple page, computed again from outside.

Oracles: thermocouple-its90 (NIST SRD 60 functions), CoolProp (water), textbook formulas written out
here. Tolerances and positions: the tables the page names.
"""

from __future__ import annotations

import math

import pytest
import thermocouple_its90
from CoolProp.CoolProp import PropsSI

from service.judge.shop_rules import MOST_CORRECTED
from service.readings import ChannelKind
from service.wire.amplifier import MAX31855_MV_PER_K
from tests.firmware_notes.pages import section, tables, words

PAGE = "thermocouples.md"
PART_C, BOX_C, PLUG_C = 300.0, 25.0, 45.0
K, J, N = (thermocouple_its90.get(letter) for letter in "KJN")


def test_the_parts_temperatures_are_those_of_the_page() -> None:
    assert f"a part at {PART_C:g} °C, box at {BOX_C:g} °C, plug at {PLUG_C:g} °C" in words(PAGE)


def seen(oracle: thermocouple_its90.Thermocouple, emf_mv: float) -> float:
    """What an input for this type makes of a voltage at its terminals."""
    return float(oracle.temperature(emf_mv, reference=BOX_C))


def mistakes() -> dict[str, float]:
    k_mv = K.emf(PART_C) - K.emf(BOX_C)
    on_the_way_mv = K.emf(PLUG_C) - K.emf(BOX_C)
    return {
        "reversed twice, at the plug and at the box": seen(K, k_mv - 2 * on_the_way_mv),
        "copper from the plug to the box": seen(K, k_mv - on_the_way_mv),
        "type J wire on a type K input": seen(K, J.emf(PART_C) - J.emf(BOX_C)),
        "type K wire on a type J input": seen(J, k_mv),
        "type N wire on a type K input": seen(K, N.emf(PART_C) - N.emf(BOX_C)),
        "a chip that takes type K to be a straight line": BOX_C + k_mv / MAX31855_MV_PER_K["K"],
    }


def test_what_each_mistake_reads() -> None:
    first, *rest = tables(section(PAGE, "Polarity and extension wire"))[-1]
    assert first[0] == "leads reversed"
    at_zero_mv = 2 * K.emf(BOX_C) - K.emf(PART_C)
    assert f"{at_zero_mv:.3f} mV".replace("-", "−") in first[1]
    assert at_zero_mv < K.emf(-270.0), "type K gives no less than this"
    wanted = mistakes()
    assert [name for name, _ in rest] == list(wanted)
    for name, reads in rest:
        digits = len(reads.removesuffix(" °C").partition(".")[2])
        assert reads == f"{wanted[name]:.{digits}f} °C"


@pytest.mark.parametrize(("t_c", "class_1", "class_2"), [(300, "1.5", "2.5"), (400, "1.6", "3.0")])
def test_tolerances(t_c: float, class_1: str, class_2: str) -> None:
    """IEC 584-2 as makers print it: the greater of a fixed number and a share."""
    assert f"{max(1.5, 0.004 * t_c):.1f}" == class_1
    assert f"{max(2.5, 0.0075 * t_c):.1f}" == class_2
    said = f"at {t_c} °C" + (" class 1 is ±1.5 °C and class 2 ±2.5 °C" if t_c == 300 else "")
    assert said.lower() in words(PAGE).lower()
    assert f"±{class_1}" in words(PAGE)
    assert f"±{class_2}" in words(PAGE)


def carried_off_w() -> float:
    """Heat into two bare wires, each a long fin: q = √(h·P·k·A)·ΔT (any heat-transfer text)."""
    diameter_m, h, excess_k = 0.5e-3, 30.0, 350.0 - 20.0
    girth_m, area_m2 = math.pi * diameter_m, math.pi * diameter_m**2 / 4
    return sum(math.sqrt(h * girth_m * k * area_m2) * excess_k for k in (19.0, 30.0))


def test_what_the_wires_cost() -> None:
    watts = carried_off_w()
    assert f"carry about {watts:.2f} W" in words(PAGE)
    table = tables(section(PAGE, "Fixing the tip to iron"))[0]
    assert len(table) == 3
    for _, contact, low in table:
        area, conductance = contact.split(", ")
        area_m2 = float(area.removesuffix(" mm²")) * 1e-6
        h_contact = float(conductance.removesuffix(" W/(m²·K)"))
        digits = len(low.removesuffix(" K").partition(".")[2])
        assert low == f"{watts / (h_contact * area_m2):.{digits}f} K"


def test_what_lag_costs() -> None:
    assert f"is {24.5 / 60 * 10:.1f} K too high" in words(PAGE)


def test_positions() -> None:
    """ISO 13916: A = 4·t, at most 50 mm; 2 min for each 25 mm."""
    (table,) = tables(section(PAGE, "Where on the part"))
    assert [float(a) for _, a in table] == [min(4 * float(t), 50.0) for t, _ in table]
    assert f"{12.5 / 25 * 2:g} min for 12.5 mm" in words(PAGE)


def test_a_bad_clamp() -> None:
    volts = 100.0 * 0.01
    assert f"stands {volts:g} V off, {volts * 1000 / K.emf(PART_C):.0f} times" in words(PAGE)


def test_where_water_boils() -> None:
    """Pressure: U.S. Standard Atmosphere 1976 below 11 km; saturation: CoolProp (IAPWS-95)."""
    table = tables(section(PAGE, "Three checks before you believe it"))[0]
    assert len(table) == 5
    for metres, boils in table:
        pressure_pa = 101_325.0 * (1 - 0.0065 * float(metres) / 288.15) ** 5.25588
        boils_c = PropsSI("T", "P", pressure_pa, "Q", 0, "Water") - 273.15
        assert boils == f"{boils_c:.1f}"


def test_weather_moves_the_boiling_point_by_about_a_degree() -> None:
    low, high = (PropsSI("T", "P", p, "Q", 0, "Water") - 273.15 for p in (97_500.0, 104_500.0))
    assert 0.5 < 100.0 - low < 1.5
    assert 0.5 < high - 100.0 < 1.5


def test_the_largest_correction_is_the_one_in_force() -> None:
    most_k, _ = MOST_CORRECTED[ChannelKind.THERMOCOUPLE]
    assert f"Corrections of more than {most_k:g} K are refused" in words(PAGE)


def test_the_two_errors_of_the_first_page() -> None:
    wanted = mistakes()
    line = PART_C - wanted["a chip that takes type K to be a straight line"]
    copper = PART_C - wanted["copper from the plug to the box"]
    assert f"a straight line is {line:.1f} K wrong at 300 °C" in words("README.md")
    assert f"copper is {copper:.0f} K wrong" in words("README.md")
