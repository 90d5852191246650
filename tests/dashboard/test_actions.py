"""Actions: only from our own page, whole or not at all, every fault told."""

from __future__ import annotations

import pytest

ACTION = {"kind": "begin pass", "heat_id": 4}


def test_action_is_done_and_answered(post, board):
    answer = post(ACTION)
    assert answer.status_code == 200
    assert answer.json == {
        "kind": "begin pass",
        "seq": 1,
        "part_id": None,
        "heat_id": 4,
        "recorded": True,
    }
    assert board.acted == [ACTION]


def test_refusal_is_told_in_one_sentence(post, board):
    board.refuse = "the pass is running already"
    answer = post(ACTION)
    assert answer.status_code == 409
    assert answer.content_type == "application/problem+json"
    assert answer.json["detail"] == "the pass is running already"
    assert answer.json["code"] == "refused"


@pytest.mark.parametrize(
    ("headers", "status", "code"),
    [
        ({"X_Heatwindow": None}, 403, "header-missing"),
        ({"Origin": "http://elsewhere.example"}, 403, "foreign-origin"),
        ({"Origin": "null"}, 403, "foreign-origin"),
        ({"Origin": "http://localhost:8080"}, 403, "foreign-origin"),
        ({"Sec_Fetch_Site": "cross-site"}, 403, "foreign-origin"),
        ({"Sec_Fetch_Site": "same-site"}, 403, "foreign-origin"),
        ({"Content_Type": "text/plain"}, 415, "not-json"),
        ({"Content_Type": "application/x-www-form-urlencoded"}, 415, "not-json"),
        ({"Content_Type": None}, 415, "not-json"),
        ({"Host": "rebound.example"}, 421, "foreign-host"),
    ],
)
def test_nobody_else_may_act(post, board, headers, status, code):
    answer = post(ACTION, **headers)
    assert answer.status_code == status
    assert answer.json["code"] == code
    assert board.acted == []


def test_our_own_page_may_act_with_all_its_headers(post, board):
    answer = post(ACTION, Origin="http://localhost", Sec_Fetch_Site="same-origin")
    assert answer.status_code == 200
    assert board.acted == [ACTION]


@pytest.mark.parametrize("host", ["localhost", "localhost:8750", "127.0.0.1:8750", "[::1]:8750"])
def test_this_machine_by_any_of_its_names(client, host):
    assert client.get("/api/v1/bench", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("path", ["/", "/api/v1/bench", "/healthz", "/metrics"])
def test_foreign_host_sees_nothing(client, path):
    answer = client.get(path, headers={"Host": "rebound.example"})
    assert answer.status_code == 421
    assert b"Sawmill" not in answer.data


def test_every_fault_is_listed(post, board):
    answer = post(
        {
            "kind": "create part",
            "facts": {"name": "", "mass_kg": -2, "colour": "red"},
            "limits": {"preheat_min_c": 5000},
        }
    )
    assert answer.status_code == 422
    faults = {fault["field"]: fault for fault in answer.json["errors"]}
    assert set(faults) == {"facts.name", "facts.mass_kg", "facts.colour", "limits.preheat_min_c"}
    assert faults["facts.mass_kg"]["value"] == "-2"
    assert "greater than 0" in faults["facts.mass_kg"]["message"]
    assert board.acted == []


def test_limits_that_leave_no_window_are_told(post):
    limits = {"preheat_min_c": 300, "interpass_max_c": 300}
    answer = post({"kind": "set limits", "part_id": 1, "limits": limits})
    assert answer.status_code == 422
    assert "must be above preheat_min_c 300" in answer.json["detail"]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"not json",
        b"[]",
        b"null",
        b'{"kind": "service started", "version": "1", "offset_us": 0}',
        b'{"kind": "explode"}',
        b'{"heat_id": 4}',
        b'{"kind": "begin pass"}',
        b'{"kind": "begin pass", "heat_id": NaN}',
        b'{"kind": "begin pass", "heat_id": 4, "more": 1}',
        b"[" * 10_000,
        b"\xff\xfe",
    ],
)
def test_anything_else_is_no_action(post, board, body):
    answer = post(body)
    assert answer.status_code == 422
    assert answer.content_type == "application/problem+json"
    assert answer.json["errors"]
    assert board.acted == []


def test_large_body_is_refused(post, board):
    answer = post(b'{"kind": "begin pass", "heat_id": 4}' + b" " * 20_000)
    assert answer.status_code == 413
    assert answer.json["code"] == "too-large"
    assert board.acted == []


def test_actions_are_not_read(client):
    answer = client.get("/api/v1/actions")
    assert answer.status_code == 405
    assert answer.content_type == "application/problem+json"
    assert "POST" in answer.headers["Allow"]
