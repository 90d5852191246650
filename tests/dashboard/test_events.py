"""What happened in the shop by the API, in pages, out of a real database."""

from __future__ import annotations

import json

import pytest

from tests.field.described import fits
from tests.field.recorded_heat import recorded_shelf

WHOLE = {"start": "2026-09-01T00:00:00Z", "end": "2026-11-01T00:00:00Z"}


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    yield from recorded_shelf(tmp_path_factory, again=True)


@pytest.fixture
def board(board, shelf):
    board.shelf = shelf
    return board


def ask(client, **asked):
    answer = client.get("/api/v1/events", query_string={**WHOLE, **asked})
    fits(answer, "/api/v1/events")
    return answer.get_json()


def test_the_recorded_story_is_told_in_order(client):
    told = ask(client)
    assert told["next"] is None
    steps = [(each["kind"], each["heat_id"], each["text"]) for each in told["events"]]
    # As tests/field/recorded_heat.py tells it.
    assert [step for step in steps if step[0] != "alarm"] == [
        ("heat began", 1, None),
        ("phase", 1, "oven"),
        ("phase", 1, "carry"),
        ("phase", 1, "bench"),
        ("pass began", 1, "pass 1"),
        ("pass ended", 1, "pass 1"),
        ("pass began", 1, "pass 2"),
        ("pass ended", 1, "pass 2"),
        ("note", 1, "note <b>: slag in the toe"),
        ("phase", 1, "slow cool"),
        ("heat ended", 1, None),
        ("note", 1, "cold, no crack seen"),
        ("heat began", 2, None),
        ("phase", 2, "oven"),
        ("phase", 2, "bench"),
        ("heat ended", 2, None),
    ]
    times = [each["at"] for each in told["events"]]
    assert times == sorted(times)
    assert {each["part"] for each in told["events"]} == {"pump engine manifold"}


@pytest.mark.parametrize("most", [1, 2, 3, 7])
def test_pages_together_are_the_whole(client, most):
    pages, after = [], {}
    while True:
        told = ask(client, most=most, **after)
        assert len(told["events"]) <= most
        pages += told["events"]
        if told["next"] is None:
            break
        assert len(told["events"]) == most
        after = {"after": told["next"]}
    assert pages == ask(client)["events"]


def test_the_begin_is_within_and_the_end_is_not(client):
    events = ask(client)["events"]
    first, last = events[4]["at"], events[5]["at"]
    assert [each["kind"] for each in ask(client, start=first, end=last)["events"]] == ["pass began"]


def test_they_stand_on_the_axis_of_the_record(client):
    record = client.get("/api/v1/heats/1").get_json()
    events = ask(client)["events"]
    began = [each["at"] for each in events if each["kind"] == "pass began"]
    assert began == [each["began_at"] for each in record["passes"]]
    told = [each["at"] for each in events if each["kind"] == "phase" and each["heat_id"] == 1]
    assert told == [each["from"] for each in record["phases"]]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"start": "2026-12-01T00:00:00Z"}, "is not before end"),
        ({"start": "2020-12-01T00:00:00Z"}, "more than 366 days"),
        ({"most": "2001"}, "between 1 and 2000"),
        ({"after": "1.9.3"}, "is not the next of an answer"),
        ({"after": "²"}, "is not the next of an answer"),
        ({"start": "noon"}, "is not an RFC 3339 date and time"),
        ({"from": "x"}, "is not a parameter here"),
    ],
)
def test_a_question_that_cannot_be_used_is_said(client, asked, words):
    answer = client.get("/api/v1/events", query_string={**WHOLE, **asked})
    assert answer.status_code == 400
    fits(answer, "/api/v1/events")
    assert words in json.loads(answer.data)["detail"]


def test_a_start_is_asked_for(client):
    answer = client.get("/api/v1/events")
    assert answer.status_code == 400
    assert "start is missing" in json.loads(answer.data)["detail"]
