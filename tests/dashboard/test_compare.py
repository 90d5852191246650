"""Heats side by side, and what was said of one, by the API, out of a real database."""

from __future__ import annotations

import json

import pytest

from tests.field.bench_parts import wait_until
from tests.field.described import fits
from tests.field.recorded_heat import recorded_shelf

HOSTILE = '=HYPERLINK("http://x/")<script>alert(1)</script>'


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    yield from recorded_shelf(tmp_path_factory, name=HOSTILE, again=True)


@pytest.fixture
def board(board, shelf):
    board.shelf = shelf
    return board


def test_heats_are_laid_side_by_side(client):
    fits(client.get("/api/v1/compare?heats=1,2"), "/api/v1/compare")
    told = client.get("/api/v1/compare?heats=2,1,2&align=first+pass").get_json()
    assert told["align"] == "first pass"
    second, first = told["heats"]
    assert (second["heat_id"], first["heat_id"]) == (2, 1)
    assert second["why"] == "no pass was welded in it"
    assert first["zero_at"] is not None
    assert first["part"] == HOSTILE
    chart = client.get("/api/v1/compare.svg?heats=1,2")
    assert chart.mimetype == "image/svg+xml"
    assert chart.data.count(b"<polyline") + chart.data.count(b"<path") >= 4
    # Nothing to draw is still a picture.
    assert client.get("/api/v1/compare.svg?heats=2&align=first+pass").status_code == 200


@pytest.mark.parametrize(
    ("asked", "status", "words"),
    [
        ("heats=1,99", 404, "There is no heat 99"),
        ("", 422, "heats '' are not numbers of heats with commas between"),
        ("heats=1,", 422, "heats '1,' are not numbers"),
        ("heats=1,%C2%B2", 422, "are not numbers"),
        ("heats=" + "9" * 19, 422, "are not numbers"),
        ("heats=1,2,3,4,5,6,7", 422, "7 heats were asked for; 1 to 6 are allowed"),
        ("heats=1&align=noon", 422, "align 'noon' is not one of oven exit, first pass, clock"),
    ],
)
def test_a_question_that_cannot_be_used_is_said(client, asked, status, words):
    for path in ("/api/v1/compare", "/api/v1/compare.svg"):
        answer = client.get(f"{path}?{asked}")
        assert answer.status_code == status
        assert words in json.loads(answer.data)["detail"]
        fits(answer, path)


def test_what_was_said_is_worked_out_and_then_told(client):
    path = "/api/v1/heats/{heat_id}/said"
    begun = client.get("/api/v1/heats/2/said")
    assert begun.status_code == 202
    assert begun.headers["Retry-After"] == "1"
    fits(begun, path)
    wait_until(lambda: client.get("/api/v1/heats/2/said").status_code == 200, "the answer", 180)
    answer = client.get("/api/v1/heats/2/said")
    fits(answer, path)
    told = answer.get_json()
    assert told["heat_id"] == 2
    assert {each["phase"] for each in told["said"]} == {"oven", "bench"}
    missing = client.get("/api/v1/heats/9/said")
    assert missing.status_code == 404
    fits(missing, path)
