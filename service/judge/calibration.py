"""What a channel's checks against known values have taught: the correction of every reading since.

A reading is stored as it came. On its way to the judge and to the page it is corrected by the
calibration that held when it came; between two checked values the correction changes evenly, and
beyond them the nearest one is used: nobody has checked there.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

DAY_US = 86_400_000_000


@dataclass(frozen=True, slots=True)
class Check:
    """One comparison, in the channel's unit.

    Attributes:
        reads: What the channel read.
        true: What it should have read.
    """

    reads: float
    true: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """The checks of a channel, from the lowest to the highest.

    Attributes:
        checks: At least one; both ``reads`` and ``true`` rise from each to the next.
        since_utc_us: From when it holds [µs UTC].
        due_utc_us: When the next check is due [µs UTC]; ``None``: nobody has said.
        note: Against what, by whom, in the shop's own words.
    """

    checks: tuple[Check, ...]
    since_utc_us: int
    due_utc_us: int | None = None
    note: str = ""

    def corrected(self, value: float) -> float:
        """The value as it should have read."""
        return corrected(value, self.checks)

    def read(self, corrected_value: float) -> float:
        """What the channel read where it should have read ``corrected_value``."""
        return corrected(corrected_value, [Check(each.true, each.reads) for each in self.checks])

    def overdue(self, utc_us: int) -> bool:
        """The next check should have been made by now."""
        return self.due_utc_us is not None and utc_us > self.due_utc_us


def corrected(value: float, checks: Sequence[Check]) -> float:
    """A value corrected by checks in rising order, at least one.

    Linear between two checks; beyond the ends the correction of the nearest one.
    """
    place = bisect_right([check.reads for check in checks], value)
    if place == 0:
        return value + checks[0].true - checks[0].reads
    below = checks[place - 1]
    if place == len(checks):
        return value + below.true - below.reads
    above = checks[place]
    share = (value - below.reads) / (above.reads - below.reads)
    return below.true + share * (above.true - below.true)


def fault_of(checks: Sequence[Check]) -> str | None:
    """Why these checks make no calibration, in one sentence; ``None`` if they do."""
    for below, above in pairwise(checks):
        if above.reads <= below.reads:
            return (
                f"reads {above.reads:g} does not follow {below.reads:g}: "
                "the checks go from the lowest reading to the highest, each another"
            )
        if above.true <= below.true:
            return (
                f"true {above.true:g} does not follow {below.true:g}: "
                "a channel that reads more where there is less cannot be corrected"
            )
    return None
