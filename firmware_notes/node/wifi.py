"""The wireless network, and the date from it."""

import network
import ntptime

AGAIN_MS = 20_000
"""Between two attempts to join."""
DATE_AGAIN_MS = 60_000
DATE_KEPT_MS = 6 * 3_600_000
"""A board's crystal wanders by a second a day or so."""


class Wifi:
    """Joins a network and stays in it.

    Args:
        settings: The tables ``wifi`` and ``ntp`` of the config file.
        clock: The board's time, which is set from the network.
    """

    def __init__(self, settings: dict, clock: object) -> None:
        self._join = settings["wifi"]
        self._time_host = settings["time_host"]
        self._clock = clock
        self._lan = network.WLAN(network.STA_IF)
        self._lan.active(True)
        self._join_ms = None
        self._date_ms = 0

    def step(self, now_ms: int) -> bool:
        """Keep at it; whether we are in the network."""
        if not self._lan.isconnected():
            if self._join_ms is None or now_ms >= self._join_ms:
                self._join_ms = now_ms + AGAIN_MS
                self._lan.connect(self._join["name"], self._join["password"])
            return False
        if self._time_host and now_ms >= self._date_ms:
            self._date_ms = now_ms + self._ask_date()
        return True

    def _ask_date(self) -> int:
        """Set the board's clock; when to do so again [ms]. Waits for a second at most."""
        ntptime.host = self._time_host
        try:
            ntptime.settime()
        except (OSError, OverflowError):  # nobody answers; times stay as they are
            return DATE_AGAIN_MS
        return DATE_KEPT_MS if self._clock.note_utc() else DATE_AGAIN_MS
