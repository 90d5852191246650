"""The marks that senders put on their packs (table ``pack_mark``).

A reading with its own time is unique in the database. One without a time is not: delivered again
after a kill between the commit and the acknowledgement, it would be kept twice. So the mark of
its pack is written in the same transaction, and the links are reminded of the newest ones at the
next start.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from sqlalchemy import Connection, Dialect, select
from sqlalchemy.dialects import postgresql, sqlite

from service.store.entries import Arrived, PackMark
from service.store.schema import pack_mark

KEPT = 8192
"""Marks kept for each link. A broker repeats what was on its way when we were killed: 500 packs
with the shipped configuration, 65,535 at the very most (MQTT 3.1.1 has so many identifiers), and
no broker's own default is above a few thousand (from memory)."""

PRUNE_AFTER = 1024
"""Marks written between two prunings."""


class PackMarks:
    """Writes marks inside the caller's transaction."""

    def __init__(self, dialect: Dialect) -> None:
        self._since_pruned = 0
        make = postgresql.insert if dialect.name == "postgresql" else sqlite.insert
        columns = (pack_mark.c.link, pack_mark.c.at_seq, pack_mark.c.boot, pack_mark.c.number)
        insert = make(pack_mark).values(dict.fromkeys(columns))
        self.sql = str(insert.on_conflict_do_nothing().compile(dialect=dialect))
        """``INSERT`` of a row of ``rows`` that leaves an existing one alone, for the driver."""

    def rows(self, entries: Iterable[Arrived]) -> list[tuple[str, int, str, int]]:
        """The marks of packs that have any."""
        return [
            (entry.mark.link, entry.readings[0].seq, entry.mark.boot, entry.mark.number)
            for entry in entries
            if entry.mark is not None and entry.readings
        ]

    def prune_is_due(self, more: int) -> bool:
        """Whether writing so many more asks for old ones to be deleted."""
        return self._since_pruned + more >= PRUNE_AFTER

    def wrote(self, count: int) -> None:
        """So many have been written with ``sql``."""
        self._since_pruned += count

    def keep(self, connection: Connection, entries: Iterable[Arrived]) -> None:
        """Write the marks of packs that have any; again makes no difference."""
        rows = self.rows(entries)
        if not rows:
            return
        connection.exec_driver_sql(self.sql, rows)
        self._since_pruned += len(rows)
        if self._since_pruned >= PRUNE_AFTER:
            self._since_pruned = 0
            _prune(connection)


def _prune(connection: Connection) -> None:
    """Leave the newest of each link."""
    for link in connection.execute(select(pack_mark.c.link).distinct()).scalars().all():
        oldest = connection.execute(
            select(pack_mark.c.at_seq)
            .where(pack_mark.c.link == link)
            .order_by(pack_mark.c.at_seq.desc())
            .offset(KEPT - 1)
            .limit(1)
        ).scalar()
        if oldest is not None:
            connection.execute(
                pack_mark.delete().where(pack_mark.c.link == link, pack_mark.c.at_seq < oldest)
            )


def load(connection: Connection) -> dict[str, list[PackMark]]:
    """Every mark kept, by link, in order of arrival."""
    found: dict[str, list[PackMark]] = defaultdict(list)
    for row in connection.execute(select(pack_mark).order_by(pack_mark.c.link, pack_mark.c.at_seq)):
        found[row.link].append(PackMark(row.link, row.boot, row.number))
    return found
