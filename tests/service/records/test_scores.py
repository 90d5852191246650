"""Past forecasts held against what came: worked out by hand from made-up moments."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from service.records.scores import scores_json, scores_of, summed

BEGIN = datetime.fromisoformat("2026-09-21T14:00:00+00:00")
QUIET: dict[str, Any] = {
    "phase": "bench", "pass_running": False, "passes": 0, "preheat_min_c": 200.0,
    "temperature_c": 300.0, "closes_in_s": None, "opens_in_s": None, "oxygen_ppm": None,
    "clear": False, "clear_in_s": None,
}  # fmt: skip


def moment(at_s: float, **said: Any) -> dict[str, Any]:
    at = (BEGIN + timedelta(seconds=at_s)).isoformat().replace("+00:00", "Z")
    return {**QUIET, "at": at, **said}


def told(p50: float, wide: float = 0.2) -> dict[str, float]:
    return {"p05": p50 * (1 - wide), "p50": p50, "p95": p50 * (1 + wide)}


def window(factor: float, **at_200: Any) -> list[dict[str, Any]]:
    """A window that closes after 400 s, told ``factor`` times too long all the way."""
    moments = [moment(-10, phase="oven")]
    for at_s in range(0, 400, 10):
        more = at_200 if at_s == 250 else {}
        moments.append(moment(at_s, closes_in_s=told(factor * (400 - at_s)), **more))
    return [*moments, moment(400, temperature_c=199.0), moment(410, temperature_c=198.0)]


@pytest.mark.parametrize(("factor", "held"), [(1.0, True), (1.1, True), (1.4, False)])
def test_a_window_told_too_long_is_so_at_every_share(factor: float, held: bool) -> None:
    scores = scores_of(7, window(factor))
    assert [each.share for each in scores] == [0.25, 0.5, 0.75]
    for each in scores:
        assert each.subject == "window closes"
        assert each.left_s == pytest.approx(400 * (1 - each.share))
        assert each.error == pytest.approx(factor - 1)
        assert each.held is held
        assert not each.event_between


@pytest.mark.parametrize("event", [{"pass_running": True}, {"passes": 1}, {"phase": "carry"}])
def test_forecasts_before_an_event_are_told_apart(event: dict[str, Any]) -> None:
    """The event comes at 250 s of 400: what was said at 100 and 200 s could not know it."""
    scores = scores_of(7, window(1.0, **event))
    assert [each.event_between for each in scores] == [True, True, False]


def test_a_window_that_never_closed_scores_nothing() -> None:
    assert scores_of(7, window(1.0)[:-2]) == []
    covered = [*window(1.0)[:-2], moment(400, phase="slow cool", temperature_c=199.0)]
    assert scores_of(7, covered) == []


def test_the_purge_and_the_oven_are_scored_too() -> None:
    purge = [moment(at, oxygen_ppm=told(900), clear_in_s=told(120 - at)) for at in range(0, 120, 5)]
    cleared = moment(120, oxygen_ppm=told(20), clear=True)
    oven = [
        moment(at, phase="oven", temperature_c=150.0, opens_in_s=told(0.5 * (600 - at)))
        for at in range(0, 600, 20)
    ]
    hot = moment(600, phase="oven", temperature_c=201.0)
    found = {(each.subject, each.share): each for each in scores_of(7, [*purge, cleared])}
    assert set(found) == {("purge clear", share) for share in (0.25, 0.5, 0.75)}
    assert found["purge clear", 0.5].error == pytest.approx(0.0)
    found = {(each.subject, each.share): each for each in scores_of(7, [*oven, hot])}
    assert found["oven reaches preheat", 0.5].error == pytest.approx(-0.5)


def test_heats_are_summed_up_by_the_median_of_how_far_off() -> None:
    """Half way off by 2, 3 and 10 %: the middle one is 3 %."""
    scores = [
        row
        for heat_id, factor in enumerate((1.02, 0.97, 1.10), start=1)
        for row in scores_json(scores_of(heat_id, window(factor)))
    ]
    scores += scores_json(scores_of(4, window(3.0, pass_running=True)))
    half = [each for each in summed(scores) if each["share"] == 0.5]
    clean, disturbed = half
    assert (clean["heats"], clean["off_by"], clean["held"]) == (3, 0.03, 3)
    assert clean["too_long_by"] == pytest.approx(0.02)
    assert (disturbed["event_between"], disturbed["heats"], disturbed["held"]) == (True, 1, 0)
