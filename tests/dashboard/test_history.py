"""A channel's past: parameters are checked whole, gaps stay gaps, NaN never appears."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.app import create_app
from dashboard.times import from_rfc3339, to_rfc3339
from dashboard.wiring import History, HistoryPoint

ASK = {
    "channel": "bench/joint-left",
    "start": "2026-03-03T09:00:00Z",
    "end": "2026-03-03T09:41:00Z",
    "points": "50",
}


def test_history_is_answered(client):
    answer = client.get("/api/v1/history", query_string=ASK)
    assert answer.status_code == 200
    assert answer.json["channel"] == "bench/joint-left"
    assert answer.json["unit"] == "Cel"
    assert answer.json["start"] == "2026-03-03T09:00:00.000Z"
    assert any(point["low"] is None for point in answer.json["points"])


def test_end_is_now_when_left_out_and_points_have_a_default(client, board):
    asked = []
    history = board.history

    def listen(*question):
        asked.append(question)
        return history(*question)

    client = create_app(replace(board.wiring(), history=listen)).test_client()
    client.get("/api/v1/history?channel=bench/argon&start=2026-03-03T09:00:00Z")
    assert asked == [("bench/argon", from_rfc3339("2026-03-03T09:00:00Z"), board.now_us(), 600)]


def test_offset_in_an_address_may_be_a_bare_plus(client):
    answer = client.get(
        "/api/v1/history?channel=bench/argon&start=2026-03-03T10:00:00+01:00"
        "&end=2026-03-03T09:30:00Z"
    )
    assert answer.status_code == 200
    assert answer.json["start"] == "2026-03-03T09:00:00.000Z"


def test_unknown_channel(client):
    answer = client.get("/api/v1/history", query_string=ASK | {"channel": "nobody"})
    assert answer.status_code == 404
    assert answer.json["code"] == "unknown-channel"
    assert "nobody" in answer.json["detail"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"channel": ""}, "channel"),
        ({"start": "yesterday"}, "start"),
        ({"start": "2026-03-03T09:00:00"}, "start"),
        ({"start": "2026-03-03T09:41:00Z"}, "start"),
        ({"start": "2020-03-03T09:41:00Z"}, "start"),
        ({"end": "2026-02-30T09:00:00Z"}, "end"),
        ({"end": "0001-01-01T00:00:00+23:59"}, "start"),
        ({"points": "0"}, "points"),
        ({"points": "5001"}, "points"),
        ({"points": "-5"}, "points"),
        ({"points": "1e3"}, "points"),
        ({"points": "nan"}, "points"),
        ({"points": "٣"}, "points"),
        ({"points": "9" * 400}, "points"),
        ({"span": "1h"}, "span"),
    ],
)
def test_bad_parameter_is_named_with_its_value(client, change, field):
    answer = client.get("/api/v1/history", query_string=ASK | change)
    assert answer.status_code == 400
    assert answer.content_type == "application/problem+json"
    assert [fault["field"] for fault in answer.json["errors"]] == [field]
    assert field in answer.json["detail"]


def test_all_bad_parameters_are_named_at_once(client):
    answer = client.get("/api/v1/history?start=x&end=y&points=z&what=w")
    assert {fault["field"] for fault in answer.json["errors"]} == {
        "channel",
        "start",
        "end",
        "points",
        "what",
    }


def test_nan_from_below_is_sent_as_a_gap(board):
    points = [HistoryPoint(1, math.nan, 3.0), HistoryPoint(2, 1.0, math.inf)]
    wiring = replace(board.wiring(), history=lambda *_: History("Cel", points))
    answer = create_app(wiring).test_client().get("/api/v1/history", query_string=ASK)
    assert [(p["low"], p["high"]) for p in answer.json["points"]] == [(None, None)] * 2


@given(st.integers(min_value=-62_135_596_800_000, max_value=253_402_300_799_999))
def test_times_come_back_as_they_went(t_ms):
    """To the millisecond, in all of RFC 3339's years."""
    assert from_rfc3339(to_rfc3339(t_ms * 1000)) == t_ms * 1000
