"""Small questions to a heat's readings: what at a moment, how many, how long silent."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise, product
from typing import Any

import numpy as np
from sqlalchemy import Connection, Row, case, func, select, true

from service.judge.actions import Limits
from service.judge.joint_limits import in_force
from service.readings import ChannelKind
from service.records.heat_record import AlarmRecord, ChannelRecord, Gap, PhaseRecord
from service.records.run_clock import RunClock
from service.records.series import Grid
from service.store.database import History
from service.store.schema import BAD, SUSPECT, channel, reading, unit

_TERMINALS = channel.alias()

CHANNELS = (
    select(
        channel.c.id,
        channel.c.name,
        channel.c.kind,
        channel.c.thermocouple,
        _TERMINALS.c.name.label("terminals"),
        unit.c.name.label("unit"),
    )
    .join(unit, unit.c.id == channel.c.unit_id)
    .outerjoin(_TERMINALS, _TERMINALS.c.id == channel.c.cold_junction_id)
)
"""Channels with the names of their unit and of their cold junction."""

SILENCE_LEAST_S = 10.0
"""A shorter stretch without a good reading is not listed as a gap [s]; common practice, no source.
"""


def joined(limits: Limits) -> tuple[float | None, float | None]:
    """Preheat minimum and interpass maximum that count, of both sides of the joint [°C]."""
    both = in_force(limits)
    return both.preheat_min_c, both.interpass_max_c


def extremes(grid: Grid, at_us: int) -> tuple[float | None, float | None]:
    """Lowest and highest value of all channels at a moment; ``None``: none could be read."""
    if grid.length == 0:
        return None, None
    values = grid.values[:, grid.index(at_us)]
    values = values[~np.isnan(values)]
    return (float(values.min()), float(values.max())) if values.size else (None, None)


def highest(grid: Grid, from_us: int, to_us: int | None) -> float | None:
    """The highest value of any channel within a stretch that has ended."""
    if grid.length == 0 or to_us is None:
        return None
    values = grid.values[:, grid.index(from_us) : grid.index(to_us) + 1]
    values = values[~np.isnan(values)]
    return float(values.max()) if values.size else None


def argon_l(grid: Grid, from_us: int, to_us: int | None, end_us: int) -> float | None:
    """Litres through the meters within a stretch; ``None``: no meter, or it could not be read
    throughout."""
    values = grid.values[:, grid.within(from_us, to_us or end_us)] if grid.length else None
    if values is None or values.size == 0 or np.isnan(values).all(axis=0).any():
        return None
    return float(np.nansum(values)) * grid.step_s / 60


def counts(
    connection: Connection,
    channel_id: int,
    spells: Sequence[tuple[int, int]],
    clock: RunClock,
) -> tuple[int, int, int]:
    """How many readings a channel has within spells, how many suspect, how many bad."""
    total = [0, 0, 0]
    for (from_us, to_us), (first, behind, shift_us) in product(spells, clock.stretches()):
        row = connection.execute(
            select(
                func.count(),
                func.coalesce(func.sum(case((reading.c.quality == SUSPECT, 1), else_=0)), 0),
                func.coalesce(func.sum(case((reading.c.quality == BAD, 1), else_=0)), 0),
            ).where(
                reading.c.channel_id == channel_id,
                reading.c.t_us.between(from_us - shift_us, to_us - shift_us),
                reading.c.seq >= first,
                true() if behind is None else reading.c.seq < behind,
            )
        ).one()
        total = [sum(pair) for pair in zip(total, row, strict=True)]
    return total[0], total[1], total[2]


def life(changes: Sequence[Row[Any]], offset_us: int) -> AlarmRecord:
    """An alarm from its changes, in order; its text is the first.

    ``offset_us``: Run clock minus shop time.
    """
    first = changes[0]
    acknowledged = [row.mono_us for row in changes if row.state == "acknowledged"]
    returned = [row.mono_us for row in changes if row.state in ("returned", "normal")]
    return AlarmRecord(
        alarm_id=first.alarm_id,
        kind=first.kind,
        channel=first.channel,
        raised_us=first.mono_us - (first.at_us - first.since_us) + offset_us,
        acknowledged_us=min(acknowledged) + offset_us if acknowledged else None,
        returned_us=min(returned) + offset_us if returned else None,
        text=first.text,
    )


CARRIED = "unplugged for the carry"


def silences(of: ChannelRecord, history: History, phases: Sequence[PhaseRecord]) -> list[Gap]:
    """Stretches within its spells in which a channel had no good reading."""
    good_us = [step.t_us for step in history.steps if step.good > 0]
    unwell_us = [step.t_us for step in history.steps if step.good == 0 and step.bad + step.suspect]
    least_us = max(SILENCE_LEAST_S * 1e6, 3 * history.step_us, 3 * _usual_us(good_us))
    found: list[Gap] = []
    for from_us, to_us in of.spells:
        within = [
            at_us for at_us in good_us if from_us <= at_us + history.step_us and at_us < to_us
        ]
        marks = [from_us, *within, to_us]
        for before_us, after_us in pairwise(marks):
            if after_us - before_us > least_us:
                faulty = any(before_us < at_us < after_us for at_us in unwell_us)
                why = "faults or doubtful readings only" if faulty else "silent"
                if of.kind == ChannelKind.THERMOCOUPLE and any(
                    each.phase == "carry" and each.from_us < after_us and before_us < each.to_us
                    for each in phases
                ):
                    why = CARRIED
                found.append(Gap(of.name, before_us, after_us, why))
    return found


def _usual_us(good_us: Sequence[int]) -> float:
    return float(np.median(np.diff(good_us))) if len(good_us) > 2 else 0.0
