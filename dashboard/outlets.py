"""The API for outlets: how each way of telling is doing, and sending a test notice by one."""

from __future__ import annotations

from flask import Blueprint, Response

from dashboard.answers import json_answer, wiring
from dashboard.hands import check_action
from dashboard.problems import Problem, shown

outlets = Blueprint("outlets", __name__)


@outlets.get("/api/v1/outlets")
def list_outlets() -> Response:
    """Every configured outlet, with what became of its last test notice."""
    return _outlets()


@outlets.post("/api/v1/outlets/<key>/try")
def try_outlet(key: str) -> Response:
    """Send a test notice; answers at once, the outcome then stands with the outlet."""
    check_action()
    if not wiring().try_outlet(key):
        raise Problem(404, "no-outlet", f"No outlet {shown(key)!r} is configured.")
    return _outlets()


def _outlets() -> Response:
    return json_answer({"outlets": list(wiring().outlets())})
