"""Thermocouples against NIST SRD 60 values and the thermocouple-its90 package.

The package carries the same published coefficients, so agreement with it proves the evaluation;
T and K at -200 and -100 °C also agree with printed NIST tables.
"""

from __future__ import annotations

import pytest
import thermocouple_its90
from hypothesis import given
from hypothesis import strategies as st

from service.physics import thermocouple as tc

TABLE_MV = {
    "K": {
        -270: -6.458,
        -200: -5.891,
        -100: -3.554,
        25: 1.000,
        100: 4.096,
        250: 10.153,
        400: 16.397,
        600: 24.905,
        800: 33.275,
        1000: 41.276,
        1200: 48.838,
        1372: 54.886,
    },
    "J": {
        -200: -7.890,
        -100: -4.633,
        25: 1.277,
        100: 5.269,
        300: 16.327,
        500: 27.393,
        700: 39.132,
        1000: 57.953,
        1200: 69.553,
    },
    "N": {
        -200: -3.990,
        -100: -2.407,
        25: 0.659,
        100: 2.774,
        300: 9.341,
        600: 20.613,
        1000: 36.256,
        1250: 45.694,
    },
    "T": {
        -200: -5.603,
        -100: -3.379,
        25: 0.992,
        100: 4.279,
        200: 9.288,
        300: 14.862,
        400: 20.872,
    },
    "E": {
        -200: -8.825,
        -100: -5.237,
        25: 1.495,
        100: 6.319,
        300: 21.036,
        600: 45.093,
        1000: 76.373,
    },
    "R": {-40: -0.188, 25: 0.141, 100: 0.647, 500: 4.471, 1000: 10.506, 1200: 13.228, 1600: 18.849},
    "S": {-40: -0.194, 25: 0.143, 100: 0.646, 500: 4.233, 1000: 9.587, 1200: 11.951, 1600: 16.777},
    "B": {25: -0.002, 100: 0.033, 500: 1.242, 1000: 4.834, 1200: 6.786, 1600: 11.263, 1800: 13.591},
}
POINTS = [(letter, t, mv) for letter, row in TABLE_MV.items() for t, mv in row.items()]


@pytest.mark.parametrize(("letter", "temperature_c", "mv"), POINTS)
def test_table_forward(letter: str, temperature_c: float, mv: float) -> None:
    # Tables are rounded to 0.001 mV.
    assert tc.emf_mv(letter, temperature_c) == pytest.approx(mv, abs=5.001e-4)


@pytest.mark.parametrize(
    ("letter", "temperature_c", "mv"),
    # At 25 °C type B has two temperatures to a voltage; see test_type_b_dip.
    [point for point in POINTS if point[:2] != ("B", 25)],
)
def test_table_backward(letter: str, temperature_c: float, mv: float) -> None:
    slope = (
        (tc.emf_mv(letter, temperature_c) - tc.emf_mv(letter, temperature_c - 0.5)) / 0.5
        if (temperature_c > tc.range_c(letter)[0])
        else (tc.emf_mv(letter, temperature_c + 0.5) - tc.emf_mv(letter, temperature_c)) / 0.5
    )
    # Half a digit of the printed table, through the slope there (twice: it bends at -270 °C).
    assert tc.temperature_c(letter, mv) == pytest.approx(
        temperature_c, abs=max(2 * 5.001e-4 / slope, 0.01)
    )


@pytest.mark.parametrize("letter", tc.LETTERS)
def test_every_whole_degree_against_the_package(letter: str) -> None:
    oracle = thermocouple_its90.get(letter)
    low_c, high_c = tc.range_c(letter)
    for t in range(int(low_c), int(high_c) + 1):
        assert tc.emf_mv(letter, t) == pytest.approx(oracle.emf(t), abs=1e-9)


@pytest.mark.parametrize("letter", tc.LETTERS)
def test_backward_against_the_package(letter: str) -> None:
    oracle = thermocouple_its90.get(letter)
    # The package inverts from -200 °C (its seed polynomials), type B from 250 °C.
    low_c = 250 if letter == "B" else max(-200, int(tc.range_c(letter)[0]))
    for t in range(low_c, int(tc.range_c(letter)[1]), 7):
        mv = oracle.emf(t)
        assert tc.temperature_c(letter, mv) == pytest.approx(oracle.temperature(mv), abs=1e-4)


