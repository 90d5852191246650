"""``heatwindow steel``: heat input, carbon equivalents, preheat and t8/5 of a ferritic steel joint.

For the tube's side of the joint, never for a casting: what a formula does not cover it refuses,
with the reason, and the rest is answered all the same.
"""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Callable
from typing import Any

from service.commands.errors import BadInput
from service.physics.steel import (
    Composition,
    ce_iiw,
    cet,
    pcm,
    preheat_method_b_c,
    t85,
)
from service.physics.weld_heat import EFFICIENCY, heat_input_kj_mm

ELEMENTS = {
    "C": "carbon", "Si": "silicon", "Mn": "manganese", "Cr": "chromium", "Mo": "molybdenum",
    "V": "vanadium", "Ni": "nickel", "Cu": "copper", "B": "boron",
}  # fmt: skip

ADVICE = (
    "Ferritic steel only, and an aid to a qualified procedure, not one itself: the steel's and the "
    "filler's papers and the code in force come first."
)


def composition(text: str) -> Composition:
    """A composition written as ``"C 0.17 Mn 1.40"``, mass per cent.

    Raises:
        BadInput: An element that is not known or said twice, no number, a share out of range.
    """
    words = re.split(r"[\s,;=]+", text.strip())
    if len(words) % 2 or not words[0]:
        raise BadInput(f"composition {text!r}: an element and its per cent, as in 'C 0.17 Mn 1.40'")
    shares: dict[str, float] = {}
    for symbol, number in zip(words[::2], words[1::2], strict=True):
        name = ELEMENTS.get(symbol.capitalize())
        if name is None or name in shares:
            what = "is said twice" if name else f"is not one of {', '.join(ELEMENTS)}"
            raise BadInput(f"composition {text!r}: {symbol} {what}")
        try:
            shares[name] = float(number)
        except ValueError:
            raise BadInput(f"composition {text!r}: {number!r} is not a number") from None
    try:
        return Composition(**{"carbon": 0.0} | shares)
    except ValueError as error:
        raise BadInput(f"composition {text!r}: {error}") from error


def add_steel(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Register the subcommand; its handler returns the exit code."""
    parser = subparsers.add_parser(
        "steel",
        help="heat input, carbon equivalent, preheat and t8/5 of a ferritic steel",
        description="Heat input (EN 1011-1), carbon equivalents, preheat by EN 1011-2 method B and "
        "the cooling time t8/5. Nothing of it holds for castings.",
        epilog=ADVICE,
    )
    parser.add_argument("composition", help="such as 'C 0.17 Si 0.3 Mn 1.4', mass per cent")
    parser.add_argument("--metal", default="carbon steel", help="a casting metal is refused")
    parser.add_argument("--thickness-mm", type=float, help="plate or wall [mm]")
    parser.add_argument("--hydrogen-ml-100g", type=float, default=5.0, help="diffusible; 5")
    parser.add_argument("--yield-n-mm2", type=float, default=355.0, help="yield strength; 355")
    parser.add_argument("--plate-c", type=float, default=20.0, help="before the run, for t8/5; 20")
    parser.add_argument("--heat-input-kj-mm", type=float, help="or the next four")
    parser.add_argument("--process", default="TIG", help=", ".join(EFFICIENCY))
    parser.add_argument("--voltage-v", type=float)
    parser.add_argument("--current-a", type=float)
    parser.add_argument("--travel-mm-s", type=float)
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run_steel)


def run_steel(arguments: argparse.Namespace) -> int:
    """Run ``heatwindow steel``."""
    steel = composition(arguments.composition)
    answer: dict[str, Any] = {
        "ce_iiw_percent": round(ce_iiw(steel), 4),
        "cet_percent": round(cet(steel), 4),
        "pcm_percent": round(pcm(steel), 4),
    }
    given_kj_mm = _heat_input(arguments)
    answer["heat_input_kj_mm"] = None if given_kj_mm is None else round(given_kj_mm, 4)
    answer["preheat"], answer["t85"] = None, None
    if given_kj_mm is not None and arguments.thickness_mm is not None:
        answer["preheat"] = _or_reason(lambda: _preheat(arguments, cet(steel), given_kj_mm))
        answer["t85"] = _or_reason(lambda: _t85(arguments, given_kj_mm))
    if arguments.json:
        print(json.dumps(answer, allow_nan=False))
        return 0
    print("\n".join(_lines(answer)))
    print(ADVICE)
    return 0


def _heat_input(arguments: argparse.Namespace) -> float | None:
    run = (arguments.voltage_v, arguments.current_a, arguments.travel_mm_s)
    if arguments.heat_input_kj_mm is not None:
        if any(value is not None for value in run):
            raise BadInput("give either --heat-input-kj-mm or voltage, current and travel")
        given = float(arguments.heat_input_kj_mm)
        if not 0.0 < given <= 10.0:
            raise BadInput(f"heat input {given:g} kJ/mm must be above 0 and at most 10 kJ/mm")
        return given
    if all(value is None for value in run):
        return None
    if any(value is None for value in run):
        raise BadInput("heat input needs --voltage-v, --current-a and --travel-mm-s together")
    try:
        return heat_input_kj_mm(arguments.process, *run)
    except ValueError as error:
        raise BadInput(str(error)) from error


def _preheat(arguments: argparse.Namespace, cet_percent: float, q: float) -> dict[str, Any]:
    found = preheat_method_b_c(
        cet_percent,
        arguments.thickness_mm,
        arguments.hydrogen_ml_100g,
        q,
        metal=arguments.metal,
        yield_n_mm2=arguments.yield_n_mm2,
    )
    return {"preheat_c": round(found, 1)}


def _t85(arguments: argparse.Namespace, q: float) -> dict[str, Any]:
    found = t85(q, arguments.thickness_mm, arguments.plate_c, metal=arguments.metal)
    return {
        "t85_s": round(found.t85_s, 2),
        "flow": found.flow,
        "transition_mm": round(found.transition_mm, 2),
    }


def _or_reason(ask: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """The answer, or why the formula gives none."""
    try:
        return ask() | {"reason": None}
    except ValueError as error:
        return {"reason": str(error)}


def _lines(answer: dict[str, Any]) -> list[str]:
    lines = [
        f"CE(IIW)     {answer['ce_iiw_percent']:.3f} %",
        f"CET         {answer['cet_percent']:.3f} %",
        f"Pcm         {answer['pcm_percent']:.4f} %",
    ]
    if answer["heat_input_kj_mm"] is not None:
        lines.append(f"heat input  {answer['heat_input_kj_mm']:.3f} kJ/mm")
    preheat, cooling = answer["preheat"], answer["t85"]
    if preheat is None or cooling is None:
        return [*lines, "preheat and t8/5 need a heat input and --thickness-mm"]
    words = preheat["reason"]
    if words is None:
        words = f"{preheat['preheat_c']:.0f} °C at the least (EN 1011-2, method B)"
    lines.append(f"preheat     {words}")
    words = cooling["reason"]
    if words is None:
        words = f"{cooling['t85_s']:.1f} s ({cooling['flow']}; 3-D from "
        words += f"{cooling['transition_mm']:.1f} mm)"
    return [*lines, f"t8/5        {words}"]
