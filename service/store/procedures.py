"""Procedures into their tables, and what parts and heats go by; nothing is ever deleted."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, func, select

from service.judge.actions import TakeBackTick, TickStep, UseProcedure, WriteProcedure
from service.judge.events import Acted
from service.judge.procedure_actions import ProcedureFacts
from service.judge.utc import utc_text
from service.store.codes import Codes
from service.store.schema_procedure import (
    heat_procedure,
    heat_step,
    limits_said,
    part_procedure,
    procedure,
    procedure_version,
)


def write_procedure(connection: Connection, acted: Acted, action: WriteProcedure, _: Codes) -> None:
    """A row more; the rows of earlier versions stay as they are."""
    number, at_us = action.procedure_id, acted.stamp.utc_us
    if action.after_version == 0:
        connection.execute(
            procedure.insert().values(id=number, name=action.facts.name, created_us=at_us)
        )
    else:
        connection.execute(
            procedure.update().where(procedure.c.id == number).values(name=action.facts.name)
        )
    connection.execute(
        procedure_version.insert().values(
            procedure_id=number,
            version=action.after_version + 1,
            written_us=at_us,
            said_by=action.by,
            body=action.facts.model_dump_json(),
        )
    )


def set_part(connection: Connection, acted: Acted, action: UseProcedure) -> ProcedureFacts | None:
    """What the part goes by from now on; the version, whose limits become the part's."""
    connection.execute(
        part_procedure.insert().values(
            part_id=action.part_id,
            from_us=acted.stamp.utc_us,
            procedure_id=action.procedure_id,
            version=action.version,
            said_by=action.by,
        )
    )
    if action.procedure_id is None or action.version is None:
        return None
    return read_version(connection, action.procedure_id, action.version)


def read_version(connection: Connection, procedure_id: int, version: int) -> ProcedureFacts:
    """One version of a procedure, which must be there."""
    body = connection.execute(
        select(procedure_version.c.body).where(
            procedure_version.c.procedure_id == procedure_id,
            procedure_version.c.version == version,
        )
    ).scalar_one()
    return ProcedureFacts.model_validate_json(body)


def say_limits(
    connection: Connection,
    part_id: int,
    version: int,
    said_by: str | None,
    source: UseProcedure | None = None,
) -> None:
    """Who said a version of a part's limits, and where they were taken from."""
    connection.execute(
        limits_said.insert().values(
            part_id=part_id,
            version=version,
            said_by=said_by,
            procedure_id=None if source is None else source.procedure_id,
            procedure_version=None if source is None else source.version,
        )
    )


def begin_by_procedure(connection: Connection, heat_id: int, part_id: int) -> None:
    """A heat keeps the version that its part goes by at its begin."""
    held = connection.execute(
        select(part_procedure)
        .where(part_procedure.c.part_id == part_id)
        .order_by(part_procedure.c.id.desc())
        .limit(1)
    ).first()
    if held is not None and held.procedure_id is not None:
        connection.execute(
            heat_procedure.insert().values(
                heat_id=heat_id, procedure_id=held.procedure_id, version=held.version
            )
        )


def tick_step(connection: Connection, acted: Acted, action: TickStep, _: Codes) -> None:
    """Done, from now on."""
    connection.execute(
        heat_step.insert().values(
            heat_id=action.heat_id,
            number=action.number,
            ticked_us=acted.stamp.utc_us,
            said_by=action.by,
        )
    )


def take_back_tick(connection: Connection, acted: Acted, action: TakeBackTick, _: Codes) -> None:
    """The tick stays, and is marked as taken back."""
    connection.execute(
        heat_step.update()
        .where(
            heat_step.c.heat_id == action.heat_id,
            heat_step.c.number == action.number,
            heat_step.c.back_us.is_(None),
        )
        .values(back_us=acted.stamp.utc_us, back_by=action.by)
    )


def read_procedures(connection: Connection) -> list[dict[str, Any]]:
    """Every procedure with its versions, newest first (``Procedure`` in openapi.json)."""
    rows = connection.execute(
        select(procedure_version).order_by(
            procedure_version.c.procedure_id, procedure_version.c.version.desc()
        )
    ).all()
    used = {
        (row.procedure_id, row.version): row.heats
        for row in connection.execute(
            select(
                heat_procedure.c.procedure_id,
                heat_procedure.c.version,
                func.count().label("heats"),
            ).group_by(heat_procedure.c.procedure_id, heat_procedure.c.version)
        )
    }
    found: dict[int, dict[str, Any]] = {}
    for row in rows:
        facts = ProcedureFacts.model_validate_json(row.body).model_dump(mode="json")
        each = found.setdefault(
            row.procedure_id, {"id": row.procedure_id, "name": facts["name"], "versions": []}
        )
        each["versions"].append(
            {
                "version": row.version,
                "written_at": utc_text(row.written_us),
                "by": row.said_by,
                "heats": used.get((row.procedure_id, row.version), 0),
                "facts": facts,
            }
        )
    return list(found.values())
