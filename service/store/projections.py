"""Actions into the tables that queries read: parts, limits, heats, passes, assignments.

Each function writes what one kind of action changes; all run in the transaction that writes the
action's row in the journal.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from sqlalchemy import Connection, Table, func, select

from service.judge.actions import (
    AcknowledgeAlarm,
    Action,
    AddPhoto,
    AdoptChannel,
    AnswerQuestion,
    AssignChannel,
    BeginHeat,
    BeginPass,
    BeginPurge,
    CalibrateChannel,
    ChangePart,
    ClockStepped,
    CorrectPass,
    CorrectPhase,
    CreatePart,
    DropPhoto,
    EndHeat,
    EndPass,
    EndPurge,
    EnterReading,
    ForgetLearnt,
    LearntTold,
    Limits,
    MovePart,
    NextStep,
    PinHeat,
    RateProbe,
    RecordingChanged,
    SayOutcome,
    ServiceStarted,
    SetBottle,
    SetLimits,
    TakeBackTick,
    TickStep,
    UndoStep,
    UpdateTimeTold,
    UseProcedure,
    WriteNote,
    WriteProcedure,
)
from service.judge.events import Acted
from service.readings import ChannelKind
from service.store.codes import Codes
from service.store.outcomes import add_photo, drop_photo, say_outcome
from service.store.procedures import (
    begin_by_procedure,
    say_limits,
    set_part,
    take_back_tick,
    tick_step,
    write_procedure,
)
from service.store.roll_up import mend
from service.store.schema import (
    BY_HAND,
    GOOD,
    STRAY,
    assignment,
    calibration,
    channel,
    heat,
    heat_phase,
    limits,
    part,
    purge,
    reading,
    weld_pass,
)
from service.store.trips import correct_pass

JOURNAL_ONLY: tuple[type, ...] = (
    AcknowledgeAlarm,
    AnswerQuestion,
    BeginPass,
    BeginPurge,
    ClockStepped,
    CorrectPhase,
    EndPass,
    EndPurge,
    ForgetLearnt,
    LearntTold,
    MovePart,
    NextStep,
    RateProbe,
    RecordingChanged,
    ServiceStarted,
    SetBottle,
    UndoStep,
    UpdateTimeTold,
    WriteNote,
)
"""Actions that change no table but the journal: an acknowledgement shows in the alarm log, a step
of a trip in what the judge made of it (``trips.py``)."""


def project(connection: Connection, acted: Acted, codes: Codes) -> None:
    """Write what an action changes in the tables beside the journal."""
    write = WRITERS.get(type(acted.action))
    if write is not None:
        write(connection, acted, acted.action, codes)


def _adopt_channel(
    connection: Connection, acted: Acted, action: AdoptChannel, codes: Codes
) -> None:
    channel_id = codes.channel_id(connection, action.channel)
    connection.execute(
        channel.update()
        .where(channel.c.id == channel_id)
        .values(
            kind=action.channel_kind.value,
            adopted_us=acted.stamp.utc_us,
            thermocouple=action.thermocouple,
            cold_junction_id=None,
        )
    )
    if action.cold_junction is not None:
        terminals_id = codes.channel_id(connection, action.cold_junction)
        connection.execute(
            channel.update().where(channel.c.id == channel_id).values(cold_junction_id=terminals_id)
        )
        connection.execute(
            channel.update()
            .where(channel.c.id == terminals_id, channel.c.kind.is_(None))
            .values(kind=ChannelKind.COLD_JUNCTION.value, adopted_us=acted.stamp.utc_us)
        )


def _calibrate_channel(
    connection: Connection, acted: Acted, action: CalibrateChannel, codes: Codes
) -> None:
    connection.execute(
        calibration.insert().values(
            channel_id=codes.channel_id(connection, action.channel),
            from_us=acted.stamp.utc_us,
            due_us=action.due_us(acted.stamp.utc_us),
            checks=json.dumps([[check.reads, check.true] for check in action.as_checks()]),
            note=action.words,
        )
    )


def _assign_channel(
    connection: Connection, acted: Acted, action: AssignChannel, codes: Codes
) -> None:
    channel_id = codes.channel_id(connection, action.channel)
    connection.execute(
        assignment.update()
        .where(assignment.c.channel_id == channel_id, assignment.c.to_us.is_(None))
        .values(to_us=acted.stamp.utc_us)
    )
    if action.part_id is not None:
        connection.execute(
            assignment.insert().values(
                channel_id=channel_id, part_id=action.part_id, from_us=acted.stamp.utc_us
            )
        )


def _enter_reading(
    connection: Connection, acted: Acted, action: EnterReading, codes: Codes
) -> None:
    """A row of ``reading`` like any other, marked as by hand, and its channel."""
    utc_us = acted.stamp.utc_us
    channel_id, unit_id = codes.of(connection, action.channel, action.unit)
    connection.execute(
        channel.update()
        .where(channel.c.id == channel_id, channel.c.kind.is_(None))
        .values(kind=action.channel_kind.value, adopted_us=utc_us)
    )
    at = (assignment.c.channel_id == channel_id, assignment.c.to_us.is_(None))
    if not connection.execute(select(assignment.c.id).where(*at)).first():
        connection.execute(
            assignment.insert().values(
                channel_id=channel_id, part_id=action.part_id, from_us=utc_us
            )
        )
    taken = select(func.max(reading.c.t_us)).where(
        reading.c.channel_id == channel_id, reading.c.t_us >= utc_us
    )
    later_us = connection.execute(taken).scalar()  # after the clock was set back
    t_us = utc_us if later_us is None else int(later_us) + 1
    connection.execute(
        reading.insert().values(
            channel_id=channel_id,
            t_us=t_us,
            value=action.value,
            quality=GOOD,
            delay_us=utc_us - t_us,
            seq=acted.stamp.seq,
            unit_id=unit_id,
            flags=STRAY | BY_HAND,
            reason=action.words,
        )
    )
    mend(connection, [(channel_id, t_us)])


def _create_part(connection: Connection, acted: Acted, action: CreatePart, _: Codes) -> None:
    connection.execute(
        part.insert().values(
            id=action.part_id,
            created_us=acted.stamp.utc_us,
            changed_us=acted.stamp.utc_us,
            **_columns_of(part, action.facts.model_dump()),
        )
    )
    version = _new_limits(connection, action.part_id, acted.stamp.utc_us, action.limits)
    say_limits(connection, action.part_id, version, None)


def _change_part(connection: Connection, acted: Acted, action: ChangePart, _: Codes) -> None:
    connection.execute(
        part.update()
        .where(part.c.id == action.part_id)
        .values(changed_us=acted.stamp.utc_us, **_columns_of(part, action.facts.model_dump()))
    )


def _set_limits(connection: Connection, acted: Acted, action: SetLimits, _: Codes) -> None:
    version = _new_limits(connection, action.part_id, acted.stamp.utc_us, action.limits)
    say_limits(connection, action.part_id, version, action.by)


def _use_procedure(connection: Connection, acted: Acted, action: UseProcedure, _: Codes) -> None:
    facts = set_part(connection, acted, action)
    if facts is not None:
        version = _new_limits(connection, action.part_id, acted.stamp.utc_us, facts.limits)
        say_limits(connection, action.part_id, version, action.by, action)


def _new_limits(connection: Connection, part_id: int, from_us: int, values: Limits) -> int:
    version = _count(connection, limits, limits.c.part_id == part_id) + 1
    connection.execute(
        limits.insert().values(
            part_id=part_id,
            version=version,
            from_us=from_us,
            **_columns_of(limits, values.model_dump()),
        )
    )
    return version


def _begin_heat(connection: Connection, acted: Acted, action: BeginHeat, _: Codes) -> None:
    connection.execute(
        heat.insert().values(
            id=action.heat_id,
            part_id=action.part_id,
            begun_seq=acted.stamp.seq,
            begun_us=acted.stamp.utc_us,
        )
    )
    connection.execute(
        heat_phase.insert().values(
            heat_id=action.heat_id,
            from_us=acted.stamp.utc_us,
            phase=action.phase,
            number=1,
            origin=acted.stamp.origin,
            said_us=acted.stamp.utc_us,
        )
    )
    begin_by_procedure(connection, action.heat_id, action.part_id)


def _end_heat(connection: Connection, acted: Acted, action: EndHeat, _: Codes) -> None:
    connection.execute(
        heat.update().where(heat.c.id == action.heat_id).values(ended_us=acted.stamp.utc_us)
    )
    for table in (purge, weld_pass):
        _end_open(connection, table, action.heat_id, acted.stamp.utc_us)


def _pin_heat(connection: Connection, acted: Acted, action: PinHeat, _: Codes) -> None:
    pinned_us = acted.stamp.utc_us if action.pinned else None
    connection.execute(heat.update().where(heat.c.id == action.heat_id).values(pinned_us=pinned_us))


def _end_open(connection: Connection, table: Table, heat_id: int, at_us: int) -> None:
    connection.execute(
        table.update()
        .where(table.c.heat_id == heat_id, table.c.ended_us.is_(None))
        .values(ended_us=at_us)
    )


def _count(connection: Connection, table: Table, condition: Any) -> int:
    return int(
        connection.execute(select(func.count()).select_from(table).where(condition)).scalar_one()
    )


def _columns_of(table: Table, values: dict[str, Any]) -> dict[str, Any]:
    """Those values that have a column; the journal's row holds them all."""
    return {name: value for name, value in values.items() if name in table.c}


Write = Callable[[Connection, Acted, Any, Codes], None]

WRITERS: dict[type[Action], Write] = {
    AdoptChannel: _adopt_channel,
    AssignChannel: _assign_channel,
    CalibrateChannel: _calibrate_channel,
    EnterReading: _enter_reading,
    CreatePart: _create_part,
    ChangePart: _change_part,
    SetLimits: _set_limits,
    WriteProcedure: write_procedure,
    UseProcedure: _use_procedure,
    TickStep: tick_step,
    TakeBackTick: take_back_tick,
    BeginHeat: _begin_heat,
    EndHeat: _end_heat,
    PinHeat: _pin_heat,
    CorrectPass: correct_pass,
    SayOutcome: say_outcome,
    AddPhoto: add_photo,
    DropPhoto: drop_photo,
}
