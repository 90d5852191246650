"""The app under waitress, in threads of its own, stopped cleanly."""

from __future__ import annotations

import logging
import socket
import threading
from typing import Any

from flask import Flask
from waitress import wasyncore
from waitress.server import BaseWSGIServer, create_server

THREADS = 8
"""Requests are short (no streams), so a few threads serve many pages."""
BODY_MOST_BYTES = 32_000_000
"""More is not even received; what each view takes is less, and is said by the view."""


class PageServer:
    """Listens from the moment it is made; serves from ``start`` to ``stop``.

    Args:
        app: What is served.
        host: Address or name to listen on; a name with several addresses listens on all.
        port: Port to listen on; 0 picks a free one, see ``port``.

    Raises:
        OSError: The address cannot be had (in use, not ours).
    """

    def __init__(self, app: Flask, host: str = "127.0.0.1", port: int = 0) -> None:
        # A full moment's queue is no news worth a line in the log.
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        bound = _bind(host, port)
        self.host = host
        self.port = int(bound[0].getsockname()[1])
        self._sockets: dict[int, Any] = {}
        self._server = create_server(
            app,
            map=self._sockets,
            sockets=bound,
            threads=THREADS,
            ident=None,
            max_request_body_size=BODY_MOST_BYTES,
            # Left in, a proxy's marks show that a request does not come from this machine itself.
            clear_untrusted_proxy_headers=False,
        )
        listeners = [s for s in self._sockets.values() if isinstance(s, BaseWSGIServer)]
        self._trigger: Any = listeners[0].trigger
        self._closing = threading.Lock()
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="pages", daemon=True)

    @property
    def address(self) -> str:
        """Where a browser finds it."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"http://{host}:{self.port}/"

    @property
    def alive(self) -> bool:
        """Its thread runs."""
        return self._thread.is_alive()

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def stop(self, timeout_s: float = 5.0) -> bool:
        """Stop answering; ``True`` when the thread has ended in time."""
        # The workers first: closing sockets under running ones prints tracebacks.
        self._server.task_dispatcher.shutdown()
        if not self._thread.is_alive():
            wasyncore.close_all(self._sockets)
            return True
        with self._closing:
            self._stopping = True
            self._trigger.pull_trigger()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while not self._stopping:
            wasyncore.loop(timeout=1.0, use_poll=True, map=self._sockets, count=1)
        # Not while the trigger is being pulled: it is one of the things that are closed.
        with self._closing:
            wasyncore.close_all(self._sockets)


def _bind(host: str, port: int) -> list[socket.socket]:
    """A listening place on every address of ``host``, all on one port.

    Done here and not by waitress, which leaves sockets and threads behind when it fails.
    """
    bound: list[socket.socket] = []
    try:
        for family, kind, protocol, _, address in socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        ):
            place = socket.socket(family, kind, protocol)
            bound.append(place)
            place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if family == socket.AF_INET6:
                place.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
            place.bind((address[0], port, *address[2:]))
            port = place.getsockname()[1]
    except OSError:
        for place in bound:
            place.close()
        raise
    return bound
