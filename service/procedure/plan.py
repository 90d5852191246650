"""The plan of a heat: how hot the oven, so that the joint is still hot enough after everything.

Backwards from the end of the last pass: each possible part (see ``plan_losses``) tells how hot it
must have been at the oven door, and the set-point is high enough for nine of ten of them. Then
forwards from there, to show how the heat goes. A plan advises: the qualified procedure rules.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from service.physics.gas import gas_heat_w
from service.physics.materials import Array
from service.procedure.learnt_words import learnt_words
from service.procedure.plan_ask import PlanAnswer, PlanAsk, Stage, StageOutlook
from service.procedure.plan_losses import BARE, Parts, possible_parts
from service.readings import Spread

ROUND_TO_C = 5.0
"""Ovens are not set finer."""
BEYOND_C = 1200.0
"""No oven for castings goes there, and no iron stays solid much longer."""
SPARE_STEP_MIN = 0.25
SPARE_MOST_MIN = 60.0


def plan_heat(ask: PlanAsk) -> PlanAnswer:
    """Plan a heat.

    Args:
        ask: Limits, stages, and what is known of the part.

    Returns:
        The oven's set-point and how the heat goes from there; without a set-point the reason and
        what would make it possible.
    """
    parts = possible_parts(ask)
    needed = needed_c(ask, parts) - parts.above_setting_k
    wanted_c = float(np.quantile(needed, ask.confidence))
    set_point_c = math.ceil(wanted_c / ROUND_TO_C) * ROUND_TO_C
    possible = set_point_c <= ask.oven_max_c
    from_c = set_point_c if possible else ask.oven_max_c
    answer = _outlook(ask, parts, from_c, needed)
    if not possible:
        return replace(
            answer,
            set_point_c=None,
            why=[
                f"the oven would have to be {_hot(set_point_c)}, and {ask.oven_max_c:.0f} °C is "
                f"its most: from there {answer.ready_share:.0%} of such heats keep "
                f"the joint above {ask.preheat_min_c:g} °C",
                *answer.why,
            ],
            remedies=remedies(ask),
        )
    return replace(answer, set_point_c=set_point_c)


def plan_at(ask: PlanAsk, set_point_c: float) -> PlanAnswer:
    """How a heat would go from a setting that is given.

    Returns:
        The same as ``plan_heat``; without a set-point where the given one would not hold, with the
        reason, and the setting that would.
    """
    parts = possible_parts(ask)
    needed = needed_c(ask, parts) - parts.above_setting_k
    answer = _outlook(ask, parts, set_point_c, needed)
    why, remedies_found = [], []
    if answer.ready_share < ask.confidence:
        why.append(
            f"from {set_point_c:.0f} °C {answer.ready_share:.0%} of such heats would keep the "
            f"joint above {ask.preheat_min_c:g} °C; {ask.confidence:.0%} are asked for"
        )
        other = plan_heat(ask)
        remedies_found = (
            other.remedies if other.set_point_c is None
            else [f"a setting of {other.set_point_c:.0f} °C"]
        )  # fmt: skip
    if set_point_c > ask.oven_max_c:
        why.append(f"{set_point_c:.0f} °C is above the oven's most of {ask.oven_max_c:.0f} °C")
    if not why:
        return replace(answer, set_point_c=set_point_c)
    return replace(answer, set_point_c=None, why=[*why, *answer.why], remedies=remedies_found)


def _hot(set_point_c: float) -> str:
    return "hotter than any" if set_point_c >= BEYOND_C else f"at {set_point_c:.0f} °C"


def needed_c(ask: PlanAsk, parts: Parts) -> Array:
    """What each possible part must have at the oven door [°C]."""
    last = max(i for i, stage in enumerate(ask.stages) if stage.kind == "pass")
    least = np.full(len(parts.rate_k_s), ask.preheat_min_c)
    at = least
    for stage in reversed(ask.stages[: last + 1]):
        at = parts.through(at, stage, back=True)
        if stage.kind == "pass":
            at = np.maximum(at, least)
    return at


def _outlook(ask: PlanAsk, parts: Parts, from_c: float, needed: Array) -> PlanAnswer:
    at = from_c + parts.above_setting_k
    without_gas = at
    begins_min, stages = 0.0, []
    first: tuple[Array, Stage] | None = None
    for stage in ask.stages:
        stages.append(StageOutlook(stage.kind, begins_min, _spread(at)))
        if stage.kind == "pass" and first is None:
            first = at, stage
        at = parts.through(at, stage)
        without_gas = parts.through(without_gas, replace(stage, argon_flow_l_min=0.0))
        begins_min += stage.minutes
    below = None
    why = []
    if first is not None and ask.interpass_max_c is not None:
        below = float(np.mean(first[0] <= ask.interpass_max_c))
        if below < ask.confidence:
            why.append(
                f"when the first pass begins the joint is still above {ask.interpass_max_c:g} °C "
                f"in {1 - below:.0%} of such heats: let it come down, or make fewer passes a heat"
            )
    why += learnt_words(ask, stages)
    if not ask.past and BARE not in ask.learnt:
        why.append(
            "no heat of this part is known yet: the setting has room for many kinds of casting"
            if ask.mass_kg is not None and ask.area_m2 is not None
            else "neither mass and area nor a heat before is known: the setting has room for "
            "anything from thin to heavy"
        )
    argon_w, argon_share = _argon(ask, parts, first)
    return PlanAnswer(
        set_point_c=from_c,
        stages=stages,
        end_c=_spread(at),
        ready_share=float(np.mean(needed <= from_c)),
        below_interpass_share=below,
        spare_min=_spare_min(ask, parts, from_c),
        argon_w=argon_w,
        argon_share=argon_share,
        argon_k=float(np.median(without_gas - at)),
        why=why,
    )


def _argon(
    ask: PlanAsk, parts: Parts, first: tuple[Array, Stage] | None
) -> tuple[float | None, float | None]:
    """Heat the gas takes when the first pass begins [W], and its share of all that is lost."""
    if first is None or ask.mass_kg is None or first[1].argon_flow_l_min <= 0:
        return None, None
    at, stage = first
    middle_c = float(np.median(at))
    most_w = gas_heat_w(stage.argon_flow_l_min, ask.ambient_c, middle_c)
    if ask.area_m2 is None:
        return most_w, None
    quiet = replace(stage, arc_w=0.0)
    all_of_it = parts.slope_k_s(at, quiet)
    rest = parts.slope_k_s(at, replace(quiet, argon_flow_l_min=0.0))
    return most_w, float(np.median(1.0 - rest / all_of_it))


def _spare_min(ask: PlanAsk, parts: Parts, from_c: float) -> float:
    """How much longer the last thing before the first pass may take [min]."""
    first = next(i for i, stage in enumerate(ask.stages) if stage.kind == "pass")
    if first == 0:
        return 0.0
    low = 0
    high = round(SPARE_MOST_MIN / SPARE_STEP_MIN)
    while low < high:  # the share that is ready only falls with waiting
        middle = (low + high + 1) // 2
        before = ask.stages[first - 1]
        longer = replace(before, minutes=min(600.0, before.minutes + middle * SPARE_STEP_MIN))
        waited = replace(ask, stages=(*ask.stages[: first - 1], longer, *ask.stages[first:]))
        needed = needed_c(waited, parts) - parts.above_setting_k
        if float(np.mean(needed <= from_c)) >= ask.confidence:
            low = middle
        else:
            high = middle - 1
    return low * SPARE_STEP_MIN


def remedies(ask: PlanAsk) -> list[str]:
    """What would bring the set-point below the oven's highest, each tried by itself."""
    found = []
    for text, change in _CHANGES:
        changed = change(ask)
        if changed is None or changed.stages == ask.stages:
            continue
        parts = possible_parts(changed)
        needed = needed_c(changed, parts) - parts.above_setting_k
        wanted_c = float(np.quantile(needed, ask.confidence))
        if math.ceil(wanted_c / ROUND_TO_C) * ROUND_TO_C <= ask.oven_max_c:
            found.append(f"{text}: then {math.ceil(wanted_c / ROUND_TO_C) * ROUND_TO_C:.0f} °C")
    return found


def _blanket(ask: PlanAsk) -> PlanAsk | None:
    return replace(
        ask,
        stages=tuple(
            replace(stage, covered=True) if stage.kind in ("fit-up", "purge", "pause") else stage
            for stage in ask.stages
        ),
    )


def _shorter(ask: PlanAsk) -> PlanAsk | None:
    return replace(
        ask,
        stages=tuple(
            replace(stage, minutes=stage.minutes / 2) if stage.kind == "fit-up" else stage
            for stage in ask.stages
        ),
    )


def _one_pass(ask: PlanAsk) -> PlanAsk | None:
    """The part goes back into the oven after the first pass."""
    first = next(i for i, stage in enumerate(ask.stages) if stage.kind == "pass")
    return replace(ask, stages=ask.stages[: first + 1])


_CHANGES: tuple[tuple[str, Callable[[PlanAsk], PlanAsk | None]], ...] = (
    ("a blanket during fit-up, purge and pauses", _blanket),
    ("fit-up in half the time", _shorter),
    ("re-heat after each pass", _one_pass),
)


def _spread(values: Array) -> Spread:
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
    return Spread(float(low), float(middle), float(high))
