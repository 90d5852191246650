"""Thermocouples: temperature to voltage and back by ITS-90, for all eight letter types.

Voltages are thermoelectric EMF [mV]. A meter at its terminals' temperature reads
E(hot) − E(terminals): the cold junction is added as EMF, never as degrees (adding degrees is half a
kelvin wrong for a type K at 270 °C with terminals at 25 °C).
"""

from __future__ import annotations

import math
from functools import cache
from typing import Literal

from service.physics.thermocouple_tables import K_EXPONENTIAL, PIECES, Piece

Letter = Literal["K", "J", "N", "T", "E", "R", "S", "B"]

LETTERS: tuple[str, ...] = tuple(PIECES)
"""The letter types there are reference functions for."""

ROUNDING_MV = 0.0005
"""Tables are printed to 0.001 mV: this much beyond an end of the range is that end."""

_CLOSE_ENOUGH_C = 1e-9
_MOST_STEPS = 200


def range_c(letter: str) -> tuple[float, float]:
    """Lowest and highest temperature of a type's reference function [°C].

    Raises:
        ValueError: Not one of ``LETTERS``.
    """
    pieces = _pieces(letter)
    return pieces[0].low_c, pieces[-1].high_c


def emf_mv(letter: str, temperature_c: float) -> float:
    """EMF of a thermocouple with its reference junction at 0 °C [mV].

    E = Σ cᵢ·tⁱ (type K above 0 °C: plus a0·exp(a1·(t − a2)²))

    Args:
        letter: One of ``LETTERS``.
        temperature_c: Temperature of the measuring junction [°C] within ``range_c``.

    Raises:
        ValueError: Unknown type, or a temperature outside its range.

    Source: NIST Monograph 175 (ITS-90), tables of reference functions.
    """
    pieces = _pieces(letter)
    low_c, high_c = pieces[0].low_c, pieces[-1].high_c
    if not low_c <= temperature_c <= high_c:
        raise ValueError(
            f"{temperature_c:g} °C is outside the range of type {letter}, "
            f"{low_c:g} to {high_c:g} °C"
        )
    piece = next(p for p in pieces if temperature_c <= p.high_c)
    total = 0.0
    for coefficient in reversed(piece.coefficients):
        total = total * temperature_c + coefficient
    if letter == "K" and temperature_c > 0.0:
        # At 0 °C the lower piece holds; it meets this one within 1e-9 mV.
        a0, a1, a2 = K_EXPONENTIAL
        total += a0 * math.exp(a1 * (temperature_c - a2) ** 2)
    return total


def temperature_c(letter: str, emf_mv_at_0_c: float) -> float:
    """Temperature for an EMF whose reference junction is at 0 °C [°C].

    The reference function itself is solved (no inverse polynomial, whose errors reach 0.06 K):
    regula falsi with bisection within the range in which the EMF rises with temperature.

    Args:
        letter: One of ``LETTERS``.
        emf_mv_at_0_c: EMF [mV] within ``range_mv``.

    Returns:
        The temperature, within 1e-6 K of the reference function's inverse.

    Raises:
        ValueError: Unknown type; an EMF outside the type's range; or, for type B at or below 0 mV,
            one that two temperatures between 0 and 42 °C share.

    Source: NIST Monograph 175 (ITS-90), reference functions.
    """
    low_c, high_c = _rising_c(letter)
    low_mv, high_mv = range_mv(letter)
    if letter == "B" and low_mv - ROUNDING_MV <= emf_mv_at_0_c <= 0.0:
        raise ValueError(
            f"{emf_mv_at_0_c:.4f} mV of type B has two temperatures between 0 and 42 °C: "
            "type B cannot measure there"
        )
    if not low_mv - ROUNDING_MV <= emf_mv_at_0_c <= high_mv + ROUNDING_MV:
        raise ValueError(
            f"{emf_mv_at_0_c:g} mV is outside the range of type {letter}, "
            f"{low_mv:.3f} to {high_mv:.3f} mV"
        )
    return _solve(letter, min(max(emf_mv_at_0_c, low_mv), high_mv), low_c, high_c)


def range_mv(letter: str) -> tuple[float, float]:
    """Lowest and highest EMF of a type [mV]; type B's lowest is its dip at 21 °C.

    Raises:
        ValueError: Not one of ``LETTERS``.
    """
    low_c, high_c = _rising_c(letter)
    return emf_mv(letter, low_c), emf_mv(letter, high_c)


def compensated_c(letter: str, meter_mv: float, cold_junction_c: float) -> float:
    """Temperature from what a meter reads and the temperature of its terminals [°C].

    E(hot) = E_meter + E(terminals)

    Args:
        letter: One of ``LETTERS``.
        meter_mv: Voltage at the terminals [mV].
        cold_junction_c: Temperature of the terminals [°C], within the type's range.

    Raises:
        ValueError: See :func:`emf_mv` and :func:`temperature_c`.

    Source: law of intermediate temperatures.
    """
    return temperature_c(letter, meter_mv + emf_mv(letter, cold_junction_c))


