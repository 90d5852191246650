"""Telling systemd that the service is up and that every worker still comes round.

The protocol is a datagram to the socket that the environment names (sd_notify(3)). Without that
variable nobody asked, and nothing is sent.
"""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import Callable, Mapping, Sequence


class Supervisor:
    """What is told to the program that started the service.

    Args:
        stuck: Names of the workers that have not come round in time.
        environment: Where ``NOTIFY_SOCKET`` is looked for.
    """

    def __init__(
        self, stuck: Callable[[], Sequence[str]], environment: Mapping[str, str] = os.environ
    ) -> None:
        self._stuck = stuck
        self._address = environment.get("NOTIFY_SOCKET", "")

    def ready(self, address: str) -> None:
        """Everything is open and the page is served."""
        self._send(f"READY=1\nSTATUS=page at {address}")

    def alive(self) -> None:
        """Say that all is well; with a worker stuck say that instead, and let the watchdog bite."""
        stuck = self._stuck()
        if stuck:
            self._send(f"STATUS=stuck: {', '.join(stuck)}")
        else:
            self._send("WATCHDOG=1")

    def stopping(self) -> None:
        """The end was asked for and is on its way."""
        self._send("STOPPING=1")

    def _send(self, text: str) -> None:
        if not self._address:
            return
        # A name that begins with @ is in the abstract namespace: a NUL byte there.
        place = self._address.replace("@", "\0", 1)
        with (
            contextlib.suppress(OSError),  # the supervisor has gone: it cannot be told that
            socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as link,
        ):
            link.sendto(text.encode(), place)
