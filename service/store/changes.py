"""What the judge concluded while it ran, read back for a replay."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from sqlalchemy import Connection, Row, Table, func, select

from service.judge.events import AlarmChange, Outcome, TripChange, VerdictChange
from service.store.schema import alarm_change, trip_change, verdict_change


def read_changes(
    connection: Connection, from_us: int | None = None, to_us: int | None = None
) -> Outcome:
    """Every change of an alarm, a verdict or a trip kept, in the order of their moments.

    Args:
        connection: To the database.
        from_us, to_us: Only those within, both ends included (shop time [µs]).
    """

    def rows(table: Table) -> list[Row[Any]]:
        asked = select(table).order_by(table.c.mono_us, table.c.id)
        if from_us is not None:
            asked = asked.where(table.c.mono_us >= from_us)
        if to_us is not None:
            asked = asked.where(table.c.mono_us <= to_us)
        return list(connection.execute(asked))

    return Outcome(
        alarms=[AlarmChange(**_plain(row, AlarmChange)) for row in rows(alarm_change)],
        verdicts=[VerdictChange(**_plain(row, VerdictChange)) for row in rows(verdict_change)],
        trips=[TripChange(**_plain(row, TripChange)) for row in rows(trip_change)],
    )


def newest_change_us(connection: Connection) -> int | None:
    """Shop time of the last change that was kept [µs]; ``None``: none was."""
    newest = [
        connection.execute(select(func.max(table.c.mono_us))).scalar()
        for table in (alarm_change, verdict_change, trip_change)
    ]
    return max((each for each in newest if each is not None), default=None)


def _plain(
    row: Row[Any], kind: type[AlarmChange] | type[VerdictChange] | type[TripChange]
) -> dict[str, Any]:
    return {field.name: getattr(row, field.name) for field in fields(kind)}
