"""A push button made sure of: contacts bounce, gloves press twice, wires break.

Only a press that is also let go counts, so a stuck contact or a cable that parts while the button
is down does nothing. Limits are common practice, no source. Times are shop time [µs].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

DEBOUNCE_US = 30_000
"""A contact counts as closed or open once it has been so for this long."""
LONG_US = 1_200_000
"""Held this long it means "back"."""
STUCK_US = 10_000_000
"""Held longer than this it was leant upon: nothing is meant."""
PAUSE_US = 700_000
"""A second press so soon after one is the same hand still shaking."""

PressKind = Literal["short", "long"]


@dataclass(slots=True)
class Press:
    """One button.

    Attributes:
        down: The level that is believed; ``level``: the newest one read, since ``since_us``.
        down_us: When it was pressed.
        done_us: When the last press that counted ended.
    """

    down: bool = False
    level: bool = False
    since_us: int = 0
    down_us: int = 0
    done_us: int | None = None
    blind: bool = False

    def take(self, at_us: int, level: bool) -> PressKind | None:
        """A good reading: pressed or not. What it made of the one before, if anything."""
        found = self.look(at_us)
        if level is not self.level:
            self.level, self.since_us = level, max(at_us, self.since_us)
        return found

    def look(self, now_us: int) -> PressKind | None:
        """Time has passed: a press that has ended for certain, once."""
        if self.level is self.down or now_us - self.since_us < DEBOUNCE_US:
            return None
        self.down = self.level
        if self.down:
            self.down_us, self.blind = self.since_us, False
            return None
        return self._ended(self.since_us)

    def doubt(self) -> None:
        """A fault came while it was down: whatever is pressed now does not count."""
        self.blind = True

    def _ended(self, up_us: int) -> PressKind | None:
        held_us = up_us - self.down_us
        too_soon = self.done_us is not None and self.down_us - self.done_us < PAUSE_US
        if self.blind or too_soon or held_us > STUCK_US:
            return None
        self.done_us = up_us
        return "long" if held_us >= LONG_US else "short"
