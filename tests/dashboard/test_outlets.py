"""Ways of telling: how each is doing, and a test notice by one of them."""

from __future__ import annotations

import copy

import pytest

HEADERS = {"X-Heatwindow": "page", "Content-Type": "application/json"}


@pytest.fixture
def told(board, scripted_answers) -> list:
    board.outlets = copy.deepcopy(scripted_answers.OUTLETS)
    return board.outlets


def attempt(client, key: str, headers=HEADERS):
    return client.post(f"/api/v1/outlets/{key}/try", data="{}", headers=headers)


def test_none_configured(client):
    assert client.get("/api/v1/outlets").json == {"outlets": []}


def test_each_is_told_of_as_it_is(client, told):
    assert client.get("/api/v1/outlets").json == {"outlets": told}


def test_a_test_notice_is_on_its_way_at_once(client, told):
    answer = attempt(client, "webhook")
    assert answer.status_code == 200
    states = {each["key"]: each["trial"] and each["trial"]["state"] for each in told}
    assert states == {"sounder": None, "webhook": "waiting", "email": None}
    assert answer.json == client.get("/api/v1/outlets").json


@pytest.mark.parametrize("key", ["lamp", "WEBHOOK", "%3Cb%3E", "x" * 500])
def test_an_outlet_nobody_configured(client, told, key):
    answer = attempt(client, key)
    assert answer.status_code == 404
    assert answer.json["code"] == "no-outlet"
    assert len(answer.json["detail"]) < 200


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        (HEADERS | {"Origin": "http://elsewhere.example"}, 403),
        ({"Content-Type": "application/json"}, 403),
        ({"X-Heatwindow": "page"}, 415),
    ],
)
def test_nobody_else_may_make_a_noise(client, told, headers, status):
    assert attempt(client, "sounder", headers).status_code == status
    assert all(each["trial"] is None for each in told)
