"""The API for what the heats of a part taught."""

from __future__ import annotations

from flask import Blueprint, Response

from dashboard.answers import json_answer, wiring
from dashboard.problems import Problem
from service.procedure.plan_ask import PlanRefused
from service.store.errors import StoreError

learnt = Blueprint("learnt", __name__)


@learnt.get("/api/v1/parts/<int:part_id>/learnt")
def of_part(part_id: int) -> Response:
    """What its heats taught, each with its uncertainty and where it was seen."""
    try:
        return json_answer(wiring().lessons.learnt(part_id))
    except PlanRefused as refusal:
        said = str(refusal)
        raise Problem(404, "unknown-part", f"{said[:1].upper()}{said[1:]}.") from None
    except StoreError as error:
        raise Problem(503, "no-records", str(error), headers={"Retry-After": "5"}) from None
