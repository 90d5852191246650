"""Gathers the record of one heat from the database."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, func, or_, select

from service.judge.actions import (
    ChangePart,
    CreatePart,
    Limits,
    PartFacts,
    ServiceStarted,
    SetLimits,
    UseProcedure,
    WriteNote,
    any_action,
)
from service.readings import ChannelKind
from service.records import deviations, figures, moments
from service.records.gather_channels import Span, read_channels
from service.records.heat_readings import histories_of
from service.records.heat_record import (
    AlarmRecord,
    ChannelRecord,
    DatedLimits,
    Gap,
    HeatRecord,
    Note,
    PassRecord,
    PhaseRecord,
    PurgeRecord,
    VerdictRecord,
)
from service.records.held_procedure import read_held, soak_band_c
from service.records.outcomes import with_outcome
from service.records.run_clock import RunClock, read_clock
from service.records.series import Grid, lay_out
from service.store.database import History, Store, StoreError
from service.store.history import POINTS_MAX
from service.store.schema import (
    alarm_change,
    assignment,
    gap,
    heat,
    heat_phase,
    journal,
    purge,
    reading,
    trip_change,
    verdict_change,
    weld_pass,
)

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
        end = end_of_heat(connection, heat_id)
        clock = read_clock(connection, heat_id, None if end is None else end.seq)
        begun_us = clock.straight(found.begun_us)
        to_us = _last_us(connection, found, clock) if end is None else clock.of_mono(end.mono_us)
        span = Span(found.part_id, begun_us, to_us)
        actions = _actions(connection, clock, None if end is None else end.seq)
        channels = read_channels(connection, span, clock, actions)
        phases = _phases(connection, heat_id, clock, to_us)
        names = [each.name for each in channels]
        alarms = _alarms(connection, span, names, clock)
        verdicts = _verdicts(connection, heat_id, clock)
        passes_kept = _rows_of(connection, weld_pass, heat_id)
        purges_kept = _rows_of(connection, purge, heat_id)
        store_gaps = _store_gaps(connection, span, clock)
        notes = _notes(connection, heat_id, clock)
        held = read_held(connection, heat_id, clock)
    end_us = max(to_us, begun_us + FINEST_US)
    points = min(max((end_us - begun_us) // FINEST_US, 1), POINTS_MAX)
    histories = read_histories(store, channels, clock, (begun_us, end_us), points)
    probes = [each for each in channels if each.of_part and each.kind == ChannelKind.THERMOCOUPLE]
    grid = _grid(histories, probes, to_us)
    oxygen = _grid(histories, _of_kind(channels, ChannelKind.OXYGEN), to_us)
    flow = _grid(histories, _of_kind(channels, ChannelKind.GAS_FLOW), to_us)
    limits = _limits(actions, found.part_id, begun_us)
    passes = tuple(_pass(row, clock, grid, oxygen, verdicts) for row in passes_kept)
    preheat_min_c, upper_c = moments.joined(limits[-1].limits if limits else Limits())
    record = HeatRecord(
        heat_id=heat_id,
        part_id=found.part_id,
        facts=_facts(actions, found.part_id),
        begun_us=begun_us,
        ended_us=None if end is None else to_us,
        to_us=to_us,
        begun_seq=found.begun_seq,
        arc_us=found.arc_us,
        limits=limits,
        channels=tuple(channels),
        phases=phases,
        passes=passes,
        purges=tuple(_purge(row, clock, flow, to_us) for row in purges_kept),
        alarms=alarms,
        verdicts=verdicts,
        notes=notes,
        gaps=(*store_gaps, *_silences(histories, channels, phases)),
        clock_changes=clock.changes_after(found.begun_seq),
        versions=_versions(actions, begun_us),
        figures=figures.work_out(
            grid,
            phases,
            passes,
            preheat_min_c,
            upper_c,
            soak_c=soak_band_c(held, preheat_min_c, upper_c),
        ),
        deviations=(),
        procedure=held,
    )
    return with_outcome(store, deviations.with_deviations(record), clock)


def clock_of(store: Store, heat_id: int) -> RunClock:
    """The clock that a heat's record is told by."""
    with store.connect() as connection:
        end = end_of_heat(connection, heat_id)
        return read_clock(connection, heat_id, None if end is None else end.seq)