@given(letter=st.sampled_from(tc.LETTERS), place=st.floats(0.0, 1.0))
def test_there_and_back_within_a_hundredth(letter: str, place: float) -> None:
    low_c, high_c = tc.range_c(letter)
    if letter == "B":
        low_c = 43.0
    t = low_c + place * (high_c - low_c)
    assert abs(tc.temperature_c(letter, tc.emf_mv(letter, t)) - t) < 1e-4


def test_cold_junction_is_added_as_emf() -> None:
    # Type K, 10.000 mV, terminals at 25 °C: 270.714 °C; adding 25 °C would give 271.230.
    assert tc.compensated_c("K", 10.0, 25.0) == pytest.approx(270.714, abs=5e-4)
    assert tc.temperature_c("K", 10.0) + 25.0 == pytest.approx(271.230, abs=5e-4)
    oracle = thermocouple_its90.get("K")
    assert tc.compensated_c("K", 10.0, 25.0) == pytest.approx(
        oracle.temperature(10.0, reference=25.0), abs=1e-6
    )
    # 300 °C with terminals at 24 °C: the meter reads 11.2488 mV.
    assert tc.meter_mv("K", 300.0, 24.0) == pytest.approx(11.2488, abs=5e-5)


def test_type_b_dip() -> None:
    low_mv, _ = tc.range_mv("B")
    # NIST: the EMF of type B is lowest, -0.0026 mV, at about 21 °C and back at 0 near 42 °C.
    assert low_mv == pytest.approx(-0.0026, abs=1e-4)
    assert tc.emf_mv("B", 42.5) > 0 > tc.emf_mv("B", 41.5)
    for mv in (-0.0025, -0.001, 0.0):
        with pytest.raises(ValueError, match="two temperatures"):
            tc.temperature_c("B", mv)
    assert tc.temperature_c("B", tc.emf_mv("B", 60.0)) == pytest.approx(60.0, abs=1e-6)
    with pytest.raises(ValueError, match="outside the range"):
        tc.temperature_c("B", -0.01)


def test_limits() -> None:
    for letter in tc.LETTERS:
        assert tc.emf_mv(letter, 0.0) == pytest.approx(0.0, abs=1e-9)
        low_mv, high_mv = tc.range_mv(letter)
        assert tc.temperature_c(letter, high_mv) == tc.range_c(letter)[1]
        # A printed table value rounded upwards at the end still counts.
        assert tc.temperature_c(letter, high_mv + 0.0004) == tc.range_c(letter)[1]
        if letter != "B":
            assert tc.temperature_c(letter, low_mv) == tc.range_c(letter)[0]


@pytest.mark.parametrize("letter", tc.LETTERS)
def test_refused_outside_the_range(letter: str) -> None:
    low_c, high_c = tc.range_c(letter)
    low_mv, high_mv = tc.range_mv(letter)
    for t in (low_c - 0.1, high_c + 0.1, float("nan")):
        with pytest.raises(ValueError, match="outside the range"):
            tc.emf_mv(letter, t)
    for mv in (low_mv - 0.001, high_mv + 0.001, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="outside the range"):
            tc.temperature_c(letter, mv)


def test_unknown_type_is_refused() -> None:
    with pytest.raises(ValueError, match="'X' is not one of K, J, N, T, E, R, S, B"):
        tc.emf_mv("X", 20.0)


@pytest.mark.parametrize(
    ("letter", "iec_class", "at_c", "kelvin"),
    # IEC 584-2 as reprinted by sensor makers.
    [
        ("K", 1, 300, 1.5),
        ("K", 1, 500, 2.0),
        ("K", 2, 400, 3.0),
        ("K", 2, 20, 2.5),
        ("T", 1, 100, 0.5),
        ("T", 1, 350, 1.4),
        ("J", 2, 750, 5.625),
        ("E", 2, 900, 6.75),
        ("R", 2, 600, 1.5),
        ("S", 2, 1600, 4.0),
        ("R", 1, 1600, 2.5),  # from memory
        ("B", 2, 1000, 2.5),
    ],
)
def test_tolerance(letter: str, iec_class: int, at_c: float, kelvin: float) -> None:
    assert tc.tolerance_k(letter, iec_class, at_c) == pytest.approx(kelvin)


def test_tolerance_refused() -> None:
    with pytest.raises(ValueError, match="no tolerance class 1"):
        tc.tolerance_k("B", 1, 1000)
    with pytest.raises(ValueError, match="-40 to 1200"):
        tc.tolerance_k("K", 2, 1300)
