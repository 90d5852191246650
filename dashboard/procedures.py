"""The API for procedures: each with all its versions. They are written by actions."""

from __future__ import annotations

from flask import Blueprint, Response

from dashboard.answers import json_answer, wiring
from dashboard.problems import Problem
from service.store.errors import StoreError

procedures = Blueprint("procedures", __name__)


@procedures.get("/api/v1/procedures")
def every() -> Response:
    """By number, the newest version first."""
    try:
        return json_answer({"procedures": wiring().procedures()})
    except StoreError as error:
        raise Problem(503, "no-records", str(error), headers={"Retry-After": "5"}) from None
