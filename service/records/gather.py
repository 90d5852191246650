"""Gathers the record of one heat from the database."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Row, func, or_, select

from service.judge.actions import (
    AssignChannel,
    ChangePart,
    ClockStepped,
    CreatePart,
    Limits,
    PartFacts,
    ServiceStarted,
    SetLimits,
    any_action,
)
from service.readings import ChannelKind
from service.records import deviations, figures, moments
from service.records.heat_record import (
    AlarmRecord,
    CalibrationState,
    ChannelRecord,
    ClockChange,
    DatedLimits,
    Gap,
    HeatRecord,
    PassRecord,
    PhaseRecord,
    PurgeRecord,
    VerdictRecord,
)
from service.records.series import Grid, lay_out
from service.store.database import History, Store, StoreError
from service.store.history import POINTS_MAX
from service.store.schema import (
    BAD,
    SUSPECT,
    alarm_change,
    assignment,
    calibration,
    channel,
    gap,
    heat,
    heat_phase,
    journal,
    purge,
    reading,
    verdict_change,
    weld_pass,
)

SHOP_KINDS = ("ambient", "room oxygen", "bottle pressure")
"""Channels of the shop that belong to every heat's record."""

FINEST_US = 1_000_000


class UnknownHeat(StoreError):
    """There is no heat of that number."""

    def __init__(self, heat_id: int, known: Sequence[int]) -> None:
        there = f"the database has the heats {known[0]} to {known[-1]}" if known else "it has none"
        super().__init__(f"there is no heat {heat_id}; {there}")


def gather(store: Store, heat_id: int) -> HeatRecord:
    """Everything kept of a heat, with its figures.

    Raises:
        UnknownHeat: There is none of that number.
        StoreError: The database cannot be read.
    """
    with store.connect() as connection:
        found = connection.execute(select(heat).where(heat.c.id == heat_id)).first()
        if found is None:
            ids = list(connection.execute(select(heat.c.id).order_by(heat.c.id)).scalars())
            raise UnknownHeat(heat_id, ids)
        to_us = found.ended_us or _last_us(connection, found)
        actions = _actions(connection, to_us)
        channels = _channels(connection, found, to_us, actions)
        phases = _phases(connection, heat_id, to_us)
        alarms = _alarms(connection, found.part_id, [each.name for each in channels], found, to_us)
        verdicts = _verdicts(connection, heat_id)
        passes_kept = _rows_of(connection, weld_pass, heat_id)
        purges_kept = _rows_of(connection, purge, heat_id)
        store_gaps = _store_gaps(connection, found.begun_us, to_us)
    histories = read_histories(store, channels, found.begun_us, to_us)
    probes = [each for each in channels if each.of_part and each.kind == ChannelKind.THERMOCOUPLE]
    grid = _grid(histories, probes, to_us)
    oxygen = _grid(histories, _of_kind(channels, ChannelKind.OXYGEN), to_us)
    flow = _grid(histories, _of_kind(channels, ChannelKind.GAS_FLOW), to_us)
    limits = _limits(actions, found.part_id, found.begun_us)
    passes = tuple(_pass(row, grid, oxygen, verdicts) for row in passes_kept)
    preheat_min_c, upper_c = moments.joined(limits[-1].limits if limits else Limits())
    record = HeatRecord(
        heat_id=heat_id,
        part_id=found.part_id,
        facts=_facts(actions, found.part_id),
        begun_us=found.begun_us,
        ended_us=found.ended_us,
        to_us=to_us,
        begun_seq=found.begun_seq,
        arc_us=found.arc_us,
        limits=limits,
        channels=tuple(channels),
        phases=phases,
        passes=passes,
        purges=tuple(
            PurgeRecord(
                row.begun_us, row.ended_us, moments.argon_l(flow, row.begun_us, row.ended_us, to_us)
            )
            for row in purges_kept
        ),
        alarms=alarms,
        verdicts=verdicts,
        notes=(),
        gaps=(*store_gaps, *_silences(histories, channels, phases)),
        clock_changes=_clock_changes(actions, found.begun_us),
        versions=_versions(actions, found.begun_us),
        figures=figures.work_out(grid, phases, passes, preheat_min_c, upper_c),
        deviations=(),
    )
    return deviations.with_deviations(record)