def read_histories(
    store: Store,
    channels: Iterable[ChannelRecord],
    clock: RunClock,
    within_us: tuple[int, int],
    points: int,
) -> dict[str, History]:
    """The channels' readings over a stretch of the heat, in about so many steps."""
    return histories_of(store, [each.name for each in channels], clock, within_us, points)


def _grid(histories: dict[str, History], channels: Sequence[ChannelRecord], to_us: int) -> Grid:
    return lay_out(
        [histories[each.name] for each in channels], [each.spells for each in channels], to_us
    )


def _of_kind(channels: Sequence[ChannelRecord], kind: ChannelKind) -> list[ChannelRecord]:
    return [each for each in channels if each.of_part and each.kind == kind]


@dataclass(frozen=True, slots=True)
class End:
    """Where in the order a heat ended, and when [µs of shop time]."""

    seq: int
    mono_us: int


def end_of_heat(connection: Connection, heat_id: int) -> End | None:
    """Where a heat ended; ``None``: it is open."""
    rows = connection.execute(select(journal).where(journal.c.kind == "end heat"))
    for row in rows:
        if any_action.validate_json(row.body).heat_id == heat_id:  # type: ignore[union-attr]
            return End(row.seq, row.mono_us)
    return None


def _last_us(connection: Connection, found: Row[Any], clock: RunClock) -> int:
    """The last moment an open heat has a word of: a reading, an action."""
    row = connection.execute(
        select(reading.c.t_us, reading.c.seq)
        .where(
            reading.c.channel_id.in_(
                select(assignment.c.channel_id).where(
                    assignment.c.part_id == found.part_id, assignment.c.to_us.is_(None)
                )
            )
        )
        .order_by(reading.c.t_us.desc())
        .limit(1)
    ).first()
    acted_us = connection.execute(select(func.max(journal.c.mono_us))).scalar() or 0
    read_us = 0 if row is None else row.t_us - clock.offset_at(row.seq)
    return max(clock.straight(found.begun_us), clock.of_mono(max(read_us, acted_us)))


_KINDS = (
    "create part",
    "change part",
    "set limits",
    "use procedure",
    "assign channel",
    "rate probe",
    "service started",
    "clock stepped",
)


def _actions(connection: Connection, clock: RunClock, to_seq: int | None) -> list[tuple[int, Any]]:
    """When, by the run clock, and what, of the kinds a record needs, up to the heat's end."""
    query = select(journal.c.mono_us, journal.c.body).where(journal.c.kind.in_(_KINDS))
    if to_seq is not None:
        query = query.where(journal.c.seq <= to_seq)
    return [
        (clock.of_mono(row.mono_us), any_action.validate_json(row.body))
        for row in connection.execute(query.order_by(journal.c.seq))
    ]


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
        if isinstance(action, CreatePart | SetLimits | UseProcedure)
        and action.part_id == part_id
        and action.limits is not None
    ]
    dated = [DatedLimits(place, *each) for place, each in enumerate(versions, 1)]
    before = [each for each in dated if each.from_us <= begun_us][-1:]
    return (*before, *(each for each in dated if each.from_us > begun_us))


def _versions(actions: Sequence[tuple[int, Any]], begun_us: int) -> tuple[str, ...]:
    starts = [(at, each.version) for at, each in actions if isinstance(each, ServiceStarted)]
    before = [version for at_us, version in starts if at_us <= begun_us][-1:]
    during = [version for at_us, version in starts if at_us > begun_us]
    return tuple(dict.fromkeys([*before, *during]))


def _phases(
    connection: Connection, heat_id: int, clock: RunClock, to_us: int
) -> tuple[PhaseRecord, ...]:
    rows = connection.execute(
        select(heat_phase)
        .where(heat_phase.c.heat_id == heat_id, heat_phase.c.void_us.is_(None))
        .order_by(heat_phase.c.number, heat_phase.c.id)
    ).all()
    begins_us = [clock.straight(row.from_us) for row in rows]
    return tuple(
        PhaseRecord(row.phase, from_us, max(end_us, from_us), row.origin, row.said_by)
        for row, from_us, end_us in zip(rows, begins_us, [*begins_us[1:], to_us], strict=True)
    )


def _rows_of(connection: Connection, table: Any, heat_id: int) -> list[Row[Any]]:
    query = select(table).where(table.c.heat_id == heat_id)
    if "void_us" in table.c:
        query = query.where(table.c.void_us.is_(None))
    return list(connection.execute(query.order_by(table.c.begun_us, table.c.id)))


