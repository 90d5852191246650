"""The gathering socket gives the library the same bytes, in fewer calls of the system."""

from __future__ import annotations

import socket

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.clock import SystemClock
from service.sources.broker import Broker
from service.sources.gathering import AT_ONCE_BYTES, GatheringSocket
from service.sources.mqtt import MqttLink
from tests.field.bench_parts import wait_until


@given(
    st.lists(st.binary(min_size=1, max_size=300), min_size=1, max_size=8),
    st.lists(st.integers(1, 400), min_size=1, max_size=8),
)
def test_what_comes_out_is_what_went_in(sent, asked):
    near, far = socket.socketpair()
    gathering = GatheringSocket(far)
    try:
        for each in sent:
            near.sendall(each)
        near.shutdown(socket.SHUT_WR)
        found, turn = b"", 0
        while piece := gathering.recv(asked[turn % len(asked)]):
            assert len(piece) <= asked[turn % len(asked)]
            found, turn = found + piece, turn + 1
        assert found == b"".join(sent)
        assert gathering.pending() == 0
    finally:
        gathering.close()
        near.close()


def test_it_holds_back_no_more_than_it_says_and_blocks_as_a_socket_does():
    near, far = socket.socketpair()
    with near, GatheringSocket(far) as gathering:
        gathering.setblocking(False)
        with pytest.raises(BlockingIOError):
            gathering.recv(1)
        near.sendall(bytes(3 * AT_ONCE_BYTES))
        assert len(gathering.recv(1)) == 1
        assert gathering.pending() == AT_ONCE_BYTES - 1
        assert len(gathering.recv(2 * AT_ONCE_BYTES)) == AT_ONCE_BYTES - 1


@pytest.mark.mosquitto
def test_the_client_library_takes_it(mosquitto, intake):
    """``_create_socket`` is the library's own affair: should it be renamed, this says so."""
    broker = Broker(mosquitto.host, mosquitto.port, "hw-test")
    link = MqttLink(broker, ["heatwindow/readings/#"], intake, SystemClock())
    link.start()
    try:
        wait_until(lambda: link.status().ready, "the subscription")
        assert isinstance(link._client.socket(), GatheringSocket)
    finally:
        assert link.stop()
