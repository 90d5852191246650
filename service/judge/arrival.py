"""A measurement becomes a reading: it gets its source time and its quality.

Pure; the collector gives the place in the order and calls this under its lock.
"""

from __future__ import annotations

from collections.abc import Iterable

from service.judge.judge import Judge
from service.judge.sense import classify
from service.judge.source_clock import KEPT_BY_BROKER, TOLERANCE_US
from service.readings import Measurement, Quality, Reading

NAMES_REMEMBERED = 5_000
"""Channels whose last time is remembered; forgetting costs nothing but a rare clash of two readings
in one microsecond, which the writer settles too."""


class Arrivals:
    """Makes readings.

    Args:
        judge: Whose gate decides the quality.
    """

    def __init__(self, judge: Judge) -> None:
        self._judge = judge
        self._last_t_us: dict[str, int] = {}

    def arrive(
        self, measurement: Measurement, seq: int, mono_us: int, utc_us: int, *, kept: bool = False
    ) -> Reading:
        """The reading that a measurement is, arriving now.

        Args:
            measurement: As decoded.
            seq: Its place in the order.
            mono_us: Shop time [µs].
            utc_us: Wall clock [µs].
            kept: A broker kept it for late subscribers, so it may be of any age.
        """
        return self.arrive_together((measurement,), seq, mono_us, utc_us, kept=kept)[0]

    def arrive_together(
        self,
        measurements: Iterable[Measurement],
        seq: int,
        mono_us: int,
        utc_us: int,
        *,
        kept: bool = False,
    ) -> list[Reading]:
        """The readings that the measurements of a pack are: one place and one microsecond each.

        Args:
            measurements: As decoded, in the order sent.
            seq: The place of the first.
            mono_us: Shop time of the first [µs].
            utc_us: Wall clock at the first [µs].
            kept: As for ``arrive``.
        """
        gate, last_t_us, make = self._judge.gate, self._last_t_us, tuple.__new__
        readings: list[Reading] = []
        for name, unit, value, fault, time_us, offset_us, _ in measurements:
            quality, reason = classify(
                gate, name, unit, value, fault, mono_us=mono_us, t_us=time_us
            )
            t_us = time_us
            if t_us is None:
                t_us = utc_us + offset_us
                if t_us == last_t_us.get(name):
                    t_us += 1  # two in one microsecond of one channel are still two readings
            if len(last_t_us) >= NAMES_REMEMBERED:
                last_t_us.clear()
            last_t_us[name] = t_us
            timed = time_us is not None
            reading = make(
                Reading,
                (name, unit, value, quality, reason, t_us, utc_us, mono_us, seq, timed),
            )
            readings.append(_not_as_if_new(reading) if kept else reading)
            seq, mono_us, utc_us = seq + 1, mono_us + 1, utc_us + 1
        return readings


def _not_as_if_new(reading: Reading) -> Reading:
    """One that a broker kept must not pass for one sent just now: its source's clock may be ahead.

    By its own time it is history; or its age is unknown, and it is marked so that it decides
    nothing (see ``source_clock``).
    """
    if reading.delay_us > TOLERANCE_US:
        return reading
    fault = "" if reading.reason is None else f": {reading.reason}"
    quality = Quality.SUSPECT if reading.quality is Quality.GOOD else reading.quality
    return reading._replace(quality=quality, reason=f"{KEPT_BY_BROKER}{fault}")
