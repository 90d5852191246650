"""The board: readers see whole postings, and the tag tells whether anything changed."""

from __future__ import annotations

import json

import pytest

from service.board import Board
from service.judge.outlook import BenchJson


def bench(at: str, recording: bool = True) -> BenchJson:
    return {"at": at, "recording": recording, "parts": [], "channels": [], "alarms": []}


def test_nothing_is_shown_before_the_first_posting():
    assert Board().latest() is None


def test_body_is_the_bench_as_json():
    board = Board()
    board.post(bench("2026-03-02T09:00:00Z"))
    posting = board.latest()
    assert posting is not None
    assert json.loads(posting.body) == bench("2026-03-02T09:00:00Z")


def test_tag_ignores_the_time_of_day_and_nothing_else():
    board = Board()
    first = board.post(bench("2026-03-02T09:00:00Z"))
    later = board.post(bench("2026-03-02T09:00:01Z"))
    changed = board.post(bench("2026-03-02T09:00:01Z", recording=False))
    assert first.etag == later.etag
    assert changed.etag != later.etag
    assert [first.number, later.number, changed.number] == [1, 2, 3]


def test_a_number_json_cannot_carry_is_refused():
    board = Board()
    bad = bench("2026-03-02T09:00:00Z")
    bad["channels"].append({"age_s": float("nan")})  # type: ignore[typeddict-item]
    with pytest.raises(ValueError, match="JSON"):
        board.post(bad)
    assert board.latest() is None


def test_waiting_for_a_posting_that_never_comes_ends():
    board = Board()
    posted = board.post(bench("2026-03-02T09:00:00Z"))
    assert board.wait_for_posting(posted.number, timeout_s=0.01) is None
    assert board.wait_for_posting(posted.number - 1, timeout_s=0.01) is posted
