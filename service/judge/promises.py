"""How often each source said it would be heard, and when the judge must be told.

Pure: the collector asks at every reading that carries a promise (SenML's update time).
"""

from __future__ import annotations

from collections.abc import Mapping

PROMISES_MOST = 500
"""Channels whose promise of the next reading is followed."""

PROMISE_KEPT_US = 60_000_000
"""A promise holds for so long before another one is listened to [µs]."""


class Promises:
    """The promise in force of each channel.

    Args:
        told_us: What the judge knows already: channel to longest time between readings [µs].
    """

    def __init__(self, told_us: Mapping[str, int]) -> None:
        self._known = {channel: (update_us, 0) for channel, update_us in told_us.items()}

    def is_news(self, channel: str, update_us: int, now_us: int) -> bool:
        """Whether a promise differs from the one in force; it is then in force itself.

        A sender that changes its mind with every reading must not fill the journal.
        """
        known = self._known.get(channel)
        if known is None and len(self._known) >= PROMISES_MOST:
            return False
        if known is not None and (known[0] == update_us or now_us - known[1] < PROMISE_KEPT_US):
            return False
        self._known[channel] = update_us, now_us
        return True
