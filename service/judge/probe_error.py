"""How far a probe may be off all the time, and what that does to a forecast.

The model learns from what the probe reads, so it cannot see an error that is the same in every
reading. What is known of it comes from outside: the tolerance class of the wire, the checks the
probe was put through, and how it drifts. It is a floor: in use a thermocouple may be off by more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot

from service.judge.calibration import DAY_US, Calibration
from service.physics.thermocouple import Letter
from service.physics.thermocouple_tolerance import ToleranceClass, tolerance_k
from service.readings import Forecast, Spread

YEAR_US = 365.25 * DAY_US

TWO_SIDED_95 = 1.96
ONE_SIDED_95 = 1.645
"""Normal quantiles: a tolerance holds 19 times in 20, a spread's ends 9 in 10."""


@dataclass(frozen=True, slots=True)
class ProbeError:
    """What was said of a probe.

    Attributes:
        letter, tolerance_class: Of the wire; either may be ``None``: not said.
        drift_k_per_year: How fast it goes astray, either way [K a year].
        check_off_k: How far its checks may be off themselves, 19 times in 20 [K].
        since_utc_us: When it was said [µs UTC].
    """

    letter: Letter | None
    tolerance_class: ToleranceClass | None
    drift_k_per_year: float
    check_off_k: float | None
    since_utc_us: int

    def floor_k(
        self, temperature_c: float, calibration: Calibration | None, utc_us: int
    ) -> float | None:
        """How far it may be off at a temperature, either way, 19 times in 20 [K].

        Within the range that was checked the checks' own uncertainty counts, where it was said;
        elsewhere the class of the wire. Drift is counted from the last check, and added as one
        independent error to another. ``None``: nothing is known there.
        """
        base_k = self._checked_k(temperature_c, calibration)
        if base_k is None:
            base_k = self._class_k(temperature_c)
        since_us = self.since_utc_us if calibration is None else calibration.since_utc_us
        drift_k = self.drift_k_per_year * max(0, utc_us - since_us) / YEAR_US
        if base_k is None:
            return drift_k or None
        return hypot(base_k, drift_k)

    def _checked_k(self, temperature_c: float, calibration: Calibration | None) -> float | None:
        if calibration is None or self.check_off_k is None:
            return None
        lowest, highest = calibration.checks[0].true, calibration.checks[-1].true
        return self.check_off_k if lowest <= temperature_c <= highest else None

    def _class_k(self, temperature_c: float) -> float | None:
        if self.letter is None or self.tolerance_class is None:
            return None
        try:
            return tolerance_k(self.letter, self.tolerance_class, temperature_c)
        except ValueError:  # the class says nothing there, and so do we
            return None


def within_error(
    ask: Callable[[float], Forecast], limit_c: float, error_k: float | None
) -> Forecast:
    """A crossing time that allows for an error the same in every reading.

    If the probe reads too high by so much, the part crosses the limit when the probe is still that
    far above it. The model is asked for those crossings too, and each end of the spread moves out
    by the difference, as one independent error is added to another.

    Args:
        ask: The model's question of one moment: limit [°C] to a forecast.
        limit_c: The limit [°C].
        error_k: Either way, 19 times in 20 [K]; ``None`` or 0: nothing is known of it.
    """
    told = ask(limit_c)
    spread = told.time_left_s
    if not error_k or spread is None or told.reason is not None:
        return told
    off_k = error_k * ONE_SIDED_95 / TWO_SIDED_95
    others = [ask(limit_c + off_k).time_left_s, ask(limit_c - off_k).time_left_s]
    middles = [None if each is None else each.p50 for each in others]
    early = min((each for each in middles if each is not None), default=spread.p50)
    early_s = max(0.0, spread.p50 - early)
    p05 = max(0.0, spread.p50 - hypot(spread.p50 - spread.p05, early_s))
    if spread.p95 is None or None in middles:
        return Forecast(Spread(p05, spread.p50, None), told.reason)
    late_s = max(0.0, max(each for each in middles if each is not None) - spread.p50)
    p95 = spread.p50 + hypot(spread.p95 - spread.p50, late_s)
    return Forecast(Spread(p05, spread.p50, p95), told.reason)
