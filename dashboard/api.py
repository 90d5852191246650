"""The API behind the pages: the bench, a channel's past, actions, and the service's own health."""

from __future__ import annotations

import math
import time
from importlib.resources import files

from flask import Blueprint, Response, current_app, request
from pydantic import ValidationError

from dashboard import openmetrics
from dashboard.answers import json_answer, wiring
from dashboard.hands import check_action
from dashboard.history_question import HistoryQuestion
from dashboard.problems import Problem, faults, shown
from dashboard.times import to_rfc3339
from dashboard.wiring import HistoryPoint
from service.judge.actions import operator_action
from service.judge.events import Refused
from service.store.errors import StoreError

STALE_S = 5.0
"""A posting older than this is not sent: the judge hangs, and old numbers would look alive."""

api = Blueprint("api", __name__)


@api.get("/api/v1/bench")
def bench() -> Response:
    """The whole bench, or 304 when the sender already has it; 503 when the judge hangs."""
    posting = wiring().latest()
    if posting is None:
        raise _unavailable("no-posting", "The service is starting: nothing has been judged yet.")
    age_s = time.monotonic() - posting.posted_at
    if age_s > STALE_S:
        raise _unavailable(
            "stale", f"The last judgement is {age_s:.0f} s old, more than {STALE_S:g} s."
        )
    if request.if_none_match.contains_weak(posting.etag):
        answer = Response(status=304)
    else:
        answer = Response(posting.body, content_type="application/json")
    answer.set_etag(posting.etag)
    answer.headers["Cache-Control"] = "no-cache"
    answer.headers["Heatwindow-Page"] = current_app.extensions["heatwindow-assets"].digest
    return answer


def _unavailable(code: str, detail: str) -> Problem:
    return Problem(503, code, detail, headers={"Retry-After": "1"})


@api.get("/api/v1/history")
def history() -> Response:
    """One channel's past, thinned to at most ``points`` stretches."""
    asked = HistoryQuestion(request.args, wiring().now_us())
    channel, start_us, end_us = asked.channel, asked.start_us, asked.end_us
    found = wiring().history(channel, start_us, end_us, asked.points)
    if found is None:
        raise Problem(404, "unknown-channel", f"No channel is called {shown(channel)!r}.")
    return json_answer(
        {
            "channel": channel,
            "unit": found.unit,
            "start": to_rfc3339(start_us),
            "end": to_rfc3339(end_us),
            "points": [_point(point) for point in found.points],
        }
    )


def _point(point: HistoryPoint) -> dict[str, object]:
    low, high = point.low, point.high
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
        low = high = None
    return {"t": to_rfc3339(point.t_us), "low": low, "high": high}


@api.post("/api/v1/actions")
def act() -> Response:
    """Do what an operator asks."""
    check_action()
    try:
        # Strictly: a slip in a program must not be taken for a number (false for 0, "1" for 1).
        action = operator_action.validate_json(request.get_data(), strict=True)
    except ValidationError as error:
        found = faults(error, tagged=True)
        raise Problem(
            422, "bad-action", "; ".join(f"{f['field']}: {f['message']}" for f in found), found
        ) from None
    try:
        result = wiring().act(action)
    except Refused as refusal:
        raise Problem(409, "refused", str(refusal)) from None
    except StoreError as error:
        raise Problem(503, "no-records", str(error), headers={"Retry-After": "5"}) from None
    return json_answer(
        {
            "kind": action.kind,
            "seq": result.seq,
            "part_id": result.part_id,
            "heat_id": result.heat_id,
            "recorded": result.recorded,
        }
    )


@api.get("/api/v1/notices")
def notices() -> Response:
    """What must be told about the records and has not been read yet."""
    return _notices()


@api.post("/api/v1/notices/<int:notice_id>/seen")
def notice_seen(notice_id: int) -> Response:
    """Somebody has read one; what is left."""
    check_action()
    if notice_id == 0:
        raise Problem(409, "stays", "Notice 0 stays until its cause is gone; its text says how.")
    try:
        found = wiring().notice_seen(notice_id)
    except Refused as refusal:
        raise Problem(409, "refused", str(refusal)) from None
    if not found:
        raise Problem(404, "no-notice", f"There is no notice {notice_id} waiting to be read.")
    return _notices()


def _notices() -> Response:
    waiting = [
        {"id": notice.id, "at": to_rfc3339(notice.at_us), "text": notice.text}
        for notice in wiring().notices()
    ]
    return json_answer({"notices": waiting})


@api.get("/healthz")
def healthz() -> Response:
    """200 while every worker makes progress, else 503; the body says which does not."""
    healthy, body = wiring().health()
    return json_answer(body, status=200 if healthy else 503)


@api.get("/metrics")
def metrics() -> Response:
    """Figures about the service, for a scraper."""
    answer = Response(openmetrics.render(wiring().metrics()), content_type=openmetrics.CONTENT_TYPE)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@api.get("/api/v1/openapi.json")
def openapi() -> Response:
    """This API, described."""
    return Response(
        files("service").joinpath("openapi.json").read_bytes(), content_type="application/json"
    )
