"""A TCP connection whose bytes are fetched by the handful, for the MQTT client library.

The library reads a packet's first byte, then its length byte by byte, then the rest, and waits on
the socket before each packet. Those four system calls, each of which lets go of the interpreter,
cost more than everything else done for a message. Here one call fetches what has come, and the
packets in it are taken one after another.

A connection over TLS gathers by itself, record by record, and is left as it is.
"""

from __future__ import annotations

import socket
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode

AT_ONCE_BYTES = 16_384
"""Fetched at once at the most: some two hundred messages of one reading, so that what is to be
sent (acknowledgements) never waits long."""


class GatheringSocket(socket.socket):
    """A socket whose ``recv`` keeps what it has fetched too much for the next time."""

    def __init__(self, connection: socket.socket) -> None:
        super().__init__(fileno=connection.detach())
        self._held = b""
        self._taken = 0

    def pending(self) -> int:
        """Bytes that have been fetched and not taken; the name is TLS sockets' own."""
        return len(self._held) - self._taken

    def recv(self, bufsize: int, flags: int = 0, /) -> bytes:
        """As ``socket.recv``."""
        if self._taken >= len(self._held):
            self._held, self._taken = super().recv(max(AT_ONCE_BYTES, bufsize), flags), 0
        piece = self._held[self._taken : self._taken + bufsize]
        self._taken += len(piece)
        return piece


class GatheringClient(paho.Client):
    """The library's client on such a socket."""

    def _create_socket(self) -> Any:
        made = super()._create_socket()
        return GatheringSocket(made) if type(made) is socket.socket else made

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Every packet that has been fetched, where the library would wait after the first."""
        outcome = super().loop_read(max_packets)
        while outcome == MQTTErrorCode.MQTT_ERR_SUCCESS:
            link = self.socket()
            if not isinstance(link, GatheringSocket) or not link.pending():
                break
            outcome = super().loop_read(max_packets)
        return outcome
