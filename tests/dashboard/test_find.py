"""Finding heats by the API, out of a real database."""

from __future__ import annotations

import json

import pytest

from tests.field.described import fits
from tests.field.recorded_heat import recorded_shelf


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    yield from recorded_shelf(tmp_path_factory, again=True)


@pytest.fixture
def board(board, shelf):
    board.shelf = shelf
    return board


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, [2, 1]),
        ({"words": "slag toe"}, [1]),
        ({"words": "2"}, [2]),
        ({"deviation": "verdict was wait"}, [1]),
        ({"before": "2"}, [1]),
        ({"from": "2026-09-21T14:30:00Z", "to": "2026-09-21T15:00:00Z"}, [2]),
        ({"from": "2026-09-21T16:00:00+01:00"}, []),
    ],
)
def test_found(client, asked, found):
    answer = client.get("/api/v1/heats/find", query_string=asked)
    fits(answer, "/api/v1/heats/find")
    told = answer.get_json()
    assert [each["heat_id"] for each in told["heats"]] == found


def test_a_page_says_what_follows(client):
    told = client.get("/api/v1/heats/find?most=1").get_json()
    assert [each["heat_id"] for each in told["heats"]] == [2]
    assert told["next"] == 2


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"most": "0"}, "between 1 and 2000"),
        ({"before": "-1"}, "between 1 and 2147483647"),
        ({"words": "x" * 201}, "longer than 200"),
        ({"from": "2026-09-22T00:00:00Z", "to": "2026-09-21T00:00:00Z"}, "is not before to"),
        ({"colour": "red"}, "is not a parameter here"),
    ],
)
def test_a_question_that_cannot_be_used_is_said(client, asked, words):
    answer = client.get("/api/v1/heats/find", query_string=asked)
    assert answer.status_code == 400
    fits(answer, "/api/v1/heats/find")
    assert words in json.loads(answer.data)["detail"]
