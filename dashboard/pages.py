"""The page. One document with several views, so that sound, once allowed, stays allowed."""

from __future__ import annotations

from flask import Blueprint, Response, current_app, render_template

from dashboard.assets import packed

pages = Blueprint("pages", __name__)


@pages.get("/")
def bench() -> Response:
    """The bench, with sensors and parts a tap away."""
    digest = current_app.extensions["heatwindow-assets"].digest
    page = render_template("bench.html", digest=digest)
    answer = packed(page.encode(), "text/html; charset=utf-8")
    answer.headers["Cache-Control"] = "no-cache"
    return answer
