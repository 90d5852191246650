"""The history of a channel as it should have read: corrected by the calibration of its time."""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection, select

from service.judge.calibration import Check, corrected
from service.store.history_steps import Step
from service.store.schema import calibration


@dataclass(frozen=True, slots=True)
class Dated:
    """A calibration and from when it held [µs UTC]; without checks nothing is corrected."""

    from_us: int
    checks: tuple[Check, ...]


def read_calibrations(connection: Connection, channel_id: int) -> list[Dated]:
    """A channel's calibrations, oldest first."""
    rows = connection.execute(
        select(calibration.c.from_us, calibration.c.checks)
        .where(calibration.c.channel_id == channel_id)
        .order_by(calibration.c.from_us, calibration.c.id)
    )
    return [
        Dated(from_us, tuple(Check(reads, true) for reads, true in json.loads(checks)))
        for from_us, checks in rows
    ]


def as_calibrated(steps: Sequence[Step], calibrations: Sequence[Dated]) -> list[Step]:
    """The same steps, each corrected by the calibration that held where it begins.

    A correction rises with the reading, so the lowest stays the lowest.
    """
    if not calibrations:
        return list(steps)
    starts_us = [each.from_us for each in calibrations]
    told = []
    for step in steps:
        place = bisect_right(starts_us, step.t_us) - 1
        checks = calibrations[place].checks if place >= 0 else ()
        told.append(_one(step, checks) if checks else step)
    return told


def _one(step: Step, checks: tuple[Check, ...]) -> Step:
    low, high, mean = step.low, step.high, step.mean
    if low is None or high is None or mean is None:
        return step
    return replace(
        step,
        low=corrected(low, checks),
        high=corrected(high, checks),
        mean=corrected(mean, checks),
    )
