"""Time on the board: milliseconds since power-up, and UTC once somebody has set the clock.

Everything is whole numbers: many boards have only single-precision floats, which cannot hold a
date to better than two minutes.
"""

import time

EPOCH_MS = 946_684_800_000 if time.gmtime(0)[0] == 2000 else 0
"""Some boards count from 2000, some from 1970 [ms]."""
EARLIEST_YEAR = 2025
"""A board whose clock nobody has set wakes in 1970, 2000 or 2021."""


class Clock:
    """One for the whole node; ``now`` must be called at least once in six days."""

    def __init__(self) -> None:
        self._ticks = time.ticks_ms()
        self._up_ms = 0
        self.utc_less_up_ms: int | None = None
        """UTC minus time since power-up [ms]; ``None`` while the clock is unset."""
        self.note_utc()

    def now(self) -> int:
        """Time since power-up [ms], never stepping, never wrapping."""
        ticks = time.ticks_ms()
        self._up_ms += time.ticks_diff(ticks, self._ticks)
        self._ticks = ticks
        return self._up_ms

    def note_utc(self) -> bool:
        """Believe the board's date from now on, if it can be one."""
        if time.gmtime()[0] < EARLIEST_YEAR:
            return False
        self.utc_less_up_ms = time.time_ns() // 1_000_000 + EPOCH_MS - self.now()
        return True
