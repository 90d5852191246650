"""The API for finding heats among all on record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from flask import Blueprint, Response, request

from dashboard.answers import json_answer, wiring
from dashboard.asked import Asked
from dashboard.records import found
from service.records.finding import PAGE_MOST, Wanted
from service.records.results import WANTED as OUTCOMES

finding = Blueprint("finding", __name__)

PARAMETERS = ("words", "from", "to", "deviation", "outcome", "before", "most")
MOST_DEFAULT = 100
LAST_ID = 2**31 - 1


@finding.get("/api/v1/heats/find")
def find() -> Response:
    """Heats that fit, newest first, a page of them; of the page only those of one outcome, if
    that is asked: ask on from ``next`` for more."""
    asked = Asked(request.args, PARAMETERS)
    from_us, to_us = asked.moment("from"), asked.moment("to")
    if from_us is not None and to_us is not None and from_us >= to_us:
        asked.fault("from", "is not before to")
    wanted = Wanted(
        words=tuple(asked.text("words").split()),
        from_us=from_us,
        to_us=to_us,
        deviation=asked.text("deviation"),
        before=asked.number("before", 0, 1, LAST_ID) if "before" in request.args else None,
        most=asked.number("most", MOST_DEFAULT, 1, PAGE_MOST),
    )
    outcome = asked.text("outcome") or None
    if outcome is not None and outcome not in OUTCOMES:
        asked.fault("outcome", f"is not one of {', '.join(OUTCOMES)}")
    asked.done()
    page = found(lambda: wiring().shelf.find(wanted))
    return json_answer({**page, "heats": found(lambda: _with_results(page, outcome))})


def _with_results(
    page: Mapping[str, object], outcome: str | None
) -> Sequence[Mapping[str, object]]:
    """The heats of a page with what came of each, those of one outcome."""
    heats = page["heats"]
    return wiring().results.of_list(heats, outcome) if isinstance(heats, list) else ()
