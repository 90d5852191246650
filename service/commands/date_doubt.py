"""Whether the machine's date can be right: a board without a clock of its own starts anywhere.

Nothing waits for it. Durations, fits and alarms run on the monotonic clock; readings are kept at
once, under the date there is, and a journalled offset leads back from it to the shop's time, so
that a record of a heat is told by the corrected clock. Until then it is said wherever health is.
"""

from __future__ import annotations

from datetime import UTC, datetime

EARLIEST = datetime(2026, 1, 1, tzinfo=UTC)
"""This program was not written before that."""
SLACK_US = 60_000_000
"""A clock that was a little fast when the machine went down is no news [µs]."""


class DateDoubt:
    """Doubts the date from the start until it is set.

    Args:
        offset_us: Wall clock minus shop time at the start [µs].
        utc_us: The wall clock at the start [µs since 1970].
        recorded_us: The newest time of anything recorded, by the wall clock of then [µs since
            1970]; 0 when nothing is.
    """

    def __init__(self, offset_us: int, utc_us: int, recorded_us: int) -> None:
        self._offset_us = offset_us
        self._recorded_us = recorded_us
        self._behind = utc_us + SLACK_US < recorded_us

    def text(self, offset_us: int, utc_us: int) -> str | None:
        """What is wrong with the date now and what to do; ``None``: it can be right.

        Args:
            offset_us: Wall clock minus shop time now [µs]: another one means that it was set.
            utc_us: The wall clock now [µs since 1970].
        """
        if utc_us < EARLIEST.timestamp() * 1e6:
            why = f"earlier than {EARLIEST:%Y-%m-%d}, when this program was written"
        elif self._behind and offset_us == self._offset_us:
            why = f"earlier than the newest record, of {_day(self._recorded_us)}"
        else:
            return None
        return (
            f"This machine's date, {_day(utc_us)}, cannot be right: it is {why}. Readings are "
            "taken and judged all the same and kept under that date. Set the date of the machine: "
            "records of heats are then told by the right one."
        )


def _day(utc_us: int) -> str:
    return f"{datetime.fromtimestamp(utc_us / 1e6, UTC):%Y-%m-%d %H:%M} UTC"
