"""One text line for each alarm change, to a serial port: a lamp, a display, a louder horn.

::

    14:03:07Z RAISED purge lost: Pump engine manifold: no argon is flowing<CR><LF>

Words: RAISED (must be heard), ACKNOWLEDGED, RETURNED (to normal, unacknowledged), NORMAL; TEST for
a notice that somebody asked for. ASCII only, at most 200 characters; a degree sign is left out. The
port is opened at the start and kept open, because opening resets many boards.
"""

from __future__ import annotations

import datetime
from contextlib import suppress

import serial

from service.judge.events import AlarmChange
from service.notify.forms import TrialNotice
from service.notify.outlet import Change, Outlet, TellFailed

LINE_LIMIT = 200
WRITE_S = 2.0
"""A port that takes nothing for so long has failed [s]."""

_WORDS = {
    "unacknowledged": "RAISED",
    "acknowledged": "ACKNOWLEDGED",
    "returned": "RETURNED",
    "normal": "NORMAL",
}


def line_for(change: AlarmChange) -> bytes:
    """The line, with its end."""
    return _line(change.at_us, f"{_WORDS[change.state]} {change.kind}: {change.text}")


def _line(at_us: int, text: str) -> bytes:
    at = datetime.datetime.fromtimestamp(at_us // 1_000_000, datetime.UTC)
    flat = " ".join(f"{at:%H:%M:%S}Z {text}".replace("°", "").split())
    return flat.encode("ascii", "replace")[:LINE_LIMIT] + b"\r\n"


class SerialLine(Outlet):
    """Writes lines to a port.

    Args:
        port: Device path.
        baud: Line speed [bit/s].
        retry_s: Pause between two attempts [s].
    """

    def __init__(self, port: str, baud: int, retry_s: float = 1.0) -> None:
        super().__init__("serial", "serial line", (retry_s, retry_s))
        self._port = port
        self._baud = baud
        self._open: serial.Serial | None = None

    def _run(self) -> None:
        try:
            self._opened()
        except TellFailed as error:
            self.note_failure(str(error), given_up=False)
        super()._run()

    def deliver(self, change: Change) -> None:
        """Write one line.

        Raises:
            TellFailed: The port cannot be opened or took nothing.
        """
        if isinstance(change, AlarmChange):
            self._write(line_for(change))

    def deliver_trial(self, notice: TrialNotice) -> str:
        """Write one line that begins with TEST.

        Raises:
            TellFailed: The port cannot be opened or took nothing.
        """
        self._write(_line(notice.at_us, f"TEST {notice.text}"))
        return f"written to {self._port}"

    def _write(self, line: bytes) -> None:
        port = self._opened()
        try:
            port.write(line)
            port.flush()
        except OSError as error:  # SerialException is one; so is its write timeout
            self.close()
            raise TellFailed(f"{self._port}: {error}") from error

    def _opened(self) -> serial.Serial:
        if self._open is None:
            try:
                self._open = serial.Serial(
                    self._port, self._baud, write_timeout=WRITE_S, exclusive=True
                )
            except (OSError, ValueError) as error:
                raise TellFailed(f"{self._port} cannot be opened: {error}") from error
        return self._open

    def close(self) -> None:
        """Close the port, which may already be gone."""
        port, self._open = self._open, None
        if port is not None:
            with suppress(OSError):
                port.close()
