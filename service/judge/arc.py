"""The arc as its channel sees it: current on the work lead, or simply on and off.

A small machine for each channel. It has hysteresis on the current, passes over blips that are no
weld (a touch of the electrode, the starter's spark), and joins stitches: an arc that comes back
within seconds is the same pass. So the end of a pass is known only after a pause, and is then
dated back to the moment the arc went out. Silence and faults say nothing: what ran goes on, and
ends only when the channel itself says that the arc is out.

Limits are common practice, no source. Times are shop time [µs].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ON_A = 8.0
"""Current that counts as an arc [A]; a clamp's zero drifts by an ampere or two, and thin tube is
welded from about 15 A. The sign does not matter: it tells only which way the clamp is on."""
OFF_A = 4.0
"""Below this it is out [A]; a crater filled with falling current stays one pass."""
LEAST_US = 200_000
"""A shorter arc is a blip, no weld."""
JOIN_US = 5_000_000
"""Stitches closer than this are one pass: a dip of the filler, a shift of the hand."""
COUNTED_US = 3_000_000
"""Readings further apart than this show nothing of what was between them; a slow channel that is
not yet silent by its own pace may say otherwise."""

ArcMark = Literal["began", "ended"]


@dataclass(frozen=True, slots=True)
class ArcEvent:
    """An arc began or ended at ``at_us``; ``arc_us`` is how long it has burnt, pauses left out."""

    mark: ArcMark
    at_us: int
    arc_us: int


@dataclass(slots=True)
class ArcTrack:
    """One arc channel.

    Attributes:
        on: Its newest good reading shows an arc.
        heard_us: When that was.
        from_us: When the present run of stitches began; ``None``: there is none.
        last_on_us: When the arc was last seen burning.
        arc_us: How long it has burnt in this run [µs].
        begun: The run has been told of.
        heat_id: The heat it was found to belong to.
        answered_id, answered_us: What somebody said when asked, and until when it was of use.
    """

    on: bool = False
    heard_us: int | None = None
    from_us: int | None = None
    last_on_us: int = 0
    arc_us: int = 0
    begun: bool = False
    heat_id: int | None = None
    answered_id: int | None = None
    answered_us: int = 0

    def take(
        self, at_us: int, value: float, unit: str | None, counted_us: int = COUNTED_US
    ) -> None:
        """A good reading: amperes, or 1 and 0 for on and off."""
        if self.heard_us is not None and at_us < self.heard_us:
            return
        if self.on and self.heard_us is not None:
            gap_us = at_us - self.heard_us
            if gap_us <= counted_us:
                self.arc_us += gap_us
                self.last_on_us = at_us
        on = self._shows_arc(value, unit)
        if on:
            if self.from_us is None:
                self.from_us, self.arc_us, self.begun = at_us, 0, False
            self.last_on_us = at_us
        elif self.from_us is not None and not self.begun and self.arc_us < LEAST_US:
            self.from_us = None
        self.on, self.heard_us = on, at_us

    def _shows_arc(self, value: float, unit: str | None) -> bool:
        if unit != "A":
            return value >= 0.5
        return abs(value) >= (OFF_A if self.on else ON_A)

    def look(self, now_us: int, known: bool) -> list[ArcEvent]:
        """What has come of it by now.

        Args:
            known: The channel is live and good; otherwise nothing new is believed.
        """
        found: list[ArcEvent] = []
        if self.from_us is None or not known:
            return found
        burnt_us = self.arc_us
        if self.on and self.heard_us is not None:
            burnt_us += max(0, now_us - self.heard_us)
        if not self.begun and burnt_us >= LEAST_US:
            self.begun = True
            found.append(ArcEvent("began", self.from_us, self.arc_us))
        if not self.on and now_us - self.last_on_us >= JOIN_US:
            if self.begun:
                found.append(ArcEvent("ended", self.last_on_us, self.arc_us))
            self.from_us = None
        return found

    @property
    def running(self) -> bool:
        """A pass is on, or may go on with the next stitch."""
        return self.begun and self.from_us is not None

    def forget(self) -> None:
        """It measures something else now."""
        self.on, self.heard_us, self.from_us, self.begun = False, None, None, False
        self.heat_id = self.answered_id = None
