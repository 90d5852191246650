"""The network may look; it changes nothing without the PIN. The machine itself may always."""

from __future__ import annotations

import http.client
import json

import pytest

from dashboard.app import create_app
from dashboard.server import PageServer
from dashboard.wiring import Doors

AFAR = {"REMOTE_ADDR": "192.168.1.20"}
ACT = {"kind": "begin pass", "heat_id": 4}
HEADERS = {"X-Heatwindow": "page"}


@pytest.fixture
def client(board):
    return create_app(board.wiring()).test_client()


def act(client, environ=AFAR, **headers):
    return client.post(
        "/api/v1/actions", json=ACT, headers=HEADERS | headers, environ_overrides=environ
    )


def sign_in(client, pin, environ=AFAR):
    return client.post(
        "/api/v1/sign-in", json={"pin": pin}, headers=HEADERS, environ_overrides=environ
    )


def test_the_machine_itself_needs_no_pin(client, board):
    for address in ("127.0.0.1", "::1", "127.8.8.8"):
        assert act(client, {"REMOTE_ADDR": address}).status_code == 200
    assert len(board.acted) == 3


def test_from_afar_one_may_look_and_not_touch(client, board):
    for path in (
        "/",
        "/api/v1/bench",
        "/api/v1/notices",
        "/api/v1/ports",
        "/api/v1/outlets",
        "/healthz",
    ):
        assert client.get(path, environ_overrides=AFAR).status_code == 200
    for path in (
        "actions",
        "ports/adopt",
        "ports/release",
        "notices/1/seen",
        "outlets/sounder/try",
    ):
        answer = client.post(f"/api/v1/{path}", json=ACT, headers=HEADERS, environ_overrides=AFAR)
        assert answer.status_code == 401, path
        assert "Sign in" in answer.get_json()["detail"]
    assert board.acted == []
    hand = client.get("/api/v1/hand", environ_overrides=AFAR).get_json()
    assert hand == {"may_act": False, "pin_set": True}


def test_every_door_that_changes_something_is_watched(client):
    """Whatever is added: no POST from afar without the PIN, but the sign-in and a mere question."""
    for rule in client.application.url_map.iter_rules():
        if "POST" not in (rule.methods or ()) or rule.rule.endswith(
            ("sign-in", "sign-out", "plan")
        ):
            continue
        path = rule.rule.replace("<int:notice_id>", "1")
        picture = {"data": b"", "content_type": "image/png"}
        sent = picture if path.endswith("photos") else {"json": {}}
        answer = client.post(path, **sent, headers=HEADERS, environ_overrides=AFAR)
        assert answer.status_code == 401, rule.rule


def test_with_the_pin_a_device_may_and_stays_so(client, board):
    answer = sign_in(client, "246810")
    assert answer.get_json() == {"may_act": True, "pin_set": True}
    cookie = answer.headers["Set-Cookie"]
    for word in ("HttpOnly", "SameSite=Strict", "Max-Age=34560000", "Path=/"):
        assert word in cookie
    assert act(client).status_code == 200
    assert client.get("/api/v1/hand", environ_overrides=AFAR).get_json()["may_act"]
    out = client.post("/api/v1/sign-out", json={}, headers=HEADERS, environ_overrides=AFAR)
    assert out.get_json()["may_act"] is False
    assert act(client).status_code == 401


def test_a_wrong_pin_is_told_and_never_sent_back(client, board):
    answer = sign_in(client, "111111")
    assert answer.status_code == 403
    assert answer.get_json()["detail"] == "that is not the PIN."
    slip = client.post(
        "/api/v1/sign-in", json={"pin": ["246810"]}, headers=HEADERS, environ_overrides=AFAR
    )
    assert slip.status_code == 422
    assert "246810" not in slip.get_data(as_text=True)
    assert act(client).status_code == 401


def test_without_a_pin_nobody_afar_may(client, board):
    board.hands.pin = None
    assert "no PIN is set" in act(client).get_json()["detail"]


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Forwarded", "Via", "X-Real-IP"])
def test_what_was_passed_on_by_a_proxy_is_not_the_machine_itself(client, header):
    assert act(client, {"REMOTE_ADDR": "127.0.0.1"}, **{header: "10.0.0.9"}).status_code == 401


def test_a_foreign_page_cannot_sign_in(client):
    headers = HEADERS | {"Origin": "http://evil.example"}
    answer = client.post("/api/v1/sign-in", json={"pin": "246810"}, headers=headers)
    assert answer.status_code == 403


def test_on_the_network_an_address_is_answered_and_a_foreign_name_is_not(board):
    doors = Doors(frozenset({"localhost", "bench.local"}), any_address=True)
    client = create_app(board.wiring(), doors).test_client()
    for host, status in (
        ("192.168.1.4:8080", 200),
        ("[fe80::1]:8080", 200),
        ("bench.local", 200),
        ("rebound.example", 421),
        ("192.168.1.4.example", 421),
    ):
        assert client.get("/api/v1/bench", headers={"Host": host}).status_code == status
    assert (
        create_app(board.wiring())
        .test_client()
        .get("/", headers={"Host": "192.168.1.4"})
        .status_code
        == 421
    )


def test_a_proxys_marks_reach_us_through_the_real_server(board):
    """The server must not tidy them away: a proxy on this machine would look like its owner."""
    server = PageServer(create_app(board.wiring()))
    server.start()
    try:
        for header, status in (({}, 200), ({"X-Forwarded-For": "10.0.0.9"}, 401)):
            connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
            connection.request(
                "POST",
                "/api/v1/actions",
                json.dumps(ACT),
                {"Content-Type": "application/json", **HEADERS, **header},
            )
            assert connection.getresponse().status == status
            connection.close()
    finally:
        server.stop()
