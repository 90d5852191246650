"""What must be told about the records: told until read, and only our own page says it was."""

from __future__ import annotations

import pytest

HEADERS = {"X-Heatwindow": "page", "Content-Type": "application/json"}


def seen(client, number: int, headers=HEADERS):
    return client.post(f"/api/v1/notices/{number}/seen", data="{}", headers=headers)


def test_nothing_to_tell(client):
    assert client.get("/api/v1/notices").json == {"notices": []}


def test_told_until_it_is_read(client, board, notice):
    board.told = [notice]
    (told,) = client.get("/api/v1/notices").json["notices"]
    assert told == {"id": 3, "at": "2026-03-03T09:40:27.000Z", "text": notice.text}
    answer = seen(client, 3)
    assert answer.status_code == 200
    assert answer.json == {"notices": []}
    again = seen(client, 3)
    assert again.status_code == 404
    assert "no notice 3" in again.json["detail"]


def test_one_that_stays_cannot_be_read_away(client, board, notice):
    from dataclasses import replace

    board.told = [replace(notice, id=0)]
    assert seen(client, 0).status_code == 409
    assert len(client.get("/api/v1/notices").json["notices"]) == 1


def test_a_store_that_cannot_keep_it_says_so(client, board, notice):
    board.told = [notice]
    board.refuse = "cannot write the database"
    answer = seen(client, 3)
    assert answer.status_code == 409
    assert answer.json["detail"] == "cannot write the database"
    assert board.told


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        (HEADERS | {"Origin": "http://elsewhere.example"}, 403),
        ({"Content-Type": "application/json"}, 403),
        ({"X-Heatwindow": "page"}, 415),
    ],
)
def test_nobody_else_may_say_so(client, board, notice, headers, status):
    board.told = [notice]
    assert seen(client, 3, headers).status_code == status
    assert board.told == [notice]


@pytest.mark.parametrize("number", ["-1", "x", "1.5", "3e0"])
def test_only_a_number_names_a_notice(client, number):
    answer = client.post(f"/api/v1/notices/{number}/seen", data="{}", headers=HEADERS)
    assert answer.status_code == 404
