"""The API for plans of heats. Asking changes nothing, so any device that may see may ask."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, request
from pydantic import ValidationError

from dashboard.answers import json_answer, wiring
from dashboard.guard import check_sender
from dashboard.plan_question import PlanQuestion
from dashboard.problems import Problem, faults
from service.procedure.plan import plan_at, plan_heat
from service.procedure.plan_ask import PlanAnswer, PlanAsk, PlanRefused
from service.procedure.plan_words import (
    CAUTION,
    document,
    gas_of,
    gas_words,
    lead,
    reasons,
    soak_min,
)
from service.records.repeat import Repeat
from service.store.errors import StoreError

plans = Blueprint("plans", __name__)


@plans.post("/api/v1/plan")
def plan() -> Response:
    """Plan a heat: how hot the oven, how it goes from there, and what it takes."""
    check_sender()
    try:
        asked = PlanQuestion.model_validate_json(request.get_data())
    except ValidationError as error:
        found = faults(error)
        raise Problem(
            422, "bad-plan", "; ".join(f"{f['field']}: {f['message']}" for f in found), found
        ) from None
    try:
        told = _repeated(asked) if asked.repeat_heat is not None else _planned(asked)
    except PlanRefused as refusal:
        raise Problem(422, "bad-plan", str(refusal)) from None
    except StoreError as error:
        raise Problem(422, "bad-plan", str(error)) from None
    return json_answer(told)


def _planned(asked: PlanQuestion) -> dict[str, Any]:
    learnt = {} if asked.part_id is None else wiring().lessons.lessons(asked.part_id)
    ask = asked.ask(learnt)
    return _told(asked, ask, plan_heat(ask), None)


def _repeated(asked: PlanQuestion) -> dict[str, Any]:
    again = wiring().lessons.repeat(
        asked.repeat_heat or 0,
        oven_max_c=asked.oven_max_c,
        ambient_c=asked.ambient_c,
        confidence=asked.confidence,
        arc_w=asked.arc_w,
    )
    answer = plan_at(again.ask, again.set_c)
    return _told(asked, again.ask, answer, again)


def _told(
    asked: PlanQuestion, ask: PlanAsk, answer: PlanAnswer, again: Repeat | None
) -> dict[str, Any]:
    thickest_mm = asked.thickest_mm or (None if again is None else again.thickest_mm)
    soak = soak_min(thickest_mm)
    gas = gas_of(ask, asked.torch_flow_l_min, asked.bottle_l)
    words = {
        "lead": lead(ask, answer, soak),
        "gas": gas_words(answer, gas),
        "reasons": reasons(answer),
        "caution": CAUTION,
    }
    repeats = None if again is None else again.told()
    return document(answer, gas, soak, repeats) | {"words": words}