def read_histories(
    store: Store, channels: Iterable[ChannelRecord], from_us: int, to_us: int
) -> dict[str, History]:
    """The channels' readings over a stretch, a second a step where it is short enough."""
    end_us = max(to_us, from_us + FINEST_US)
    points = min(max((end_us - from_us) // FINEST_US, 1), POINTS_MAX)
    return {each.name: store.history(each.name, from_us, end_us, points) for each in channels}


def _grid(histories: dict[str, History], channels: Sequence[ChannelRecord], to_us: int) -> Grid:
    return lay_out(
        [histories[each.name] for each in channels], [each.spells for each in channels], to_us
    )


def _of_kind(channels: Sequence[ChannelRecord], kind: ChannelKind) -> list[ChannelRecord]:
    return [each for each in channels if each.of_part and each.kind == kind]


def _last_us(connection: Connection, found: Row[Any]) -> int:
    """The last moment an open heat has a word of: a reading, an action, a change."""
    last_us = connection.execute(
        select(func.max(reading.c.t_us)).where(
            reading.c.channel_id.in_(
                select(assignment.c.channel_id).where(
                    assignment.c.part_id == found.part_id, assignment.c.to_us.is_(None)
                )
            )
        )
    ).scalar()
    acted_us = connection.execute(select(func.max(journal.c.utc_us))).scalar()
    return int(max(found.begun_us, last_us or 0, acted_us or 0))


_KINDS = (
    "create part",
    "change part",
    "set limits",
    "assign channel",
    "service started",
    "clock stepped",
)


def _actions(connection: Connection, to_us: int) -> list[tuple[int, Any]]:
    """When [µs UTC] and what, of the kinds a record needs, up to the heat's end."""
    rows = connection.execute(
        select(journal.c.utc_us, journal.c.body)
        .where(journal.c.kind.in_(_KINDS), journal.c.utc_us <= to_us)
        .order_by(journal.c.seq)
    )
    return [(row.utc_us, any_action.validate_json(row.body)) for row in rows]


def _facts(actions: Sequence[tuple[int, Any]], part_id: int) -> PartFacts:
    facts = [
        action.facts
        for _, action in actions
        if isinstance(action, CreatePart | ChangePart) and action.part_id == part_id
    ]
    if not facts:
        raise StoreError(f"the journal does not say what part {part_id} is")
    return facts[-1]


def _limits(
    actions: Sequence[tuple[int, Any]], part_id: int, begun_us: int
) -> tuple[DatedLimits, ...]:
    """What held at the heat's begin, and every version since."""
    versions = [
        (at_us, action.limits)
        for at_us, action in actions
        if isinstance(action, CreatePart | SetLimits) and action.part_id == part_id
    ]
    dated = [DatedLimits(place, *each) for place, each in enumerate(versions, 1)]
    before = [each for each in dated if each.from_us <= begun_us][-1:]
    return (*before, *(each for each in dated if each.from_us > begun_us))


def _versions(actions: Sequence[tuple[int, Any]], begun_us: int) -> tuple[str, ...]:
    starts = [(at, each.version) for at, each in actions if isinstance(each, ServiceStarted)]
    before = [version for at_us, version in starts if at_us <= begun_us][-1:]
    during = [version for at_us, version in starts if at_us > begun_us]
    return tuple(dict.fromkeys([*before, *during]))


def _clock_changes(actions: Sequence[tuple[int, Any]], begun_us: int) -> tuple[ClockChange, ...]:
    changes: list[ClockChange] = []
    offset_us: int | None = None
    for at_us, action in actions:
        if not isinstance(action, ServiceStarted | ClockStepped):
            continue
        if at_us > begun_us and offset_us is not None and action.offset_us != offset_us:
            restart = isinstance(action, ServiceStarted)
            changes.append(ClockChange(at_us, action.offset_us - offset_us, restart))
        offset_us = action.offset_us
    return tuple(changes)


def _channels(
    connection: Connection, found: Row[Any], to_us: int, actions: Sequence[tuple[int, Any]]
) -> list[ChannelRecord]:
    rows = connection.execute(
        select(assignment.c.channel_id, assignment.c.from_us, assignment.c.to_us)
        .where(
            assignment.c.part_id == found.part_id,
            assignment.c.from_us <= to_us,
            or_(assignment.c.to_us.is_(None), assignment.c.to_us > found.begun_us),
        )
        .order_by(assignment.c.from_us)
    )
    spells: dict[int, list[tuple[int, int]]] = {}
    for row in rows:
        spell = max(row.from_us, found.begun_us), min(row.to_us or to_us, to_us)
        spells.setdefault(row.channel_id, []).append(spell)
    shop = connection.execute(
        select(channel.c.id).where(
            channel.c.kind.in_(SHOP_KINDS), channel.c.id.not_in(list(spells))
        )
    ).scalars()
    of_shop = {channel_id: [(found.begun_us, to_us)] for channel_id in shop}
    distances = {
        action.channel: action.from_joint_mm
        for _, action in actions
        if isinstance(action, AssignChannel)
        and action.part_id == found.part_id
        and action.from_joint_mm is not None
    }
    return [
        _channel(connection, channel_id, tuple(when), channel_id in spells, distances)
        for channel_id, when in {**spells, **of_shop}.items()
    ]


def _channel(
    connection: Connection,
    channel_id: int,
    spells: tuple[tuple[int, int], ...],
    of_part: bool,
    distances: Mapping[str, float],
) -> ChannelRecord:
    row = connection.execute(moments.CHANNELS.where(channel.c.id == channel_id)).one()
    readings, suspect, bad = moments.counts(connection, channel_id, spells, SUSPECT, BAD)
    return ChannelRecord(
        name=row.name,
        kind=row.kind,
        unit="Cel" if row.thermocouple is not None else row.unit or None,
        spells=spells,
        from_joint_mm=distances.get(row.name),
        thermocouple=row.thermocouple,
        cold_junction=row.terminals,
        of_part=of_part,
        calibrations=_calibrations(connection, channel_id, spells[0][0], spells[-1][1]),
        readings=readings,
        suspect=suspect,
        bad=bad,
    )


def _calibrations(
    connection: Connection, channel_id: int, from_us: int, to_us: int
) -> tuple[CalibrationState, ...]:
    rows = connection.execute(
        select(calibration)
        .where(calibration.c.channel_id == channel_id, calibration.c.from_us <= to_us)
        .order_by(calibration.c.from_us, calibration.c.id)
    )
    states = [
        CalibrationState(
            row.from_us,
            row.due_us,
            tuple((float(reads), float(true)) for reads, true in json.loads(row.checks)),
            row.note,
        )
        for row in rows
    ]
    before = [each for each in states if each.from_us <= from_us][-1:]
    return (*before, *(each for each in states if each.from_us > from_us))


def _phases(connection: Connection, heat_id: int, to_us: int) -> tuple[PhaseRecord, ...]:
    rows = connection.execute(
        select(heat_phase)
        .where(heat_phase.c.heat_id == heat_id, heat_phase.c.void_us.is_(None))
        .order_by(heat_phase.c.from_us, heat_phase.c.id)
    ).all()
    ends_us = [*(row.from_us for row in rows[1:]), to_us]
    return tuple(
        PhaseRecord(row.phase, row.from_us, max(end_us, row.from_us), row.origin, row.said_by)
        for row, end_us in zip(rows, ends_us, strict=True)
    )


def _rows_of(connection: Connection, table: Any, heat_id: int) -> list[Row[Any]]:
    query = select(table).where(table.c.heat_id == heat_id)
    if "void_us" in table.c:
        query = query.where(table.c.void_us.is_(None))
    return list(connection.execute(query.order_by(table.c.begun_us, table.c.id)))


def _pass(row: Row[Any], grid: Grid, oxygen: Grid, verdicts: Sequence[VerdictRecord]) -> PassRecord:
    coldest_c, hottest_c = moments.extremes(grid, row.begun_us)
    _, oxygen_ppm = moments.extremes(oxygen, row.begun_us)
    said = [each for each in verdicts if each.at_us <= row.begun_us][-1:]
    return PassRecord(
        number=row.number,
        begun_us=row.begun_us,
        ended_us=row.ended_us,
        arc_us=row.arc_us,
        origin=row.origin,
        coldest_c=coldest_c,
        hottest_c=hottest_c,
        oxygen_ppm=oxygen_ppm,
        oxygen_high_ppm=moments.highest(oxygen, row.begun_us, row.ended_us),
        verdict=said[0].verdict if said else None,
        heat_verdict=said[0].heat if said else None,
        purge_verdict=said[0].purge if said else None,
    )


def _alarms(
    connection: Connection, part_id: int, names: Sequence[str], found: Row[Any], to_us: int
) -> tuple[AlarmRecord, ...]:
    """Alarms of the part, of its channels and of the whole shop that stood during the heat."""
    rows = connection.execute(
        select(alarm_change)
        .where(
            alarm_change.c.since_us <= to_us,
            or_(
                alarm_change.c.part_id == part_id,
                alarm_change.c.channel.in_(names),
                alarm_change.c.part_id.is_(None) & alarm_change.c.channel.is_(None),
            ),
        )
        .order_by(alarm_change.c.mono_us, alarm_change.c.id)
    ).all()
    lives: dict[int, list[Row[Any]]] = {}
    for row in rows:
        lives.setdefault(row.alarm_id, []).append(row)
    told = [moments.life(changes) for changes in lives.values()]
    return tuple(
        alarm for alarm in told if alarm.returned_us is None or alarm.returned_us >= found.begun_us
    )


def _verdicts(connection: Connection, heat_id: int) -> tuple[VerdictRecord, ...]:
    rows = connection.execute(
        select(verdict_change)
        .where(verdict_change.c.heat_id == heat_id)
        .order_by(verdict_change.c.mono_us, verdict_change.c.id)
    )
    return tuple(
        VerdictRecord(row.at_us, row.phase, row.verdict, row.heat, row.purge, row.text)
        for row in rows
    )


def _store_gaps(connection: Connection, from_us: int, to_us: int) -> tuple[Gap, ...]:
    rows = connection.execute(
        select(gap).where(gap.c.to_us >= from_us, gap.c.from_us <= to_us).order_by(gap.c.from_us)
    )
    return tuple(
        Gap(None, row.from_us, row.to_us, f"{row.readings} readings could not be kept: {row.why}")
        for row in rows
    )


def _silences(
    histories: dict[str, History],
    channels: Sequence[ChannelRecord],
    phases: Sequence[PhaseRecord],
) -> list[Gap]:
    found: list[Gap] = []
    for each in channels:
        if each.of_part:
            found += moments.silences(each, histories[each.name], phases)
    return sorted(found, key=lambda one: (one.from_us, one.channel or ""))
