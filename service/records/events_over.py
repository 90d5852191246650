"""What happened in the shop over any stretch of time: heats, phases, passes, alarms, notes.

In order of time, a page of them at a time. The times are those everything was stamped with, the
same as a channel's history is told by, so that both stand on one axis.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, Row, Select, and_, func, or_, select

from service.judge.utc import utc_text
from service.store.database import Store
from service.store.schema import alarm_change, heat, heat_phase, journal, part, weld_pass

PAGE_MOST = 2000


class Place(NamedTuple):
    """Where a page ended: moment [µs UTC], source and row of its last event."""

    at_us: int
    source: int
    row: int

    def __str__(self) -> str:
        return f"{self.at_us}.{self.source}.{self.row}"


def place_of(text: str) -> Place:
    """Read a place as it was given out.

    Raises:
        ValueError: It is none; one clause saying so.
    """
    parts = text.split(".")
    whole = all(each.isascii() and each.isdigit() and len(each) <= 18 for each in parts)
    if len(parts) != len(Place._fields) or not whole or int(parts[1]) >= len(SOURCES):
        raise ValueError("is not the next of an answer about events")
    return Place(*(int(each) for each in parts))


@dataclass(frozen=True, slots=True)
class _Source:
    """A table with moments: which of its columns tells when, and which row it is."""

    at: ColumnElement[int]
    row: ColumnElement[int]
    asked: Select[Any]
    told: Callable[[Row[Any]], dict[str, Any]]


def _of_heat(table: Any, at: ColumnElement[int], *more: ColumnElement[Any]) -> Select[Any]:
    asked = (
        select(at.label("at_us"), table.c.id.label("row"), heat.c.id.label("heat_id"), *more)
        .add_columns(part.c.id.label("part_id"), part.c.name.label("part"))
        .select_from(table if table is heat else table.join(heat, heat.c.id == table.c.heat_id))
        .join(part, part.c.id == heat.c.part_id)
    )
    return asked.where(table.c.void_us.is_(None)) if "void_us" in table.c else asked


def _trip(kind: str) -> Callable[[Row[Any]], dict[str, Any]]:
    def told(row: Row[Any]) -> dict[str, Any]:
        mapping = row._mapping
        text = mapping.get("phase") or (f"pass {row.number}" if "number" in mapping else None)
        return _event(kind, row, row.heat_id, text)

    return told


def _alarm(row: Row[Any]) -> dict[str, Any]:
    return {**_event("alarm", row, None, row.text), "state": row.state}


def _note(row: Row[Any]) -> dict[str, Any]:
    return _event("note", row, row.heat_id, row.text)


def _event(kind: str, row: Row[Any], heat_id: int | None, text: str | None) -> dict[str, Any]:
    return {
        "at": utc_text(row.at_us),
        "kind": kind,
        "heat_id": heat_id,
        "part_id": row.part_id,
        "part": row.part,
        "text": text,
        "state": None,
    }


_note_heat: ColumnElement[int] = func.json_extract(journal.c.body, "$.heat_id")
_ALARMS = select(
    alarm_change.c.at_us.label("at_us"),
    alarm_change.c.id.label("row"),
    alarm_change.c.text,
    alarm_change.c.state,
    alarm_change.c.part_id,
    part.c.name.label("part"),
).select_from(alarm_change.outerjoin(part, part.c.id == alarm_change.c.part_id))
_note_us: ColumnElement[int] = func.coalesce(
    func.json_extract(journal.c.body, "$.about_us"), journal.c.utc_us
)
_NOTES = (
    select(
        _note_us.label("at_us"),
        journal.c.seq.label("row"),
        _note_heat.label("heat_id"),
        func.json_extract(journal.c.body, "$.text").label("text"),
        part.c.id.label("part_id"),
        part.c.name.label("part"),
    )
    .select_from(
        journal.outerjoin(heat, heat.c.id == _note_heat).outerjoin(
            part, part.c.id == heat.c.part_id
        )
    )
    .where(journal.c.kind == "write note")
)

SOURCES = (
    _Source(heat.c.begun_us, heat.c.id, _of_heat(heat, heat.c.begun_us), _trip("heat began")),
    _Source(
        heat_phase.c.from_us,
        heat_phase.c.id,
        _of_heat(heat_phase, heat_phase.c.from_us, heat_phase.c.phase),
        _trip("phase"),
    ),
    _Source(
        weld_pass.c.begun_us,
        weld_pass.c.id,
        _of_heat(weld_pass, weld_pass.c.begun_us, weld_pass.c.number),
        _trip("pass began"),
    ),
    _Source(
        weld_pass.c.ended_us,
        weld_pass.c.id,
        _of_heat(weld_pass, weld_pass.c.ended_us, weld_pass.c.number),
        _trip("pass ended"),
    ),
    _Source(alarm_change.c.at_us, alarm_change.c.id, _ALARMS, _alarm),
    _Source(_note_us, journal.c.seq, _NOTES, _note),
    _Source(heat.c.ended_us, heat.c.id, _of_heat(heat, heat.c.ended_us), _trip("heat ended")),
)
"""In this order where several happened at the same moment."""


def events_over(
    store: Store, within_us: tuple[int, int], after: Place | None, most: int
) -> dict[str, Any]:
    """``ShopEvents`` in openapi.json.

    Args:
        store: The database.
        within_us: From when to before when [µs UTC].
        after: Where the page before ended; ``None``: the first page.
        most: So many events at most, 1 to ``PAGE_MOST``.

    Raises:
        StoreError: The database cannot be read.
    """
    with store.connect() as connection:
        each = [
            _page(connection, number, within_us, after, most + 1) for number in range(len(SOURCES))
        ]
    found = list(islice(heapq.merge(*each, key=lambda one: one[0]), most + 1))
    more = len(found) > most
    return {
        "start": utc_text(within_us[0]),
        "end": utc_text(within_us[1]),
        "events": [event for _, event in found[:most]],
        "next": str(found[most - 1][0]) if more else None,
    }


def _page(
    connection: Connection, number: int, within_us: tuple[int, int], after: Place | None, most: int
) -> Iterator[tuple[Place, dict[str, Any]]]:
    source = SOURCES[number]
    asked = source.asked.where(source.at >= within_us[0], source.at < within_us[1])
    if after is not None:
        asked = asked.where(_beyond(source, number, after))
    rows = connection.execute(asked.order_by(source.at, source.row).limit(most)).all()
    return iter([(Place(row.at_us, number, row.row), source.told(row)) for row in rows])


def _beyond(source: _Source, number: int, after: Place) -> ColumnElement[bool]:
    if number < after.source:
        return source.at > after.at_us
    if number > after.source:
        return source.at >= after.at_us
    return or_(source.at > after.at_us, and_(source.at == after.at_us, source.row > after.row))
