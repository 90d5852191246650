"""What came of a heat, and photos, into their tables; nothing said is ever changed or deleted."""

from __future__ import annotations

from sqlalchemy import ColumnElement, Connection

from service.judge.actions import AddPhoto, DropPhoto, SayOutcome
from service.judge.events import Acted
from service.store.codes import Codes
from service.store.schema_outcome import outcome, outcome_dimension, photo


def say_outcome(connection: Connection, acted: Acted, action: SayOutcome, _: Codes) -> None:
    """A row for each saying: the newest holds, and the earlier ones are there to be read."""
    made = connection.execute(
        outcome.insert().values(
            heat_id=action.heat_id,
            at_us=acted.stamp.utc_us,
            said_by=action.by,
            cracked=action.cracked,
            root=action.root,
            root_photo=action.root_photo,
            oxygen_colour=action.oxygen_colour,
            penetration=action.penetration,
            words=action.text,
        )
    )
    (outcome_id,) = made.inserted_primary_key or (None,)
    for place, each in enumerate(action.dimensions):
        connection.execute(
            outcome_dimension.insert().values(
                outcome_id=outcome_id,
                place=place,
                name=each.name,
                before_mm=each.before_mm,
                after_mm=each.after_mm,
            )
        )


def add_photo(connection: Connection, acted: Acted, action: AddPhoto, _: Codes) -> None:
    """A new row, or the same picture of the same thing again: with its new caption, and back."""
    said = {"caption": action.caption, "said_by": action.by, "dropped_us": None}
    found = connection.execute(photo.update().where(*_same(action)).values(**said))
    if found.rowcount == 0:
        connection.execute(
            photo.insert().values(
                sha256=action.sha256,
                of=action.of,
                part_id=action.part_id,
                heat_id=action.heat_id,
                size_bytes=action.size_bytes,
                media_type=action.media_type,
                added_us=acted.stamp.utc_us,
                **said,
            )
        )


def drop_photo(connection: Connection, acted: Acted, action: DropPhoto, _: Codes) -> None:
    """Shown no more; the row and the file stay."""
    connection.execute(
        photo.update()
        .where(*_same(action), photo.c.dropped_us.is_(None))
        .values(dropped_us=acted.stamp.utc_us)
    )


def _same(action: AddPhoto | DropPhoto) -> list[ColumnElement[bool]]:
    """Conditions for the row of the same picture of the same thing."""
    return [
        photo.c.sha256 == action.sha256,
        photo.c.of == action.of,
        photo.c.part_id == action.part_id,
        photo.c.heat_id == action.heat_id,
    ]
