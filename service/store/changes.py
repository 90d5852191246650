"""What the judge concluded while it ran, read back for a replay."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from sqlalchemy import Connection, Row, Table, select

from service.judge.events import AlarmChange, Outcome, TripChange, VerdictChange
from service.store.schema import alarm_change, trip_change, verdict_change


def read_changes(connection: Connection) -> Outcome:
    """Every change of an alarm, a verdict or a trip kept, in the order of their moments."""
    return Outcome(
        alarms=[AlarmChange(**_plain(row, AlarmChange)) for row in _rows(connection, alarm_change)],
        verdicts=[
            VerdictChange(**_plain(row, VerdictChange)) for row in _rows(connection, verdict_change)
        ],
        trips=[TripChange(**_plain(row, TripChange)) for row in _rows(connection, trip_change)],
    )


def _rows(connection: Connection, table: Table) -> list[Row[Any]]:
    return list(connection.execute(select(table).order_by(table.c.mono_us, table.c.id)))


def _plain(
    row: Row[Any], kind: type[AlarmChange] | type[VerdictChange] | type[TripChange]
) -> dict[str, Any]:
    return {field.name: getattr(row, field.name) for field in fields(kind)}
