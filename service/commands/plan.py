"""``heatwindow plan``: how hot the oven must be so that the joint is still hot after everything."""

from __future__ import annotations

import argparse
import json
import re
import typing
from collections.abc import Mapping
from typing import Any

from service.commands.errors import BadInput
from service.commands.record_options import add_database, opened
from service.judge.actions import Metal
from service.procedure.lessons import Learnt, Quantity
from service.procedure.plan import plan_at, plan_heat
from service.procedure.plan_ask import PastHeat, PlanAnswer, PlanAsk, PlanRefused, Stage, StageKind
from service.procedure.plan_words import (
    CAUTION,
    Gas,
    document,
    gas_of,
    gas_words,
    lead,
    reasons,
    soak_min,
)
from service.records.repeat import Repeat, of_today, repeat_of
from service.records.teaching import Teaching

KINDS = typing.get_args(StageKind)
METALS = typing.get_args(Metal)
NUMBER = r"(\d+(?:\.\d+)?)"
STAGE = re.compile(rf"({'|'.join(KINDS)}) {NUMBER}( covered)?")
PAST = re.compile(rf"{NUMBER} at {NUMBER}")


def add_plan(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``plan`` to the command line."""
    parser = subparsers.add_parser(
        "plan",
        help="how hot the oven must be for a heat",
        description="Plans a heat backwards from its last pass.",
    )
    parser.add_argument(
        "stages",
        nargs="*",
        metavar="STAGE",
        help="in order, in minutes: 'carry 1' 'fit-up 3' 'purge 2' 'pass 2' 'pause 1 covered'; "
        f"of {', '.join(KINDS)}",
    )
    number: dict[str, Any] = {"type": float, "metavar": "N"}
    parser.add_argument("--preheat", help="preheat minimum [°C]; needed with stages", **number)
    parser.add_argument(
        "--part", type=int, metavar="N", help="reckon with what the heats of this part taught"
    )
    parser.add_argument(
        "--repeat",
        type=int,
        metavar="HEAT",
        help="this heat once more, as it was: instead of stages, limits and sizes",
    )
    add_database(parser)
    parser.add_argument("--interpass", help="interpass maximum [°C]", **number)
    parser.add_argument(
        "--metal", default="iron, unknown", help=f"one of: {'; '.join(METALS)}", metavar="METAL"
    )
    parser.add_argument("--mass-kg", help="mass of the casting", **number)
    parser.add_argument("--area-m2", help="its outer surface", **number)
    parser.add_argument("--thickest-mm", help="its thickest section, for the soak", **number)
    parser.add_argument("--oven-max", default=650.0, help="highest setting [°C]", **number)
    parser.add_argument("--ambient", default=20.0, help="air in the shop [°C]", **number)
    parser.add_argument(
        "--argon-flow", default=0.0, help="purge gas from the purge on [l/min]", **number
    )
    parser.add_argument("--torch-flow", default=0.0, help="torch gas in passes [l/min]", **number)
    parser.add_argument("--arc-w", default=0.0, help="arc heat into the part [W]", **number)
    parser.add_argument("--bottle-l", help="argon left [l at 20 °C]", **number)
    parser.add_argument(
        "--past",
        action="append",
        default=[],
        metavar="'RATE at C'",
        help="a heat of this part before: it lost RATE °C/h at C °C, bare on the bench; repeat",
    )
    parser.add_argument("--confidence", default=0.9, help="0.5 to 0.99", **number)
    parser.add_argument("--json", action="store_true", help="one JSON object instead of text")
    parser.set_defaults(run=run_plan)


def run_plan(given: argparse.Namespace) -> int:
    """Print the plan; 0 when there is one, 1 when no setting of the oven will do."""
    if given.repeat is not None:
        return _repeat(given)
    if not given.stages or given.preheat is None:
        raise BadInput("give the stages and --preheat, or --repeat with the number of a heat")
    if given.part is None and (given.database is not None or given.config is not None):
        raise BadInput("--database and --config go with --part or --repeat")
    ask = _ask(given)
    return _print(given, ask, plan_heat(ask), None)


def _repeat(given: argparse.Namespace) -> int:
    if given.stages or given.preheat is not None or given.part is not None:
        raise BadInput("--repeat goes without stages, --preheat and --part: they are that heat's")
    with opened(given) as store:
        try:
            again = repeat_of(
                Teaching(store),
                given.repeat,
                oven_max_c=given.oven_max,
                ambient_c=given.ambient,
                confidence=given.confidence,
                arc_w=given.arc_w,
            )
        except PlanRefused as error:
            raise BadInput(str(error)) from error
    return _print(given, again.ask, plan_at(again.ask, again.set_c), again)


def _print(
    given: argparse.Namespace, ask: PlanAsk, answer: PlanAnswer, again: Repeat | None
) -> int:
    gas = gas_of(ask, given.torch_flow, given.bottle_l)
    thickest_mm = given.thickest_mm or (None if again is None else again.thickest_mm)
    try:
        soak = soak_min(thickest_mm)
    except PlanRefused as error:
        raise BadInput(f"--thickest-mm: {error}") from error
    repeats = None if again is None else again.told()
    if given.json:
        print(json.dumps(document(answer, gas, soak, repeats), ensure_ascii=False))
    else:
        first = [] if again is None else [again.words]
        print("\n".join(first + _text(ask, answer, gas, soak)))
    return 0 if answer.set_point_c is not None else 1


def _learnt(given: argparse.Namespace) -> Mapping[Quantity, Learnt]:
    if given.part is None:
        return {}
    with opened(given) as store:
        try:
            of_today(store, given.part)
        except PlanRefused as error:
            raise BadInput(f"--part: {error}") from error
        return Teaching(store).part(given.part).learnt


def _ask(given: argparse.Namespace) -> PlanAsk:
    if given.metal not in METALS:
        raise BadInput(f"--metal {given.metal!r} is not one of: {'; '.join(METALS)}")
    try:
        return PlanAsk(
            metal=given.metal,
            preheat_min_c=given.preheat,
            stages=_stages(given),
            mass_kg=given.mass_kg,
            area_m2=given.area_m2,
            interpass_max_c=given.interpass,
            oven_max_c=given.oven_max,
            ambient_c=given.ambient,
            confidence=given.confidence,
            past=tuple(_past(text, given.ambient) for text in given.past),
            learnt=_learnt(given),
        )
    except PlanRefused as error:
        raise BadInput(str(error)) from error


def _stages(given: argparse.Namespace) -> tuple[Stage, ...]:
    found, gas_on = [], False
    for text in given.stages:
        match = STAGE.fullmatch(text)
        if match is None:
            raise BadInput(
                f"stage {text!r} is not '<what> <minutes>' or '<what> <minutes> covered', "
                f"what being one of {', '.join(KINDS)}"
            )
        kind: Any = match[1]
        gas_on = gas_on or kind == "purge"
        found.append(
            Stage(
                kind,
                float(match[2]),
                argon_flow_l_min=given.argon_flow if gas_on else 0.0,
                arc_w=given.arc_w if kind == "pass" else 0.0,
                covered=match[3] is not None,
            )
        )
    return tuple(found)


def _past(text: str, ambient_c: float) -> PastHeat:
    match = PAST.fullmatch(text)
    if match is None or float(match[1]) == 0 or float(match[2]) <= ambient_c:
        raise BadInput(
            f"--past {text!r} is not 'RATE at C', as in '1400 at 330': °C/h, and a temperature "
            "above the air"
        )
    return PastHeat(float(match[1]) / 3600.0, float(match[2]), ambient_c)


def _text(ask: PlanAsk, answer: PlanAnswer, gas: Gas, soak: float | None) -> list[str]:
    lines = lead(ask, answer, soak)
    for stage in answer.stages:
        spread = stage.temperature_c
        lines.append(
            f"  {stage.begins_min:5.1f} min  {stage.kind:<7} begins at {spread.p50:.0f} °C "
            f"({spread.p05:.0f} to {spread.p95:.0f})"
        )
    lines.append(
        f"  the last pass ends at {answer.end_c.p50:.0f} °C "
        f"({answer.end_c.p05:.0f} to {answer.end_c.p95:.0f})"
    )
    return [*lines, *gas_words(answer, gas), *reasons(answer), CAUTION]
