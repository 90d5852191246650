"""What came of a heat, its photos and its work, beside what was recorded of it."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from sqlalchemy import Connection, or_, select

from service.judge.utc import utc_text
from service.records.heat_record import HeatRecord
from service.records.outcome_record import Measured, OutcomeRecord, PhotoRecord, Work
from service.records.run_clock import RunClock
from service.records.work_read import read_work
from service.store.database import Store
from service.store.schema_outcome import outcome, outcome_dimension, photo


def with_outcome(store: Store, record: HeatRecord, clock: RunClock) -> HeatRecord:
    """The same record with its outcomes, photos and work."""
    with store.connect() as connection:
        outcomes = outcomes_of(connection, record.heat_id)
        photos = photos_of(connection, record.heat_id, record.part_id)
    work = read_work(store, record.heat_id, clock, record.to_us)
    return replace(record, outcomes=outcomes, photos=photos, work=work)


def outcomes_of(connection: Connection, heat_id: int) -> tuple[OutcomeRecord, ...]:
    """Every saying, oldest first."""
    rows = connection.execute(
        select(outcome).where(outcome.c.heat_id == heat_id).order_by(outcome.c.id)
    ).all()
    return tuple(
        OutcomeRecord(
            at_us=row.at_us,
            by=row.said_by,
            cracked=row.cracked,
            root=row.root,
            root_photo=row.root_photo,
            oxygen_colour=row.oxygen_colour,
            penetration=row.penetration,
            dimensions=_dimensions(connection, row.id),
            text=row.words,
        )
        for row in rows
    )


def _dimensions(connection: Connection, outcome_id: int) -> tuple[Measured, ...]:
    rows = connection.execute(
        select(outcome_dimension)
        .where(outcome_dimension.c.outcome_id == outcome_id)
        .order_by(outcome_dimension.c.place)
    )
    return tuple(Measured(row.name, row.before_mm, row.after_mm) for row in rows)


def photos_of(
    connection: Connection, heat_id: int | None, part_id: int | None
) -> tuple[PhotoRecord, ...]:
    """Those of a heat and of a part that were not dropped, in the order in which they came."""
    rows = connection.execute(
        select(photo)
        .where(
            photo.c.dropped_us.is_(None),
            or_(
                *(
                    column == value
                    for column, value in ((photo.c.heat_id, heat_id), (photo.c.part_id, part_id))
                    if value is not None
                )
            ),
        )
        .order_by(photo.c.id)
    )
    return tuple(
        PhotoRecord(
            sha256=row.sha256,
            of=row.of,
            media_type=row.media_type,
            size_bytes=row.size_bytes,
            caption=row.caption,
            by=row.said_by,
            added_us=row.added_us,
        )
        for row in rows
    )


def outcome_json(said: OutcomeRecord) -> dict[str, Any]:
    """One saying (``SaidOutcome`` in openapi.json)."""
    told = asdict(said)
    del told["at_us"]
    return {
        "at": utc_text(said.at_us),
        **told,
        "dimensions": [asdict(each) for each in said.dimensions],
    }


def photo_json(each: PhotoRecord) -> dict[str, Any]:
    """One photo (``Photo`` in openapi.json)."""
    told = asdict(each)
    del told["added_us"]
    return {**told, "added_at": utc_text(each.added_us)}


def work_json(work: Work | None) -> dict[str, Any] | None:
    """What it took (``Work`` in openapi.json)."""
    if work is None:
        return None
    told = asdict(work)
    return {
        name: round(value, 1) if isinstance(value, float) else value for name, value in told.items()
    }
