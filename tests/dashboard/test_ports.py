"""Serial ports by the API: offered, taken in, let go; nothing else."""

from __future__ import annotations

import pytest

from dashboard.wiring import AdoptedPort, UnusedPort

FREE = UnusedPort("usb:1a86:7523", "/dev/ttyUSB0", "bench board")


@pytest.fixture
def send(client):
    def post(what: str, body: object, header: bool = True):
        headers = {"X-Heatwindow": "page"} if header else {}
        return client.post(f"/api/v1/ports/{what}", json=body, headers=headers)

    return post


def test_a_port_is_offered_taken_in_and_let_go(client, board, send):
    board.unused = [FREE]
    assert client.get("/api/v1/ports").get_json() == {
        "unused": [
            {"name": FREE.name, "device": FREE.device, "description": FREE.description},
        ],
        "adopted": [],
    }
    answer = send("adopt", {"port": FREE.name, "profile": "csv"})
    assert answer.get_json() == {
        "unused": [],
        "adopted": [{"port": FREE.name, "baud": 115_200, "profile": "csv"}],
    }
    assert board.adopted == [AdoptedPort(FREE.name, 115_200, "csv")]
    assert send("release", {"port": FREE.name}).get_json()["adopted"] == []


@pytest.mark.parametrize(
    ("what", "body", "field"),
    [
        ("adopt", {}, "port"),
        ("adopt", {"port": ""}, "port"),
        ("adopt", {"port": "a", "baud": 10}, "baud"),
        ("adopt", {"port": "a", "speed": 10}, "speed"),
        ("release", {"port": 3}, "port"),
    ],
)
def test_a_bad_question_names_its_fault(send, board, what, body, field):
    answer = send(what, body)
    assert answer.status_code == 422
    assert [fault["field"] for fault in answer.get_json()["errors"]] == [field]
    assert board.adopted == []


def test_only_our_own_page_may(send, board):
    assert send("adopt", {"port": "a"}, header=False).status_code == 403
    assert send("release", {"port": "a"}, header=False).status_code == 403
    assert board.adopted == []


def test_a_refusal_is_told(send, board):
    board.refuse = "a is no unused serial port here; unused: none."
    answer = send("adopt", {"port": "a"})
    assert (answer.status_code, answer.get_json()["detail"]) == (409, board.refuse)
    assert send("release", {"port": "a"}).status_code == 409
