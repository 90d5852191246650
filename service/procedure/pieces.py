"""How much a cavity holds, piece by piece, as a person writes the pieces down.

Put together from what the shop can measure: pipe by size, tube by outside diameter and gauge or
wall, elbows, cones, or water weighed in. What cannot be measured can be learnt by a purge with an
oxygen sensor (``heatwindow purge`` says what the cavity behaved as).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from service.physics.geometry import (
    INCH_MM,
    Pipe,
    cone_l,
    elbow_l,
    schedule_10s,
    straight_l,
    tube,
    water_fill_l,
)

_NUMBER = r"(\d+(?:\.\d+)?)"
_NOMINAL = r"(\d+(?: \d+/\d+)?|\d+/\d+)"

FORMS: dict[str, str] = {
    "pipe 2 x 300": "300 mm of stainless pipe, nominal 2 inch, schedule 10S",
    "tube 60.3 gauge 16 x 300": "300 mm of tube, 60.3 mm outside, 16 gauge (Birmingham) wall",
    "tube 60.3 wall 1.5 x 300": "the same by its wall in mm",
    "elbow 2": "a long-radius 90° elbow, nominal 2 inch, schedule 10S",
    "elbow 1 1/2 45": "the same of 45°, nominal 1 1/2 inch",
    "bend 60.3 wall 1.5 r 90 60": "a bend of 60° in such tube, 90 mm centre-line radius",
    "cone 60 30 x 80": "a cone from 60 to 30 mm inside, 80 mm long",
    "water 6.35 4.00": "filled with water it weighs 6.35 kg, empty 4.00 kg",
    "water 6.35 4.00 at 15": "the same, the water at 15 °C",
    "litres 0.4": "0.4 l known otherwise; 'less 0.4' takes it off",
}
"""What a piece may look like, and what it means."""

BAKE_DRY = (
    "A cavity that held water must be baked dry before it is heated or welded: above 100 °C, "
    "ports open, until no steam comes. Trapped water bursts a casting."
)
CAUTION = (
    "Stated to a purge, a volume is taken to be right within about 12 %; what it leaves out "
    "(branches, capped runners) must be added, or the purge is called clear too soon."
)


class BadPiece(ValueError):
    """What somebody wrote is no piece; one sentence with what is allowed."""


def holds_water(piece: str) -> bool:
    """Whether the piece was measured with water, and must be baked dry."""
    return piece.lower().split()[:1] == ["water"]


def _nominal(text: str) -> float:
    whole, _, part = text.rpartition(" ") if " " in text else ("", "", text)
    upper, _, lower = part.partition("/")
    return (float(whole) if whole else 0.0) + float(upper) / float(lower or 1)


def _pipe(nominal: str, length: str) -> float:
    return straight_l(schedule_10s(nominal), float(length))


def _tube_by_gauge(outside: str, gauge: str, length: str) -> float:
    return straight_l(tube(float(outside), int(gauge)), float(length))


def _tube_by_wall(outside: str, wall: str, length: str) -> float:
    return straight_l(Pipe(float(outside), float(wall)), float(length))


def _elbow(nominal: str, angle: str | None) -> float:
    # The smallest sizes have the radius of 1 inch (ASME B16.9, from memory: 38 mm).
    radius_mm = 1.5 * INCH_MM * max(_nominal(nominal), 1.0)
    return elbow_l(schedule_10s(nominal), radius_mm, 90.0 if angle is None else float(angle))


def _bend(outside: str, wall: str, radius: str, angle: str) -> float:
    return elbow_l(Pipe(float(outside), float(wall)), float(radius), float(angle))


def _cone(large: str, small: str, length: str) -> float:
    return cone_l(float(large), float(small), float(length))


def _water(full: str, empty: str, at: str | None) -> float:
    return water_fill_l(float(full), float(empty), 20.0 if at is None else float(at))


def _known(sign: str, litres: str) -> float:
    return float(litres) if sign == "litres" else -float(litres)


_READERS: list[tuple[str, Callable[..., float]]] = [
    (rf"pipe {_NOMINAL} x {_NUMBER}", _pipe),
    (rf"tube {_NUMBER} gauge (\d+) x {_NUMBER}", _tube_by_gauge),
    (rf"tube {_NUMBER} wall {_NUMBER} x {_NUMBER}", _tube_by_wall),
    (rf"elbow {_NOMINAL}(?: {_NUMBER})?", _elbow),
    (rf"bend {_NUMBER} wall {_NUMBER} r {_NUMBER} {_NUMBER}", _bend),
    (rf"cone {_NUMBER} {_NUMBER} x {_NUMBER}", _cone),
    (rf"water {_NUMBER} {_NUMBER}(?: at {_NUMBER})?", _water),
    (rf"(litres|less) {_NUMBER}", _known),
]


def piece_l(text: str) -> float:
    """Litres of one piece, written as in ``FORMS``; lengths in mm, weights in kg.

    Raises:
        BadPiece: Not such a piece, or a size that does not exist; says what is allowed.
    """
    plain = " ".join(text.lower().split())
    for pattern, reader in _READERS:
        found = re.fullmatch(pattern, plain)
        if found is None:
            continue
        try:
            return reader(*found.groups())
        except ValueError as error:
            raise BadPiece(f"piece {text!r}: {error}") from error
    allowed = ", ".join(repr(form) for form in FORMS)
    raise BadPiece(f"piece {text!r} is not understood; pieces look like {allowed}")


def total_l(pieces: Sequence[str]) -> float:
    """Litres of all pieces together.

    Raises:
        BadPiece: A piece is not understood, or nothing is left.
    """
    total = sum(piece_l(piece) for piece in pieces)
    if total <= 0.0:
        raise BadPiece(f"the pieces hold {total:.3f} l together; a cavity holds more than none")
    return total