def _pass(
    row: Row[Any], clock: RunClock, grid: Grid, oxygen: Grid, verdicts: Sequence[VerdictRecord]
) -> PassRecord:
    begun_us = clock.straight(row.begun_us)
    ended_us = None if row.ended_us is None else clock.straight(row.ended_us)
    coldest_c, hottest_c = moments.extremes(grid, begun_us)
    _, oxygen_ppm = moments.extremes(oxygen, begun_us)
    said = [each for each in verdicts if each.at_us <= begun_us][-1:]
    return PassRecord(
        number=row.number,
        begun_us=begun_us,
        ended_us=ended_us,
        arc_us=row.arc_us,
        origin=row.origin,
        coldest_c=coldest_c,
        hottest_c=hottest_c,
        oxygen_ppm=oxygen_ppm,
        oxygen_high_ppm=moments.highest(oxygen, begun_us, ended_us),
        verdict=said[0].verdict if said else None,
        heat_verdict=said[0].heat if said else None,
        purge_verdict=said[0].purge if said else None,
    )


def _purge(row: Row[Any], clock: RunClock, flow: Grid, to_us: int) -> PurgeRecord:
    begun_us = clock.straight(row.begun_us)
    ended_us = None if row.ended_us is None else clock.straight(row.ended_us)
    return PurgeRecord(begun_us, ended_us, moments.argon_l(flow, begun_us, ended_us, to_us))


def _alarms(
    connection: Connection, span: Span, names: Sequence[str], clock: RunClock
) -> tuple[AlarmRecord, ...]:
    """Alarms of the part, of its channels and of the whole shop that stood during the heat."""
    rows = connection.execute(
        select(alarm_change)
        .where(
            or_(
                alarm_change.c.part_id == span.part_id,
                alarm_change.c.channel.in_(names),
                alarm_change.c.part_id.is_(None) & alarm_change.c.channel.is_(None),
            ),
        )
        .order_by(alarm_change.c.mono_us, alarm_change.c.id)
    ).all()
    lives: dict[int, list[Row[Any]]] = {}
    for row in rows:
        lives.setdefault(row.alarm_id, []).append(row)
    told = [moments.life(changes, clock.last_us) for changes in lives.values()]
    return tuple(
        alarm
        for alarm in told
        if alarm.raised_us <= span.to_us
        and (alarm.returned_us is None or alarm.returned_us >= span.from_us)
    )


def _verdicts(connection: Connection, heat_id: int, clock: RunClock) -> tuple[VerdictRecord, ...]:
    rows = connection.execute(
        select(verdict_change)
        .where(verdict_change.c.heat_id == heat_id)
        .order_by(verdict_change.c.mono_us, verdict_change.c.id)
    )
    return tuple(
        VerdictRecord(
            clock.of_mono(row.mono_us), row.phase, row.verdict, row.heat, row.purge, row.text
        )
        for row in rows
    )


def _notes(connection: Connection, heat_id: int, clock: RunClock) -> tuple[Note, ...]:
    """What was written about a heat and what was corrected in it, also after its end."""
    rows = connection.execute(select(journal).where(journal.c.kind == "write note"))
    told = ((row.mono_us, any_action.validate_json(row.body)) for row in rows)
    notes = [
        Note(clock.of_mono(mono_us) if each.about_us is None else each.about_us, each.by, each.text)
        for mono_us, each in told
        if isinstance(each, WriteNote) and each.heat_id == heat_id
    ]
    corrected = connection.execute(
        select(trip_change).where(
            trip_change.c.heat_id == heat_id, trip_change.c.kind.startswith("correct")
        )
    )
    notes += [Note(clock.of_mono(row.mono_us), row.by, row.text) for row in corrected]
    return tuple(sorted(notes, key=lambda each: each.at_us))


def _store_gaps(connection: Connection, span: Span, clock: RunClock) -> tuple[Gap, ...]:
    rows = connection.execute(select(gap).order_by(gap.c.id))
    found = [
        Gap(
            None,
            clock.straight(row.from_us),
            clock.straight(row.to_us),
            f"{row.readings} readings could not be kept: {row.why}",
        )
        for row in rows
    ]
    return tuple(
        each for each in found if each.to_us >= span.from_us and each.from_us <= span.to_us
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
