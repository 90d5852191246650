"""A source's own clock against ours: on time, late, or simply wrong.

A source may send its own times. Two things look alike and must not be confused: a reading that
was held up (a spool read out after an outage, a retained message) is history and decides nothing,
while a clock that is constantly wrong belongs to a live sensor whose readings count on arrival.
The least delay tells them apart: nothing arrives before it is measured, so a *smaller* delay than
thought is believed at once; a *larger* one only when it stays the same, reading after reading.
Limits are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.readings import Reading

TOLERANCE_US = 3_000_000
"""Delays this far from the usual one are ordinary travel [µs]."""
KEPT_BY_BROKER = "kept by the broker, of unknown age"
"""Begins the reason of a reading that a broker kept and that is no older by its own time than one
sent just now: its source's clock may be ahead, so its age is unknown and it decides nothing."""
STEADY_US = 1_000_000
STEADY_READINGS = 5
FIRST_STEADY_US = 5_000_000
"""A channel never heard on time: a wrong clock is believed after 5 s of the same delay."""
AGAIN_STEADY_US = 60_000_000
"""One that was on time: only after a minute, since a jammed link also delays steadily."""


@dataclass(slots=True)
class SourceClock:
    """Delay bookkeeping of one channel.

    Attributes:
        skew_us: Constant delay taken for a wrong source clock [µs]; 0 when the clock is right.
        newest_us: Newest source time judged under this skew [µs].
        seen: Some reading was placed before.
        odd_us: A different delay that may become the skew, with since when and how often.
    """

    skew_us: int = 0
    newest_us: int | None = None
    seen: bool = False
    odd_us: int | None = None
    odd_since_us: int = 0
    odd_count: int = 0

    def place(self, reading: Reading) -> int | None:
        """When a reading was measured, by shop time [µs]; ``None`` when it is history only."""
        if reading.reason is not None and reading.reason.startswith(KEPT_BY_BROKER):
            return None
        delay_us = reading.arrived_us - reading.t_us
        if not reading.timed:  # "now" or so long ago, by our own clock
            return None if delay_us > TOLERANCE_US else reading.mono_us - max(0, delay_us)
        if abs(delay_us) <= TOLERANCE_US and self.skew_us:
            self._adopt(0)
        elif delay_us < self.skew_us - TOLERANCE_US:
            self._adopt(delay_us)
        elif delay_us > self.skew_us + TOLERANCE_US and not self._stays(reading, delay_us):
            return None
        self.odd_us = None
        if self.newest_us is not None and reading.t_us <= self.newest_us:
            return None
        self.newest_us, self.seen = reading.t_us, True
        return reading.mono_us - min(TOLERANCE_US, max(0, delay_us - self.skew_us))

    def _adopt(self, skew_us: int) -> None:
        self.skew_us, self.newest_us = skew_us, None

    def _stays(self, reading: Reading, delay_us: int) -> bool:
        if self.odd_us is None or abs(delay_us - self.odd_us) > STEADY_US:
            self.odd_us, self.odd_since_us, self.odd_count = delay_us, reading.mono_us, 0
        self.odd_count += 1
        long_us = AGAIN_STEADY_US if self.seen else FIRST_STEADY_US
        steady_us = reading.mono_us - self.odd_since_us
        if self.odd_count < STEADY_READINGS or steady_us < long_us:
            return False
        self._adopt(delay_us)
        return True

    def our_clock_stepped(self, by_us: int) -> None:
        """The wall clock was corrected: every delay changes by as much, the source did not."""
        if self.newest_us is not None:
            self.skew_us += by_us
        if self.odd_us is not None:
            self.odd_us += by_us
        if abs(self.skew_us) <= TOLERANCE_US:
            self.skew_us = 0

    def remark(self) -> str | None:
        """The skew in words, or ``None``."""
        if not self.skew_us:
            return None
        seconds = abs(self.skew_us) / 1e6
        side = "behind" if self.skew_us > 0 else "ahead"
        return f"its clock is {seconds:.0f} s {side}: arrival time is used"
