"""Errors as problem details (RFC 9457): one shape for everything that goes wrong.

``type`` is ``about:blank``, so ``title`` is the phrase of the status code (RFC 9457, 4.2.1); the
extension member ``code`` is stable and for programs, ``detail`` is one sentence for a person,
and ``errors`` lists every fault of the input, not only the first.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Sequence
from http import HTTPStatus
from typing import TypedDict

from flask import Flask, Response, render_template, request
from pydantic import ValidationError
from werkzeug.exceptions import HTTPException

log = logging.getLogger(__name__)

_SHOWN = 80
"""Characters of an offending value that are sent back."""


class Fault(TypedDict):
    """One thing wrong with the input."""

    field: str
    value: str
    message: str


class Problem(Exception):
    """Raise it anywhere in a view to answer with problem details.

    Args:
        status: HTTP status code, 400 to 599.
        code: Short stable name for programs.
        detail: One sentence: what, where, the value, what is allowed.
        errors: Every fault of the input.
        headers: Sent along (``Retry-After``, ``Allow``).
    """

    def __init__(
        self,
        status: int,
        code: str,
        detail: str,
        errors: Sequence[Fault] = (),
        headers: dict[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.code = code
        self.detail = detail
        self.errors = list(errors)
        self.headers = headers or {}

    def response(self) -> Response:
        """The answer as ``application/problem+json``."""
        body: dict[str, object] = {
            "type": "about:blank",
            "title": HTTPStatus(self.status).phrase,
            "status": self.status,
            "detail": self.detail,
            "code": self.code,
        }
        if self.errors:
            body["errors"] = self.errors
        answer = Response(
            json.dumps(body, allow_nan=False, ensure_ascii=False),
            status=self.status,
            content_type="application/problem+json",
            headers=self.headers,
        )
        answer.headers["Cache-Control"] = "no-store"
        return answer


def shown(value: object) -> str:
    """An offending value, short enough to send back."""
    text = value if isinstance(value, str) else repr(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"


def faults(error: ValidationError, *, tagged: bool = False) -> list[Fault]:
    """Every fault pydantic found, with the path of the field as the sender wrote it.

    Args:
        error: What pydantic raised.
        tagged: It was a tagged union: the first step of each path is the tag, not a field.
    """
    found: list[Fault] = []
    for fault in error.errors(include_url=False):
        path = [str(step) for step in fault["loc"][int(tagged) :]]
        found.append(
            Fault(
                field=".".join(path) or "kind",
                value=shown(fault["input"]),
                message=fault["msg"].removeprefix("Value error, "),
            )
        )
    return found


def install(app: Flask) -> None:
    """Answer every error of ``app`` in one shape; a person on a wrong page gets a page."""

    @app.errorhandler(Problem)
    def _problem(problem: Problem) -> Response:
        return problem.response()

    @app.errorhandler(HTTPException)
    def _http(error: HTTPException) -> Response:
        status = error.code or 500
        if _wants_page():
            return Response(
                render_template("wrong.html", status=status, title=HTTPStatus(status).phrase),
                status=status,
                content_type="text/html; charset=utf-8",
            )
        problem = Problem(status, _CODES.get(status, "http"), error.description or error.name)
        answer = problem.response()
        if status == HTTPStatus.METHOD_NOT_ALLOWED:
            for name, value in error.get_headers():
                if name == "Allow":
                    answer.headers["Allow"] = value
        return answer

    @app.errorhandler(Exception)
    def _bug(error: Exception) -> Response:
        log.error("%s %s failed", request.method, request.path, exc_info=error)
        return Problem(
            500, "internal", "Something went wrong inside the service; its log says what."
        ).response()


def _wants_page() -> bool:
    if request.path.startswith("/api/") or request.method != "GET":
        return False
    return request.accept_mimetypes.best_match(["application/json", "text/html"]) == "text/html"


_CODES = {400: "bad-request", 404: "not-found", 405: "method-not-allowed", 413: "too-large"}
