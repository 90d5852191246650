"""One channel as the judge sees it: alive or silent, believed or not, on time or late.

Health is data age by arrival. Times are shop time (monotonic) [µs] unless a name says source.
The time limits are common practice, no source, except where a line says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from service.judge.cold_junction import UNIT
from service.judge.settling import WINDOW_US, Settling
from service.judge.source_clock import SourceClock
from service.readings import ChannelKind, Quality, Reading

STALE_FLOOR_US = 3_000_000
STALE_INTERVALS = 3
PROMISE_MOST_US = 60_000_000
"""A promise of the next reading is believed so far: a bare casting has lost 24 K by then."""
SAME_ARRIVAL_US = 50_000
"""Readings of one pack arrive together; their spacing says nothing about the channel's pace."""
PACE_MEMORY = 9
PACE_LEAST = 3
NOISE_WINDOW_US = 60_000_000
NOISY_AT = 5
"""So many suspect readings or brief faults in a minute are a burst worth telling (arc start, loose
plug)."""
BRIEF_US = 3_000_000
"""A fault that ends within so long is noise; a longer one is told as a fault."""
NOISE_LASTING_US = 15_000_000
"""Impossible jumps over so long a time are no arc start any more but a fault."""
NOISE_MEMORY = 20
BRIDGE_US = 15_000_000
"""A gap shorter than this, with the reading where it should be, is no new contact."""
BRIDGE_K = 2.0
BRIDGE_K_PER_S = 0.6
"""36 K/min: faster than a bare casting loses heat (24.5 K/min at 350 °C, own calculation)."""
HOT_C = 60.0
"""Above this a part off the heat must be cooling, so an unmoving reading is a frozen one."""
FROZEN_FLOOR_US = 90_000_000
"""On the bench; under a blanket and in the oven the judge allows longer."""
LOOK_BACK_US = 4_000_000
MOVED_K = 3.0
MOVED_K_PER_S = 1.5
"""No part heats (off the heat) or cools as fast as this (a bare 2 mm tube at 350 °C loses 1 K/s by
own calculation): the probe itself was put on, pulled off or has slipped."""
ROOM_C = 20.0
OFF_SHARE = 0.5
"""A probe that fell suddenly and kept less than this share of its excess over the room is off the
part; one moved to a cooler place of it keeps more."""
REVERSED_K = 15.0
REVERSED_BELOW_C = 10.0
"""A probe in a warming oven that falls so far, to so cold, has its leads reversed."""


class Standing(StrEnum):
    """What a channel's newest word is worth at this moment."""

    GOOD = "good"
    SETTLING = "settling"
    SUSPECT = "suspect"
    BAD = "bad"
    STALE = "stale"


# An enum's member is looked up in its class at every use; these are used for every reading.
GOOD, SUSPECT, BAD = Quality.GOOD, Quality.SUSPECT, Quality.BAD
GOOD_STANDING, STALE = Standing.GOOD, Standing.STALE


