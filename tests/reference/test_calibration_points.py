"""Boiling water, air pressure and thermocouple tolerances against the outside."""

from __future__ import annotations

import fluids
import pytest
from CoolProp.CoolProp import PropsSI

from service.physics.fixed_points import boiling_point_c, standard_pressure_pa
from service.physics.thermocouple_tolerance import tolerance_k


@pytest.mark.parametrize("pressure_pa", range(30_000, 120_001, 5_000))
def test_water_boils_as_the_iapws_formulation_says(pressure_pa: int) -> None:
    """CoolProp has IAPWS-95; IF97 agrees with it to 2 mK here (IAPWS-IF97, section 8)."""
    there_c = PropsSI("T", "P", pressure_pa, "Q", 0, "Water") - 273.15
    assert boiling_point_c(pressure_pa) == pytest.approx(there_c, abs=0.003)


def test_the_verification_value_of_the_release() -> None:
    """IAPWS-IF97 (2012), table 36: 0.372755919e3 K at 0.1 MPa."""
    assert boiling_point_c(100_000) + 273.15 == pytest.approx(0.372755919e3, abs=1e-6)


@pytest.mark.parametrize("altitude_m", range(-500, 9_001, 500))
def test_the_standard_atmosphere(altitude_m: int) -> None:
    """The library fluids has the U.S. Standard Atmosphere 1976, by geometric altitude."""
    there_pa = fluids.ATMOSPHERE_1976(altitude_m).P
    assert standard_pressure_pa(altitude_m) == pytest.approx(there_pa, rel=0.002)


@pytest.mark.parametrize("pressure_pa", [29_000, 1_013, 130_000, float("nan")])
def test_a_pressure_that_is_none_is_refused(pressure_pa: float) -> None:
    with pytest.raises(ValueError, match="is not between 30000 and 120000"):
        boiling_point_c(pressure_pa)


@pytest.mark.parametrize(
    ("letter", "name", "at_c", "k"),
    [
        # Sensor makers' tables that cite IEC 584-2 and ASTM E230.
        ("K", "IEC class 1", 300, 1.5),
        ("K", "IEC class 1", 500, 2.0),
        ("K", "IEC class 2", 400, 3.0),
        ("N", "IEC class 2", 100, 2.5),
        ("J", "ASTM standard", 200, 2.2),
        ("J", "ASTM standard", 600, 4.5),
        ("E", "ASTM special", 400, 1.6),
        ("T", "IEC class 1", 100, 0.5),
        ("T", "IEC class 2", -40, 1.0),
        ("S", "IEC class 1", 1000, 1.0),
        ("R", "IEC class 1", 1200, 1.3),
        ("S", "IEC class 2", 1000, 2.5),
        ("B", "ASTM standard", 1000, 5.0),
    ],
)
def test_tolerances(letter, name, at_c, k) -> None:
    assert tolerance_k(letter, name, at_c) == pytest.approx(k)


@pytest.mark.parametrize(
    ("letter", "name", "at_c", "words"),
    [
        ("B", "IEC class 1", 1000, "IEC class 1 knows no type B"),
        ("K", "IEC class 1", 1100, "holds from -40 to 1000 °C, not at 1100 °C"),
        ("J", "ASTM special", -20, "holds from 0 to 760 °C"),
    ],
)
def test_where_a_class_says_nothing_neither_do_we(letter, name, at_c, words) -> None:
    with pytest.raises(ValueError, match=words):
        tolerance_k(letter, name, at_c)
