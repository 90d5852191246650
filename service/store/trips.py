"""Steps of a trip into the tables that queries read: phases, passes, purges.

They come from what the judge concluded, not from the actions: half of them nobody tapped, and one
that is tapped may only confirm what was seen before. What is corrected or taken back is marked,
never deleted.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sqlalchemy import Connection, Table, func, select

from service.judge.actions import CorrectPass
from service.judge.events import Acted, TripChange, TripKind
from service.store.codes import Codes
from service.store.schema import heat, heat_phase, purge, weld_pass

Write = Callable[[Connection, TripChange], None]


def project_trip(connection: Connection, change: TripChange) -> None:
    """Write what one step changes."""
    WRITERS[change.kind](connection, change)


def _valid(table: Table, change: TripChange) -> list[Any]:
    """Conditions for the row of the same heat and number that holds now."""
    return [
        table.c.heat_id == change.heat_id,
        table.c.number == change.number,
        table.c.void_us.is_(None),
    ]


def _confirm(connection: Connection, table: Table, change: TripChange) -> bool:
    """A person has said what was seen before: whether there is such a row."""
    found = connection.execute(
        table.update().where(*_valid(table, change)).values(origin=change.origin)
    )
    return found.rowcount > 0


def _void(connection: Connection, table: Table, change: TripChange) -> None:
    connection.execute(table.update().where(*_valid(table, change)).values(void_us=change.at_us))


def _move_part(connection: Connection, change: TripChange) -> None:
    if not _confirm(connection, heat_phase, change):
        _insert_phase(connection, change)


def _insert_phase(connection: Connection, change: TripChange) -> None:
    connection.execute(
        heat_phase.insert().values(
            heat_id=change.heat_id,
            from_us=change.since_us,
            phase=change.phase,
            number=change.number,
            origin=change.origin,
            said_us=change.at_us,
            said_by=change.by,
        )
    )


def _correct_phase(connection: Connection, change: TripChange) -> None:
    _void(connection, heat_phase, change)
    if change.phase is not None:
        _insert_phase(connection, change)


def _begin_pass(connection: Connection, change: TripChange) -> None:
    if not _confirm(connection, weld_pass, change):
        connection.execute(
            weld_pass.insert().values(
                heat_id=change.heat_id,
                number=change.number,
                begun_us=change.since_us,
                origin=change.origin,
            )
        )


def _end_pass(connection: Connection, change: TripChange) -> None:
    connection.execute(
        weld_pass.update()
        .where(*_valid(weld_pass, change))
        .values(ended_us=change.since_us, arc_us=change.arc_us)
    )
    _sum_arc(connection, change.heat_id)


def _sum_arc(connection: Connection, heat_id: int) -> None:
    total = (
        select(func.sum(weld_pass.c.arc_us))
        .where(weld_pass.c.heat_id == heat_id, weld_pass.c.void_us.is_(None))
        .scalar_subquery()
    )
    connection.execute(heat.update().where(heat.c.id == heat_id).values(arc_us=total))


def _correct_pass(connection: Connection, change: TripChange) -> None:
    """The row itself follows the action, which says both times (``correct_pass``)."""
    _sum_arc(connection, change.heat_id)


def correct_pass(connection: Connection, acted: Acted, action: CorrectPass, _: Codes) -> None:
    """The pass as a person says it was beside the one that was noted, which is marked void."""
    valid = [
        weld_pass.c.heat_id == action.heat_id,
        weld_pass.c.number == action.number,
        weld_pass.c.void_us.is_(None),
    ]
    now_us = acted.stamp.utc_us
    noted = connection.execute(select(weld_pass).where(*valid)).mappings().one_or_none()
    connection.execute(weld_pass.update().where(*valid).values(void_us=now_us))
    if noted is not None and not action.never:
        said = {"begun_us": action.began_us, "ended_us": action.ended_us}
        said = {name: min(us, now_us) for name, us in said.items() if us is not None}
        row = {name: value for name, value in noted.items() if name != "id"}
        connection.execute(weld_pass.insert().values({**row, **said, "origin": acted.stamp.origin}))
    _sum_arc(connection, action.heat_id)


def _begin_purge(connection: Connection, change: TripChange) -> None:
    _end_purge(connection, change)
    connection.execute(purge.insert().values(heat_id=change.heat_id, begun_us=change.since_us))


def _end_purge(connection: Connection, change: TripChange) -> None:
    connection.execute(
        purge.update()
        .where(purge.c.heat_id == change.heat_id, purge.c.ended_us.is_(None))
        .values(ended_us=change.since_us)
    )


def _undo(connection: Connection, change: TripChange) -> None:
    match change.undone:
        case "move part":
            _void(connection, heat_phase, change)
        case "begin pass":
            _void(connection, weld_pass, change)
        case "end pass":
            connection.execute(
                weld_pass.update()
                .where(*_valid(weld_pass, change))
                .values(ended_us=None, arc_us=None)
            )
        case "begin purge":
            _end_purge(connection, change)
        case "end purge":
            _begin_purge(connection, change)
        case _:
            pass
    _sum_arc(connection, change.heat_id)


WRITERS: dict[TripKind, Write] = {
    "move part": _move_part,
    "begin pass": _begin_pass,
    "end pass": _end_pass,
    "begin purge": _begin_purge,
    "end purge": _end_purge,
    "undo step": _undo,
    "correct phase": _correct_phase,
    "correct pass": _correct_pass,
}
