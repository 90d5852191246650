"""What a history is made of."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a history.

    Attributes:
        t_us: Its beginning [µs UTC].
        low: Lowest good value, in the history's unit; ``None`` without a good reading.
        high: Highest good value.
        mean: Mean of the good values.
        good: Number of good readings.
        suspect: Number of suspect readings.
        bad: Number of bad readings.
    """

    t_us: int
    low: float | None
    high: float | None
    mean: float | None
    good: int
    suspect: int
    bad: int

    @property
    def is_gap(self) -> bool:
        """Nothing to draw here: a line must not be drawn across."""
        return self.good == 0
