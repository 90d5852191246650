"""Samples wait here until somebody has taken them: through a lost link, with their own times.

Fixed memory, ten bytes a sample, so that nothing is left to chance after hours of work. When it
is full the oldest is dropped and counted.
"""

import struct

NUMBER, SWITCH, FAULT = 0, 1, 2
FAULTS = (
    "open-circuit",
    "short-to-ground",
    "short-to-supply",
    "out-of-range",
    "amplifier-silent",
    "amplifier-reset",
    "no-answer",
)
"""What a sample of the state ``FAULT`` may say, by its value; the first four are the service's own
words."""

_FORM = "<IBBf"
_BYTES = 10
_WRAP = 0xFFFF_FFFF


class Ring:
    """Samples in order of time, numbered from 0 since power-up.

    Args:
        size: How many are kept.
    """

    def __init__(self, size: int) -> None:
        self._size = size
        self._kept = bytearray(size * _BYTES)
        self.first = 0
        """Number of the oldest sample kept."""
        self.end = 0
        """Number of the next one."""
        self.lost = 0
        """Dropped for want of room since power-up."""

    def put(self, up_ms: int, channel: int, state: int, value: float) -> None:
        """Keep one sample.

        Args:
            up_ms: When it was measured, time since power-up [ms].
            channel: Number of its channel, 0 to 255.
            state: ``NUMBER``, ``SWITCH`` or ``FAULT``.
            value: In the channel's unit; 0 or 1; or a place in ``FAULTS``.
        """
        if self.end - self.first >= self._size:
            self.first += 1
            self.lost += 1
        place = self.end % self._size * _BYTES
        struct.pack_into(_FORM, self._kept, place, up_ms & _WRAP, channel, state, value)
        self.end += 1

    def get(self, number: int, now_ms: int) -> tuple:
        """Age [ms] at ``now_ms``, channel, state and value of a sample that is kept."""
        place = number % self._size * _BYTES
        up_ms, channel, state, value = struct.unpack_from(_FORM, self._kept, place)
        return (now_ms - up_ms) & _WRAP, channel, state, value

    def release(self, before: int) -> None:
        """Samples below this number have arrived."""
        self.first = max(self.first, before)