def meter_mv(letter: str, hot_c: float, cold_junction_c: float) -> float:
    """What a meter reads with its terminals at ``cold_junction_c`` [mV].

    Raises:
        ValueError: See :func:`emf_mv`.
    """
    return emf_mv(letter, hot_c) - emf_mv(letter, cold_junction_c)


def tolerance_k(letter: str, iec_class: Literal[1, 2], at_c: float) -> float:
    """Largest error of new wire allowed by IEC 60584-1 [±K]; used wire drifts beyond it.

    The greater of a fixed part and a share of the temperature. In use the class does not bound the
    error: a type K held at 350 °C reads high by a kelvin within minutes and more in hours.

    Args:
        letter: K, J, N, T or E (classes 1, 2); R, S (1, 2); B (2).
        iec_class: 1 or 2.
        at_c: Temperature [°C], within the class's range.

    Raises:
        ValueError: No such class for the type, or a temperature outside its range.

    Source: IEC 584-2 as reprinted in sensor makers' tables (class 1 of R and S from memory).
    """
    rule = _TOLERANCES.get((letter, iec_class))
    if rule is None:
        raise ValueError(f"type {letter} has no tolerance class {iec_class}")
    low_c, high_c, fixed_k, share, above_c = rule
    if not low_c <= at_c <= high_c:
        raise ValueError(
            f"{at_c:g} °C is outside type {letter}, class {iec_class}: {low_c:g} to {high_c:g} °C"
        )
    return (
        max(fixed_k, share * abs(at_c))
        if above_c is None
        else (fixed_k + share * max(at_c - above_c, 0.0))
    )


_Rule = tuple[float, float, float, float, float | None]
_TOLERANCES: dict[tuple[str, int], _Rule] = {
    ("K", 1): (-40, 1000, 1.5, 0.004, None),
    ("N", 1): (-40, 1000, 1.5, 0.004, None),
    ("J", 1): (-40, 750, 1.5, 0.004, None),
    ("E", 1): (-40, 800, 1.5, 0.004, None),
    ("T", 1): (-40, 350, 0.5, 0.004, None),
    ("K", 2): (-40, 1200, 2.5, 0.0075, None),
    ("N", 2): (-40, 1200, 2.5, 0.0075, None),
    ("J", 2): (-40, 750, 2.5, 0.0075, None),
    ("E", 2): (-40, 900, 2.5, 0.0075, None),
    ("T", 2): (-40, 350, 1.0, 0.0075, None),
    ("R", 1): (0, 1600, 1.0, 0.003, 1100),
    ("S", 1): (0, 1600, 1.0, 0.003, 1100),
    ("R", 2): (0, 1600, 1.5, 0.0025, None),
    ("S", 2): (0, 1600, 1.5, 0.0025, None),
    ("B", 2): (600, 1700, 0.0, 0.0025, None),
}
"""Range [°C], fixed part [K], share [K/°C], and from where the share counts [°C]."""


def _pieces(letter: str) -> tuple[Piece, ...]:
    pieces = PIECES.get(letter)
    if pieces is None:
        raise ValueError(f"thermocouple type {letter!r} is not one of {', '.join(LETTERS)}")
    return pieces


@cache
def _rising_c(letter: str) -> tuple[float, float]:
    """The range in which the EMF rises with temperature: all of it, but for type B's dip."""
    low_c, high_c = range_c(letter)
    if letter != "B":
        return low_c, high_c
    # Where the slope is nothing: dE/dt of the first piece changes sign once, below 42 °C.
    slope = [i * c for i, c in enumerate(_pieces("B")[0].coefficients)][1:]
    left_c, right_c = 0.0, 42.0
    for _ in range(60):
        middle_c = (left_c + right_c) / 2.0
        if sum(c * middle_c**i for i, c in enumerate(slope)) < 0.0:
            left_c = middle_c
        else:
            right_c = middle_c
    return right_c, high_c


def _solve(letter: str, wanted_mv: float, low_c: float, high_c: float) -> float:
    """The temperature between the bounds whose EMF is wanted; the EMF rises between them."""
    below, above = emf_mv(letter, low_c) - wanted_mv, emf_mv(letter, high_c) - wanted_mv
    if below >= 0.0:
        return low_c
    if above <= 0.0:
        return high_c
    for step in range(_MOST_STEPS):
        # Every third step halves, so that a curved function cannot hold one end for ever.
        share = 0.5 if step % 3 == 2 else below / (below - above)
        middle_c = low_c + share * (high_c - low_c)
        off = emf_mv(letter, middle_c) - wanted_mv
        if off == 0.0 or high_c - low_c < _CLOSE_ENOUGH_C:
            return middle_c
        if off < 0.0:
            low_c, below = middle_c, off
        else:
            high_c, above = middle_c, off
    return (low_c + high_c) / 2.0
