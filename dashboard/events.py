"""The API for what happened in the shop over a stretch of time, on the axis of the history."""

from __future__ import annotations

from flask import Blueprint, Response, request

from dashboard.answers import json_answer, wiring
from dashboard.asked import SPAN_MAX_US, Asked
from dashboard.records import found
from service.records.events_over import PAGE_MOST, Place, place_of

events = Blueprint("events", __name__)

PARAMETERS = ("start", "end", "after", "most")
MOST_DEFAULT = 500


@events.get("/api/v1/events")
def shop_events() -> Response:
    """Heats, phases, passes, alarms and notes of all parts, in order of time, a page of them."""
    asked = Asked(request.args, PARAMETERS)
    start_us = asked.moment("start")
    end_us = asked.moment("end") if "end" in request.args else wiring().now_us()
    if "start" not in request.args:
        asked.fault("start", "is missing: an RFC 3339 date and time")
    if start_us is not None and end_us is not None:
        if start_us >= end_us:
            asked.fault("start", "is not before end")
        elif end_us - start_us > SPAN_MAX_US:
            asked.fault("start", "is more than 366 days before end")
    most = asked.number("most", MOST_DEFAULT, 1, PAGE_MOST)
    after = _after(asked)
    asked.done()
    within_us = (start_us or 0, end_us or 0)
    return json_answer(found(lambda: wiring().shelf.events(within_us, after, most)))


def _after(asked: Asked) -> Place | None:
    text = asked.text("after")
    if not text:
        return None
    try:
        return place_of(text)
    except ValueError as error:
        asked.fault("after", str(error))
        return None
