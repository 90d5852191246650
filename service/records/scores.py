"""Past forecasts against what came: how far off they were a quarter, half and three quarters there.

A run goes from where a promise begins (out of the oven; the gas on; into the oven) to the moment
that was promised. At a share of the way the time told (p50) is held against the time that was left
then. Where something happened in between that no forecast could know (an arc, a move, a cover),
that is told apart: such a forecast was about another story.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, get_args

import numpy as np

Subject = Literal["window closes", "purge clear", "oven reaches preheat"]
SUBJECTS: tuple[Subject, ...] = get_args(Subject)
SHARES = (0.25, 0.5, 0.75)
SHORTEST_S = 20.0
"""A run shorter than this tells nothing of forecasts made on whole seconds."""
Moment = Mapping[str, Any]

_PROMISE = {
    "window closes": "closes_in_s",
    "purge clear": "clear_in_s",
    "oven reaches preheat": "opens_in_s",
}


@dataclass(frozen=True, slots=True)
class Score:
    """One forecast of one heat.

    Attributes:
        share: How much of the way had gone.
        told_s, left_s: What p50 said, and what came.
        held: Whether it came within the 90 % range.
        event_between: Something happened that no forecast could know.
    """

    heat_id: int
    subject: Subject
    share: float
    told_s: float
    left_s: float
    held: bool
    event_between: bool

    @property
    def error(self) -> float:
        """Told over what was left, less 1: positive is told too long."""
        return self.told_s / self.left_s - 1.0


@dataclass(frozen=True, slots=True)
class _Run:
    heat_id: int
    subject: Subject
    said: Sequence[Moment]
    at_s: Sequence[float]
    begin: int
    end: int


def scores_of(heat_id: int, said: Sequence[Moment]) -> list[Score]:
    """Every score of one heat, from what was said at its moments (``SaidThen.said``)."""
    at_s = [datetime.fromisoformat(each["at"]).timestamp() for each in said]
    found: list[Score] = []
    for subject in SUBJECTS:
        for begin, end in _runs(subject, said):
            found += _scored(_Run(heat_id, subject, said, at_s, begin, end))
    return found


def _runs(subject: Subject, said: Sequence[Moment]) -> Iterable[tuple[int, int]]:
    """First moment and moment of the promise come true, of each run."""
    begin: int | None = None
    for place, each in enumerate(said):
        if _belongs(subject, each):
            begin = place if begin is None else begin
            continue
        if begin is not None and _came(subject, said[place - 1], each):
            yield begin, place
        begin = None


def _belongs(subject: Subject, each: Moment) -> bool:
    """The moment lies on the way to what is promised."""
    if subject == "window closes":
        return each["phase"] in ("carry", "bench") and not _below(each)
    if subject == "purge clear":
        return each["oxygen_ppm"] is not None and not each["clear"]
    told = each["opens_in_s"]
    return each["phase"] == "oven" and (told is None or told["p50"] > 0) and not _hot(each)


def _came(subject: Subject, before: Moment, each: Moment) -> bool:
    if subject == "window closes":
        return each["phase"] in ("carry", "bench") and _below(each)
    if subject == "oven reaches preheat":
        return each["phase"] == "oven" and before["opens_in_s"] is not None
    return bool(each["clear"])


def _below(each: Moment) -> bool:
    low_c, temperature_c = each["preheat_min_c"], each["temperature_c"]
    return low_c is not None and temperature_c is not None and temperature_c < low_c


def _hot(each: Moment) -> bool:
    low_c, temperature_c = each["preheat_min_c"], each["temperature_c"]
    return low_c is not None and temperature_c is not None and temperature_c >= low_c


def _scored(run: _Run) -> Iterable[Score]:
    """The scores of one run, where something was told then."""
    first_s, end_s = run.at_s[run.begin], run.at_s[run.end]
    if end_s - first_s < SHORTEST_S:
        return
    for share in SHARES:
        wanted_s = first_s + share * (end_s - first_s)
        place = int(np.searchsorted(run.at_s, wanted_s, side="right")) - 1
        told = run.said[place][_PROMISE[run.subject]]
        left_s = end_s - run.at_s[place]
        if told is None or left_s <= 0:
            continue
        late = told["p95"]
        held = told["p05"] <= left_s and (late is None or left_s <= late)
        stretch = run.said[place : run.end]
        yield Score(
            run.heat_id, run.subject, share, told["p50"], left_s, held, _event_within(stretch)
        )


def _event_within(stretch: Sequence[Moment]) -> bool:
    first = stretch[0]
    return any(
        each["phase"] != first["phase"] or each["pass_running"] or each["passes"] != first["passes"]
        for each in stretch
    )


def scores_json(scores: Iterable[Score]) -> list[dict[str, Any]]:
    """Scores as told (``Score`` in openapi.json)."""
    return [
        {
            "heat_id": each.heat_id,
            "subject": each.subject,
            "share": each.share,
            "told_s": round(each.told_s, 1),
            "left_s": round(each.left_s, 1),
            "error": round(each.error, 4),
            "held": each.held,
            "event_between": each.event_between,
        }
        for each in scores
    ]


def summed(scores: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """By subject, share and whether something came between: how many, how far off, how many held.

    Args:
        scores: As ``scores_json`` tells them.
    """
    found = []
    for subject in SUBJECTS:
        for share in SHARES:
            for event in (False, True):
                here = [
                    each
                    for each in scores
                    if (each["subject"], each["share"], each["event_between"])
                    == (subject, share, event)
                ]
                if not here:
                    continue
                errors = [each["error"] for each in here]
                found.append({
                    "subject": subject,
                    "share": share,
                    "event_between": event,
                    "forecasts": len(here),
                    "heats": len({each["heat_id"] for each in here}),
                    "off_by": round(float(np.median(np.abs(errors))), 4),
                    "too_long_by": round(float(np.median(errors)), 4),
                    "held": sum(each["held"] for each in here),
                })  # fmt: skip
    return found
