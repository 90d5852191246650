"""Outlets that talk to a server: every attempt has an end, whatever the server does.

A socket's timeout is for each step; a server that dribbles, or a name that is not resolved, can
hold a thread for minutes. So each attempt runs in a thread of its own that is left behind when its
time is over or the service stops, with its socket shut so that it ends soon. While one is still
left, no other is begun.
"""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

from service.notify.outlet import Outlet, TellFailed

STEP_S = 10.0
"""One step of an attempt: connecting, one answer [s, real]."""
ATTEMPT_S = 30.0
"""One whole attempt [s, real]; mail servers make strangers wait on purpose."""
NETWORK_PAUSES_S = (2.0, 10.0, 30.0, 60.0)
"""Five attempts within two minutes, their own time not counted [s, real]."""


class NetworkOutlet(Outlet):
    """Base of outlets that talk to a server.

    Args:
        key: One word, for addresses and commands.
        name: For status and log.
        pauses_s: Between attempts at one message [s, real].
        attempt_s: Longest attempt [s, real].
    """

    def __init__(
        self,
        key: str,
        name: str,
        pauses_s: Sequence[float] = NETWORK_PAUSES_S,
        attempt_s: float = ATTEMPT_S,
    ) -> None:
        super().__init__(key, name, pauses_s)
        self._attempt_s = attempt_s
        self._errand: threading.Thread | None = None

    def errand(self, work: Callable[[], None], its_socket: Callable[[], object]) -> None:
        """Do one attempt, for so long as it may take.

        Args:
            work: Raises ``TellFailed``, or anything else for a fault of ours.
            its_socket: The socket it holds now, if any; called from another thread.

        Raises:
            TellFailed: As ``work``, or its time is over, or the service stops.
        """
        if self._errand is not None and self._errand.is_alive():
            raise TellFailed("the attempt before still hangs")
        raised: list[BaseException | None] = []

        def run() -> None:
            try:
                work()
                raised.append(None)
            except BaseException as error:  # noqa: BLE001 - handed over to who waits for it
                raised.append(error)
            with self._work:
                self._work.notify_all()

        self._errand = threading.Thread(target=run, name=f"errand {self.name}", daemon=True)
        self._errand.start()
        with self._work:
            self._work.wait_for(lambda: raised or self._stopping.is_set(), self._attempt_s)
        if not raised:
            _shut(its_socket())
            if self._stopping.is_set():
                raise TellFailed("the service stopped in the middle of it", lasting=True)
            raise TellFailed(f"it did not end within {self._attempt_s:g} s")
        if raised[0] is not None:
            raise raised[0]


def _shut(held: object) -> None:
    if isinstance(held, socket.socket):
        with suppress(OSError):
            held.shutdown(socket.SHUT_RDWR)


def read_secret(file: Path) -> str:
    """What a password file holds, without its line end.

    Raises:
        TellFailed: It cannot be read any more; the text names the file, never what is in it.
    """
    try:
        return file.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
        raise TellFailed(f"the password file {file} cannot be read: {why}") from None


def tls_context(ca_file: Path | None) -> ssl.SSLContext:
    """A context that checks the server's certificate and name.

    Args:
        ca_file: Authority to trust (PEM); ``None``: the system's.

    Raises:
        TellFailed: The file cannot be used any more.
    """
    try:
        return ssl.create_default_context(cafile=None if ca_file is None else str(ca_file))
    except OSError as error:
        raise TellFailed(f"the certificates of {ca_file} cannot be used: {error}") from error


def network_words(error: OSError) -> str:
    """What went wrong on the way, in words."""
    if isinstance(error, TimeoutError):
        return f"no answer within {STEP_S:g} s"
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not trusted: {error.verify_message}"
    return (error.strerror or str(error) or type(error).__name__).lower()
