"""The page. One document with several views, so that sound, once allowed, stays allowed."""

from __future__ import annotations

import secrets

from flask import Blueprint, Response, current_app, render_template

from dashboard.assets import packed
from dashboard.bokeh_files import addresses
from dashboard.first import first
from dashboard.guard import policy_with_nonce
from dashboard.wiring import Wiring

pages = Blueprint("pages", __name__)


@pages.get("/")
def bench() -> Response:
    """The bench, with sensors and parts a tap away, and the verdicts of this moment in it."""
    digest = current_app.extensions["heatwindow-assets"].digest
    wiring: Wiring = current_app.extensions["heatwindow"]
    nonce = secrets.token_urlsafe(16)
    given = {"digest": digest, "nonce": nonce, "bokeh": " ".join(addresses())}
    page = render_template("bench.html", first=first(wiring.latest()), **given)
    answer = packed(page.encode(), "text/html; charset=utf-8")
    # Never from a cache, not even on the way back: what is in it is old in seconds.
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["Content-Security-Policy"] = policy_with_nonce(nonce)
    return answer
