"""The history of a thermocouple that arrives as a voltage: summed in mV, told in °C.

EMF rises with temperature, so the lowest voltage of a step is its lowest temperature. The terminals
are taken at their mean within the step, or in the last step before it that had one: they are slow.
The type and the terminals are those said last, so that a correction corrects the past too.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace

from service.physics.thermocouple import compensated_c
from service.store.history_steps import Step

EMF_UNIT = "mV"

TERMINALS_AGE_US = 60_000_000
"""A step, or so long [µs], after their last reading the terminals' temperature is not known."""


def in_degrees(
    letter: str, steps: Sequence[Step], terminals: Sequence[Step], step_us: int
) -> list[Step]:
    """The same steps with temperatures [°C] for voltages [mV].

    Args:
        letter: Thermocouple type.
        steps: Of the voltage, in order of time.
        terminals: Of the cold junction [°C], on the same grid.
        step_us: The grid's width [µs].

    Returns:
        As many steps; without a value where the terminals' temperature is not known, or where
        the voltage is outside the type's range.
    """
    known = [step for step in terminals if step.mean is not None]
    starts_us = [step.t_us for step in known]
    told: list[Step] = []
    for step in steps:
        place = bisect_right(starts_us, step.t_us) - 1
        terminals_c = None
        if place >= 0 and step.t_us - starts_us[place] <= max(step_us, TERMINALS_AGE_US):
            terminals_c = known[place].mean
        told.append(_one(letter, step, terminals_c))
    return told


def _one(letter: str, step: Step, terminals_c: float | None) -> Step:
    low, high, mean = step.low, step.high, step.mean
    if low is None or high is None or mean is None:
        return step
    if terminals_c is not None:
        try:
            return replace(
                step,
                low=compensated_c(letter, low, terminals_c),
                high=compensated_c(letter, high, terminals_c),
                mean=compensated_c(letter, mean, terminals_c),
            )
        except ValueError:
            pass  # outside the type's range: no temperature, as if the readings were bad
    return replace(step, low=None, high=None, mean=None, good=0, bad=step.bad + step.good)
