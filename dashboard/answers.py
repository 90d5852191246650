"""How every answer of the API is made, and what the running app was given."""

from __future__ import annotations

import json

from flask import Response, current_app

from dashboard.assets import packed
from dashboard.wiring import Wiring

PACK_FROM_BYTES = 4096
"""A shorter answer fits in few packets as it is."""


def wiring() -> Wiring:
    """What the running app was given."""
    found: Wiring = current_app.extensions["heatwindow"]
    return found


def json_answer(body: object, status: int = 200) -> Response:
    """JSON that nobody keeps, packed when it is long."""
    text = json.dumps(body, allow_nan=False, ensure_ascii=False).encode()
    if len(text) > PACK_FROM_BYTES:
        answer = packed(text, "application/json")
    else:
        answer = Response(text, content_type="application/json")
    answer.status_code = status
    answer.headers["Cache-Control"] = "no-store"
    return answer
