"""Pipe schedule 10S and tube gauges against the fluids library; printed volumes."""

from __future__ import annotations

import math

import fluids
import pytest
from CoolProp.CoolProp import PropsSI

from service.physics import geometry

NOMINAL_INCH = {
    "1/2": 0.5,
    "3/4": 0.75,
    "1": 1.0,
    "1 1/4": 1.25,
    "1 1/2": 1.5,
    "2": 2.0,
    "2 1/2": 2.5,
    "3": 3.0,
    "3 1/2": 3.5,
    "4": 4.0,
    "5": 5.0,
    "6": 6.0,
}


@pytest.mark.parametrize("nominal", geometry.SCHEDULE_10S)
def test_schedule_10s(nominal: str) -> None:
    _, inside, outside, wall = fluids.piping.nearest_pipe(NPS=NOMINAL_INCH[nominal], schedule="10S")
    pipe = geometry.schedule_10s(nominal)
    assert pipe.outside_mm == pytest.approx(1000 * outside, abs=1e-6)
    assert pipe.wall_mm == pytest.approx(1000 * wall, abs=1e-6)
    assert pipe.inside_mm == pytest.approx(1000 * inside, abs=1e-6)


@pytest.mark.parametrize(
    ("nominal", "litres_per_metre", "elbow"),
    # From fluids 1.3.1 dimensions, four figures; long-radius elbow R = 1.5 nominal inches.
    [
        ("1", 0.6096, 0.0365),
        ("1 1/4", 1.0555, 0.0790),
        ("1 1/2", 1.4360, 0.1289),
        ("2", 2.3551, 0.2819),
        ("2 1/2", 3.5151, 0.5259),
        ("3", 5.3846, 0.9668),
        ("4", 9.1948, 2.2011),
    ],
)
def test_contents(nominal: str, litres_per_metre: float, elbow: float) -> None:
    pipe = geometry.schedule_10s(nominal)
    assert pipe.litres_per_metre == pytest.approx(litres_per_metre, abs=6e-5)
    radius_mm = 1.5 * NOMINAL_INCH[nominal] * 25.4
    assert geometry.elbow_l(pipe, radius_mm) == pytest.approx(elbow, abs=6e-5)


@pytest.mark.parametrize("gauge", geometry.GAUGE_WALL_MM)
def test_birmingham_gauge(gauge: int) -> None:
    wall_mm = 1000 * fluids.piping.t_from_gauge(gauge, SI=True, schedule="BWG")
    assert geometry.tube(60.0, gauge).wall_mm == pytest.approx(wall_mm, abs=1e-3)


def test_cone_against_fluids() -> None:
    # fluids gives the volume of a conical tank head; a frustum is the difference of two.
    whole = fluids.geometry.V_tank(D=0.06, L=0.0, horizontal=False, sideA="conical", sideA_a=0.12)
    tip = fluids.geometry.V_tank(D=0.03, L=0.0, horizontal=False, sideA="conical", sideA_a=0.06)
    expected_l = 1000 * (sum(whole[:1]) - sum(tip[:1]))
    assert geometry.cone_l(60.0, 30.0, 60.0) == pytest.approx(expected_l, rel=1e-9)


@pytest.mark.parametrize("temperature_c", [0.01, 4.0, 15.0, 20.0, 30.0, 40.0])
def test_water_density(temperature_c: float) -> None:
    real = PropsSI("D", "T", temperature_c + 273.15, "P", 101_325, "Water") / 1000
    # Both give ordinary water to a few parts in a million.
    assert geometry.water_density_kg_l(temperature_c) == pytest.approx(real, abs=1e-5)


def test_water_fill_of_a_known_pipe() -> None:
    pipe = geometry.schedule_10s("2")
    litres = geometry.straight_l(pipe, 1000.0)
    weight = 4.0 + litres * PropsSI("D", "T", 293.15, "P", 101_325, "Water") / 1000
    assert geometry.water_fill_l(weight, 4.0, 20.0) == pytest.approx(litres, rel=1e-5)
    assert litres == pytest.approx(math.pi * 54.76**2 / 4 / 1000, rel=1e-12)
