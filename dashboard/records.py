"""The API for records: every heat on record, one of them, its chart, and what is handed over."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from flask import Blueprint, Response, request

from dashboard.answers import json_answer, wiring
from dashboard.lines_question import LinesQuestion
from dashboard.problems import Problem, shown
from service.records.compare import ALIGNMENTS, MOST_HEATS, Alignment
from service.records.gather import UnknownHeat
from service.store.errors import StoreError

records = Blueprint("records", __name__)

PAPERS = ("A4", "Letter")
LONGEST_ID = 18
"""Digits of a heat's number: what an integer of the database holds."""
_T = TypeVar("_T")


def found(make: Callable[[], _T]) -> _T:
    """What a shelf answers, its errors as problems."""
    try:
        return make()
    except UnknownHeat as error:
        raise Problem(404, "unknown-heat", f"{str(error)[:1].upper()}{str(error)[1:]}.") from None
    except StoreError as error:
        raise Problem(503, "no-records", str(error), headers={"Retry-After": "5"}) from None


@records.get("/api/v1/heats/<int:heat_id>")
def heat(heat_id: int) -> Response:
    """One heat with its figures."""
    return json_answer(found(lambda: wiring().shelf.record(heat_id)))


@records.get("/api/v1/heats/<int:heat_id>/chart.svg")
def chart(heat_id: int) -> Response:
    """Its chart."""
    return _file(found(lambda: wiring().shelf.chart(heat_id)).encode(), "image/svg+xml")


@records.get("/api/v1/heats/<int:heat_id>/lines")
def lines(heat_id: int) -> Response:
    """Its channels as lines, the whole heat or the stretch between ``start`` and ``end``."""
    asked = LinesQuestion(request.args)
    return json_answer(found(lambda: wiring().shelf.lines(heat_id, asked.within_us, asked.points)))


@records.get("/api/v1/heats/<int:heat_id>/report.pdf")
def report(heat_id: int) -> Response:
    """Its report, on A4 or Letter."""
    paper = request.args.get("paper", "A4")
    if paper not in PAPERS:
        raise Problem(422, "bad-paper", f"paper {shown(paper)!r} is not one of A4, Letter.")
    body = found(lambda: wiring().shelf.report(heat_id, "A4" if paper == "A4" else "Letter"))
    return _file(body, "application/pdf", f"heat-{heat_id}.pdf")


@records.get("/api/v1/heats/<int:heat_id>/package.json")
def package(heat_id: int) -> Response:
    """The whole heat, to be taken in elsewhere."""
    body = found(lambda: wiring().shelf.package(heat_id))
    return _file(body, "application/json", f"heat-{heat_id}.json")


@records.get("/api/v1/heats/<int:heat_id>/readings.csv")
def table(heat_id: int) -> Response:
    """Its readings for a spreadsheet."""
    body = found(lambda: wiring().shelf.table(heat_id))
    return _file(body, "text/csv; charset=utf-8", f"heat-{heat_id}.csv")


@records.get("/api/v1/heats/<int:heat_id>/said")
def said(heat_id: int) -> Response:
    """What was said at any moment of it: 202 and how much is worked out, until all of it is."""
    done, told = found(lambda: wiring().shelf.said(heat_id))
    if told is not None:
        return json_answer(told)
    answer = json_answer({"done": done})
    answer.status_code = 202
    answer.headers["Retry-After"] = "1"
    return answer


@records.get("/api/v1/compare")
def compare() -> Response:
    """Heats side by side: where each has its zero, and its figures."""
    heat_ids, align = _wanted()
    told = found(lambda: wiring().shelf.compared(heat_ids, align))
    return json_answer({"align": align, "heats": told})


@records.get("/api/v1/compare.svg")
def compare_chart() -> Response:
    """The same heats as one chart."""
    heat_ids, align = _wanted()
    body = found(lambda: wiring().shelf.compare_chart(heat_ids, align))
    return _file(body.encode(), "image/svg+xml")


def _wanted() -> tuple[list[int], Alignment]:
    """Which heats to compare, each once, and by what zero."""
    said = request.args.get("heats", "")
    numbers = said.split(",")
    if not all(each.isascii() and each.isdigit() and len(each) <= LONGEST_ID for each in numbers):
        raise Problem(
            422, "bad-heats", f"heats {shown(said)!r} are not numbers of heats with commas between."
        )
    heat_ids = list(dict.fromkeys(int(each) for each in numbers))
    if not 1 <= len(heat_ids) <= MOST_HEATS:
        raise Problem(
            422,
            "bad-heats",
            f"{len(heat_ids)} heats were asked for; 1 to {MOST_HEATS} are allowed.",
        )
    asked = request.args.get("align", ALIGNMENTS[0])
    align = next((each for each in ALIGNMENTS if each == asked), None)
    if align is None:
        allowed = ", ".join(ALIGNMENTS)
        raise Problem(422, "bad-align", f"align {shown(asked)!r} is not one of {allowed}.")
    return heat_ids, align


def _file(body: bytes, kind: str, name: str | None = None) -> Response:
    answer = Response(body, content_type=kind)
    answer.headers["Cache-Control"] = "no-store"
    if name is not None:
        answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
