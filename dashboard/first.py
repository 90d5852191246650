"""What a page shows before its script runs: the verdicts of a moment ago, and the whole answer.

The script takes over within a second and asks for more itself. Should it never run, the style
sheet takes these verdicts away (``.first`` in ``app.css``): an old READY is worse than none.
"""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from typing import get_args

from markupsafe import Markup

from dashboard.wiring import Posting
from service.judge.events import Verdict

FRESH_S = 2.0
"""An older posting is not put into the page. With the 3 s for which the style sheet leaves it in
sight, nothing stands there for more than 5 s after the judge has fallen silent."""


@dataclass(frozen=True, slots=True)
class FirstPart:
    """A running heat as it is painted first.

    Attributes:
        name: The part's name.
        verdict: One of the four; anything unheard of is "unknown".
        degrees: Temperature [°C] in whole degrees, or a dash.
    """

    name: str
    verdict: str
    degrees: str


@dataclass(frozen=True, slots=True)
class First:
    """What is put into the page.

    Attributes:
        body: The bench answer, safe inside a script element.
        etag: Of the answer.
        parts: The running heats.
    """

    body: Markup
    etag: str
    parts: list[FirstPart]


def first(posting: Posting | None) -> First | None:
    """The latest posting for the page; ``None`` when there is none that may be shown as live."""
    if posting is None or time.monotonic() - posting.posted_at > FRESH_S:
        return None
    text = posting.body.decode()
    running = [part for part in json.loads(text)["parts"] if part["heat_id"] is not None]
    # In JSON "<" stands only inside strings, where it may be written so; no tag can begin then.
    body = Markup(text.replace("<", "\\u003c"))  # noqa: S704 - see above
    return First(body, posting.etag, [_first_part(part) for part in running])


def _first_part(part: dict[str, object]) -> FirstPart:
    heat = part["heat"]
    temperature_c = heat["temperature_c"] if isinstance(heat, dict) else None
    verdict = str(part["verdict"])
    return FirstPart(
        name=str(part["name"]),
        verdict=verdict if verdict in get_args(Verdict) else "unknown",
        degrees="–" if temperature_c is None else f"{temperature_c:.0f}".replace("-", "−"),
    )
