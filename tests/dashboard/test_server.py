"""The app under the real server: answers, stops in time, gives the port back."""

from __future__ import annotations

import http.client

import pytest

from dashboard.app import create_app
from dashboard.server import PageServer


def test_serves_and_stops(board):
    server = PageServer(create_app(board.wiring()))
    server.start()
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    connection.request("GET", "/api/v1/bench")
    assert connection.getresponse().status == 200
    # A browser keeps its connection open; that must not hold up the stop.
    assert server.stop()
    connection.close()
    again = PageServer(create_app(board.wiring()), port=server.port)
    assert again.stop()


def test_taken_port_is_an_error(board):
    app = create_app(board.wiring())
    server = PageServer(app)
    with pytest.raises(OSError, match="in use"):
        PageServer(app, port=server.port)
    server.stop()


def test_stops_as_often_as_it_is_started(board):
    """A page asking all the while: stopping never trips over what it closes."""
    app = create_app(board.wiring())
    for _ in range(30):
        server = PageServer(app)
        server.start()
        connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
        connection.request("GET", "/healthz")
        assert server.stop()
        connection.close()
    assert not server.alive
