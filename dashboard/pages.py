"""The page. One document with several views, so that sound, once allowed, stays allowed."""

from __future__ import annotations

from flask import Blueprint, Response, current_app, make_response, render_template

pages = Blueprint("pages", __name__)


@pages.get("/")
def bench() -> Response:
    """The bench, with sensors and parts a tap away."""
    answer = make_response(
        render_template("bench.html", digest=current_app.extensions["heatwindow-assets"].digest)
    )
    answer.headers["Cache-Control"] = "no-cache"
    return answer