@dataclass(slots=True)
class ChannelTrack:
    """Everything remembered of one channel; bounded.

    Attributes:
        heard_us: Arrival of the newest reading that was not late, of any quality.
        value: Its number; kept for show even when it must not be used.
        sent_unit, sent_value: As the source sent it: another than ``unit`` and ``value`` for a
            thermocouple that arrives as a voltage.
        by_hand: Somebody types its readings in; nothing sends on it.
        update_us: The source's own promise of the longest time between readings.
        good_us: Arrival of the newest good reading.
        measured_us: When that one was measured, by shop time.
        spacings_us: The last few times between arrivals, from which the pace is learnt.
        suspects_us: When the last suspect readings and brief faults came.
        bad_since_us: When the readings that say a fault began; ``None``: the newest says none.
        same_since_us: Since when the number has not changed by a digit.
        frozen_after_us: How long that may last where the channel is now.
        in_oven: The probe is in the oven; ``oven_from_c``: what it read first there.
        heated: Something may heat the part just now (oven, arc).
        before_us, before_value: A good reading a few seconds back, for its speed.
        fell_from_c: Where it was before it fell faster than a part can cool.
    """

    name: str
    known_since_us: int
    unit: str | None = None
    sent_unit: str | None = None
    sent_value: float | None = None
    update_us: int | None = None
    by_hand: bool = False
    kind: ChannelKind | None = None
    heard_us: int | None = None
    value: float | None = None
    quality: Quality = Quality.BAD
    reason: str | None = None
    good_us: int | None = None
    good_value: float | None = None
    measured_us: int = 0
    same_since_us: int = 0
    frozen_after_us: int = 10 * FROZEN_FLOOR_US
    in_oven: bool = False
    oven_from_c: float | None = None
    heated: bool = False
    before_us: int = 0
    before_value: float | None = None
    fell_from_c: float | None = None
    late: int = 0
    spacings_us: list[int] = field(default_factory=list)
    suspects_us: list[int] = field(default_factory=list)
    bad_since_us: int | None = None
    clock: SourceClock = field(default_factory=SourceClock)
    settling: Settling = field(default_factory=Settling)

    def take(self, reading: Reading, sent: Reading | None = None) -> bool:
        """Take a reading in; returns whether it counts now (``False``: late, history only).

        Args:
            reading: In the unit the judge counts in.
            sent: The same as it was sent, where that is something else (a voltage).
        """
        sent = reading if sent is None else sent
        measured_us = self.clock.place(reading)
        if measured_us is None:
            self.late += 1
            return False
        mono_us, value, quality = reading.mono_us, reading.value, reading.quality
        if reading.unit is not None:
            self.unit, self.sent_unit = reading.unit, sent.unit
        self._learn_pace(mono_us)
        if sent.value != self.sent_value:
            self.same_since_us = mono_us
        self.sent_value, self.heard_us = sent.value, mono_us
        self.value, self.quality, self.reason = value, quality, reading.reason
        if quality is not GOOD or self.bad_since_us is not None:
            self._count_noise(reading)
        if quality is GOOD and value is not None:
            self._take_good(mono_us, value, measured_us)
        return True

    def _count_noise(self, reading: Reading) -> None:
        """Suspect readings one by one, brief faults once each when they are over."""
        if reading.quality is Quality.BAD:
            if self.bad_since_us is None:
                self.bad_since_us = reading.mono_us
            return
        began_us, self.bad_since_us = self.bad_since_us, None
        if began_us is not None and reading.mono_us - began_us <= BRIEF_US:
            self.suspects_us = [*self.suspects_us[1 - NOISE_MEMORY :], began_us]
        if reading.quality is Quality.SUSPECT:
            self.suspects_us = [*self.suspects_us[1 - NOISE_MEMORY :], reading.mono_us]

    def _learn_pace(self, mono_us: int) -> None:
        if self.heard_us is None:
            return
        spacing_us = mono_us - self.heard_us
        if spacing_us > SAME_ARRIVAL_US:
            self.spacings_us = [*self.spacings_us[1 - PACE_MEMORY :], spacing_us]

    def _take_good(self, mono_us: int, value: float, measured_us: int) -> None:
        is_probe = self.is_probe
        was_off = is_probe and self.fell_from_c is not None and self.off
        if is_probe:
            fresh = self._new_contact(mono_us, value)
            if fresh:
                self._forget_or_fall(mono_us, value)
            if self._moved(measured_us, value) or fresh:
                self.settling.begin(mono_us)
            if self.fell_from_c is not None and self.settling.since_us is None and not self.off:
                self.fell_from_c = None
            if self.settling.since_us is not None:
                doubted = sum(mono_us - at_us <= WINDOW_US for at_us in self.suspects_us)
                self.settling.note(measured_us, value, self.in_oven, doubted)
            if self.in_oven and self.oven_from_c is None:
                self.oven_from_c = value
        self.good_us, self.good_value, self.measured_us = mono_us, value, measured_us
        if was_off and not self.off and self.settling.since_us is None:
            self.settling.begin(mono_us)  # put back, and on its way up to the part's temperature

    def _new_contact(self, mono_us: int, value: float) -> bool:
        if self.good_us is None or self.good_value is None:
            return True
        gap_us = mono_us - self.good_us
        off_k = abs(value - self.good_value)
        if gap_us > BRIDGE_US and gap_us > self.stale_after_us:
            return True
        return off_k > self._bridge_k(gap_us)

    def _forget_or_fall(self, mono_us: int, value: float) -> None:
        """A new contact: after a gap it starts afresh; without one a drop is a fall."""
        gap_us = 0 if self.good_us is None else mono_us - self.good_us
        if gap_us > BRIDGE_US:
            self.fell_from_c = None
        elif self.good_value is not None and value < self.good_value and not self.in_oven:
            self.fell_from_c = self.fell_from_c or self.good_value
        self.before_value = None

    def _moved(self, measured_us: int, value: float) -> bool:
        """The probe follows something else than a part that is left alone."""
        elapsed_us = measured_us - self.before_us
        if self.before_value is None or elapsed_us > 4 * LOOK_BACK_US:
            self.before_us, self.before_value = measured_us, value
            return False
        if elapsed_us < LOOK_BACK_US:
            return False
        change_k, most_k = value - self.before_value, MOVED_K + MOVED_K_PER_S * elapsed_us / 1e6
        self.before_us, self.before_value = measured_us, value
        if change_k < -most_k and not self.in_oven:
            if self.fell_from_c is None:
                self.fell_from_c = value - change_k
            return True
        return change_k > most_k and not self.heated

    @property
    def off(self) -> bool:
        """It fell faster than any part cools and has lost most of its warmth: it hangs in air."""
        if self.fell_from_c is None or self.good_value is None:
            return False
        return self.good_value - ROOM_C < OFF_SHARE * (self.fell_from_c - ROOM_C)

    def _bridge_k(self, gap_us: int) -> float:
        """How far a probe in contact may have moved; a quick noise spike below the gate's own
        limit must not count as a new contact, so a live channel gets that limit."""
        if gap_us <= STALE_FLOOR_US or gap_us <= self.stale_after_us:
            return 12.0 + 10.0 * gap_us / 1e6
        return BRIDGE_K + BRIDGE_K_PER_S * gap_us / 1e6

    @property
    def is_probe(self) -> bool:
        """A temperature that is pressed onto something and stays there."""
        if self.by_hand:
            return False
        if self.kind is None:
            return self.unit == "Cel"
        return self.kind is ChannelKind.THERMOCOUPLE

    @property
    def interval_us(self) -> int | None:
        """Learnt time between readings, or ``None`` before there is enough to learn from."""
        if len(self.spacings_us) < PACE_LEAST:
            return None
        return sorted(self.spacings_us)[len(self.spacings_us) // 2]

    @property
    def stale_after_us(self) -> int:
        """Age at which the channel counts as silent: max(3 s, 3 x its learnt interval), or the
        time within which its source promises the next reading and 3 s, if that is longer."""
        learnt_us = STALE_INTERVALS * (self.interval_us or 0)
        promised_us = 0 if self.update_us is None else min(self.update_us, PROMISE_MOST_US)
        return max(STALE_FLOOR_US, learnt_us, promised_us + STALE_FLOOR_US if promised_us else 0)

    def adopted(self, kind: ChannelKind | None) -> None:
        """Somebody has said what it measures. Voltages are no temperatures yet, or were read
        by another table: no number seen before may be set against what comes now."""
        self.kind = kind
        if not self.is_probe or self.sent_unit == UNIT:
            self.settling, self.fell_from_c, self.before_value = Settling(), None, None
        if self.sent_unit == UNIT:
            self.unit, self.value, self.quality, self.reason = UNIT, None, Quality.BAD, None
            self.good_us = self.good_value = None

    def recalibrated(self) -> None:
        """What comes now is corrected otherwise: it is not set against what was, and what was is
        not believed any more."""
        self.before_value = self.value = None
        self.good_us = self.good_value = None
        if self.heard_us is not None:
            self.quality, self.reason = Quality.BAD, "calibrated just now: no reading since"

    def new_contact(self, now_us: int) -> None:
        """The probe was put somewhere else: it settles again."""
        self.fell_from_c = None
        if self.is_probe:
            self.settling.begin(now_us)

    def age_us(self, now_us: int) -> int:
        """Time since the channel was last heard, or since it is known."""
        return now_us - (self.known_since_us if self.heard_us is None else self.heard_us)

    def standing(self, now_us: int) -> Standing:
        """What the newest reading is worth at ``now_us``.

        Asked some twenty times for each channel and tick, so what is cheap and rules the most out
        is looked at first.
        """
        heard_us, quality = self.heard_us, self.quality
        if heard_us is None or (
            now_us - heard_us > STALE_FLOOR_US and now_us - heard_us > self.stale_after_us
        ):
            return STALE
        if quality is BAD or self.value is None:
            return Standing.BAD
        if self.in_oven:
            odd = self.reversed
        else:
            odd = now_us - self.same_since_us > self.frozen_after_us and self._frozen(now_us)
        if odd or quality is SUSPECT:
            return Standing.SUSPECT
        if self.settling.since_us is not None and self.is_probe:
            return Standing.SETTLING
        return Standing.SUSPECT if self.fell_from_c is not None and self.off else GOOD_STANDING

    def noisy(self, now_us: int) -> bool:
        """A burst of suspect readings within the last minute."""
        return len(self._recent_suspects(now_us)) >= NOISY_AT

    def lastingly_noisy(self, now_us: int) -> bool:
        """Suspect readings again and again: a fault, not an arc start."""
        recent = self._recent_suspects(now_us)
        return len(recent) >= NOISY_AT and recent[-1] - recent[0] >= NOISE_LASTING_US

    def _recent_suspects(self, now_us: int) -> list[int]:
        return [at for at in self.suspects_us if now_us - at <= NOISE_WINDOW_US]

    @property
    def reversed(self) -> bool:
        """Colder the hotter it gets: the leads are swapped."""
        if not self.in_oven or self.oven_from_c is None or self.good_value is None:
            return False
        return self.good_value < min(REVERSED_BELOW_C, self.oven_from_c - REVERSED_K)

    def _unmoved_us(self, now_us: int) -> int:
        if not self.is_probe or self.value is None or self.value < HOT_C:
            return 0
        return now_us - self.same_since_us

    def _frozen(self, now_us: int) -> bool:
        return not self.in_oven and self._unmoved_us(now_us) > self.frozen_after_us

    def why(self, now_us: int) -> str | None:
        """The standing explained, or a warning about a good channel; ``None`` if all is well."""
        standing = self.standing(now_us)
        if standing is Standing.STALE:
            return self._silence(now_us)
        if standing is Standing.BAD:
            return self.reason or "no value"
        if standing is Standing.SETTLING:
            return "probe settling: not yet at the part's temperature"
        return self._odd(now_us) or self.reason or self.clock.remark()

    def _odd(self, now_us: int) -> str | None:
        unmoved_us = self._unmoved_us(now_us)
        if self.off:
            return f"fell from {self.fell_from_c:.0f} °C at once: has the probe come off?"
        if self.reversed:
            return "colder the hotter it gets: leads reversed?"
        if unmoved_us > self.frozen_after_us:
            return f"has not moved by a digit for {unmoved_us / 1e6:.0f} s: frozen?"
        if self.noisy(now_us):
            count = len(self._recent_suspects(now_us))
            return f"noisy: {count} impossible jumps or brief faults in the last minute"
        return None

    def _silence(self, now_us: int) -> str:
        if self.heard_us is None:
            return "no reading yet"
        return f"silent for {self.age_us(now_us) / 1e6:.0f} s"
