"""The channels of a heat: those that sat on the part, and the shop's own."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, select

from service.judge.actions import AssignChannel, RateProbe
from service.records import moments
from service.records.heat_record import CalibrationState, ChannelRecord
from service.records.run_clock import RunClock
from service.store.schema import assignment, calibration, channel

SHOP_KINDS = ("ambient", "room oxygen", "bottle pressure")
"""Channels of the shop that belong to every heat's record."""


@dataclass(frozen=True, slots=True)
class Span:
    """A part's heat, by the run clock [µs]."""

    part_id: int
    from_us: int
    to_us: int


def read_channels(
    connection: Connection, span: Span, clock: RunClock, actions: Sequence[tuple[int, Any]]
) -> list[ChannelRecord]:
    """Those of a heat, in order of when they came to it."""
    rows = connection.execute(
        select(assignment.c.channel_id, assignment.c.from_us, assignment.c.to_us)
        .where(
            assignment.c.part_id == span.part_id,
        )
        .order_by(assignment.c.from_us)
    )
    spells: dict[int, list[tuple[int, int]]] = {}
    for row in rows:
        first_us = max(clock.straight(row.from_us), span.from_us)
        last_us = span.to_us if row.to_us is None else min(clock.straight(row.to_us), span.to_us)
        if first_us < last_us:
            spells.setdefault(row.channel_id, []).append((first_us, last_us))
    shop = connection.execute(
        select(channel.c.id).where(
            channel.c.kind.in_(SHOP_KINDS), channel.c.id.not_in(list(spells))
        )
    ).scalars()
    of_shop = {channel_id: [(span.from_us, span.to_us)] for channel_id in shop}
    distances = {
        action.channel: action.from_joint_mm
        for _, action in actions
        if isinstance(action, AssignChannel)
        and action.part_id == span.part_id
        and action.from_joint_mm is not None
    }
    errors = {each.channel: each.words for _, each in actions if isinstance(each, RateProbe)}
    told = [
        replace(
            _channel(connection, channel_id, tuple(when), clock, distances),
            of_part=channel_id in spells,
        )
        for channel_id, when in {**spells, **of_shop}.items()
    ]
    return [replace(each, error_words=errors.get(each.name) or None) for each in told]


def _channel(
    connection: Connection,
    channel_id: int,
    spells: tuple[tuple[int, int], ...],
    clock: RunClock,
    distances: Mapping[str, float],
) -> ChannelRecord:
    row = connection.execute(moments.CHANNELS.where(channel.c.id == channel_id)).one()
    readings, suspect, bad = moments.counts(connection, channel_id, spells, clock)
    return ChannelRecord(
        name=row.name,
        kind=row.kind,
        unit="Cel" if row.thermocouple is not None else row.unit or None,
        spells=spells,
        from_joint_mm=distances.get(row.name),
        thermocouple=row.thermocouple,
        cold_junction=row.terminals,
        of_part=True,
        calibrations=_calibrations(connection, channel_id, clock, (spells[0][0], spells[-1][1])),
        readings=readings,
        suspect=suspect,
        bad=bad,
    )


def _calibrations(
    connection: Connection, channel_id: int, clock: RunClock, within_us: tuple[int, int]
) -> tuple[CalibrationState, ...]:
    rows = connection.execute(
        select(calibration)
        .where(calibration.c.channel_id == channel_id)
        .order_by(calibration.c.from_us, calibration.c.id)
    )
    states = []
    for row in rows:
        from_us = clock.dated(row.from_us)
        due_us = None if row.due_us is None else row.due_us + from_us - row.from_us
        checks = tuple((float(reads), float(true)) for reads, true in json.loads(row.checks))
        states.append(CalibrationState(from_us, due_us, checks, row.note))
    states.sort(key=lambda each: each.from_us)
    before = [each for each in states if each.from_us <= within_us[0]][-1:]
    return (*before, *(each for each in states if within_us[0] < each.from_us <= within_us[1]))
