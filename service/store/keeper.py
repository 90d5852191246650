"""Entries into the database, one transaction at a time. Used by the writer's thread only."""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

from sqlalchemy import Connection, Engine, Table, exists, func, or_, select
from sqlalchemy.exc import IntegrityError

from service.judge.events import Acted, Outcome
from service.readings import Reading
from service.store.codes import Codes
from service.store.entries import Arrived, Checkpoint, Entry, Lost, encode
from service.store.errors import is_storage_trouble, plain
from service.store.marker import Marker
from service.store.pack_marks import PackMarks
from service.store.projections import project
from service.store.reading_rows import Counts, ReadingRows
from service.store.roll_up import mend, roll_up
from service.store.schema import (
    alarm_change,
    checkpoint,
    gap,
    journal,
    misfit,
    trip_change,
    verdict_change,
)
from service.store.trips import project_trip

log = logging.getLogger(__name__)

ROLL_UP_S = 10.0
"""How often readings are summed up [s, real] ..."""

ROLL_UP_READINGS = 5_000
"""... or after so many."""


class Keeper:
    """Writes entries, each exactly once however often it is given.

    Args:
        engine: The writing engine; every transaction takes the write lock.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._connection: Connection | None = None
        self._codes = Codes()
        self._marker = Marker()
        self._rows = ReadingRows(engine.dialect, self._codes, self._marker)
        self._marks = PackMarks(engine.dialect)
        self._fresh = False
        self._not_rolled = 1  # there may be some from before a kill
        self._roll_at_s = 0.0
        self.misfits = 0
        """Entries the tables would not take; they are in ``misfit``."""

    def keep(self, entries: Sequence[Entry]) -> Counts:
        """Write entries in one transaction.

        Raises:
            SQLAlchemyError, OSError: The storage failed; nothing of ``entries`` is written.
        """
        try:
            return self._plainly(entries) or self._transaction(entries)
        except Exception as error:
            if is_storage_trouble(error):
                raise
            log.warning("something does not fit the database (%s); sorting it out", plain(error))
        return self._keep_singly(entries)

    def _transaction(self, entries: Sequence[Entry]) -> Counts:
        try:
            # One connection is kept open: taking it from the pool and giving it back would cost
            # more than a small batch's rows do.
            connection = self._connection = self._connection or self._engine.connect()
            with connection.begin():
                if not self._fresh:
                    self._codes.load(connection)
                    self._marker.load(connection)
                    self._rows.forget()
                    self._fresh = True
                counts = self._write(connection, entries)
                self._roll_up_if_due(connection, counts)
                return counts
        except BaseException:
            self._fresh = False
            self.close()
            raise

    def _plainly(self, entries: Sequence[Entry]) -> Counts | None:
        """The short way, past the library, for readings that simply follow: nearly always.

        For a burst from a broker, twenty readings at a time, the library's part of a transaction
        takes as long as all the rest of it.

        Returns:
            ``None`` where anything else is to be done, and where anything fails: nothing is
            written then, and the long way does or tells it.
        """
        readings: list[Reading] = []
        for entry in entries:
            if not isinstance(entry, Arrived):
                return None
            readings.extend(entry.readings)
        if not readings or not self._fresh or self._connection is None or self._is_due(readings):
            return None
        marks = self._marks.rows(entries)  # type: ignore[arg-type]  # all of them are Arrived
        if marks and self._marks.prune_is_due(len(marks)):
            return None
        place = self._marker.place()
        rows = self._rows.plain(readings)
        if rows is not None and self._written(rows, marks):
            self._marks.wrote(len(marks))
            self._not_rolled += len(rows)
            return Counts(new=len(rows))
        self._marker.back_to(place)
        return None

    def _written(self, rows: list[Any], marks: list[Any]) -> bool:
        """All of these in one transaction, or none: every row of readings new."""
        if self._connection is None:
            return False
        driver: Any = self._connection.connection.driver_connection
        try:
            driver.execute("BEGIN IMMEDIATE")
            if marks:
                driver.executemany(self._marks.sql, marks)
            if driver.executemany(self._rows.sql, rows).rowcount == len(rows):
                driver.execute("COMMIT")
                return True
        except sqlite3.Error:
            pass  # the long way meets the same, and knows what to do about it
        with suppress(sqlite3.Error):
            if driver.in_transaction:
                driver.execute("ROLLBACK")
        return False

    def _is_due(self, readings: Sequence[Reading]) -> bool:
        """Whether these readings are to be summed up with those before them."""
        many = self._not_rolled + len(readings) >= ROLL_UP_READINGS
        return many or time.monotonic() >= self._roll_at_s

    def close(self) -> None:
        """Let go of the database; the next entry opens it anew."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _write(self, connection: Connection, entries: Sequence[Entry]) -> Counts:
        arrived = [entry for entry in entries if isinstance(entry, Arrived)]
        readings: list[Reading] = []
        for each in arrived:
            readings.extend(each.readings)
        self._marks.keep(connection, arrived)
        counts = self._rows.insert(connection, readings)
        if counts.new and (late := self._rows.take_out_of_turn()):
            mend(connection, late)
        for entry in entries:
            if isinstance(entry, Acted):
                self._keep_action(connection, entry)
            elif isinstance(entry, Outcome):
                _keep_outcome(connection, entry)
            elif isinstance(entry, Lost):
                _insert_once(connection, gap, _row_of(gap, entry))
            elif isinstance(entry, Checkpoint):
                _keep_checkpoint(connection, entry)
        return counts

    def _roll_up_if_due(self, connection: Connection, counts: Counts) -> None:
        """Sum up what has come, at the latest so that history has little left to sum."""
        self._not_rolled += counts.new
        now_s = time.monotonic()
        if not self._not_rolled or (
            now_s < self._roll_at_s and self._not_rolled < ROLL_UP_READINGS
        ):
            return
        try:
            with connection.begin_nested():
                roll_up(connection)
        except Exception as error:
            if is_storage_trouble(error):
                raise
            # The mark stays where it is, so history is slower but right.
            log.exception("summing up failed")
        self._not_rolled = 0
        self._roll_at_s = now_s + ROLL_UP_S

    def _keep_action(self, connection: Connection, acted: Acted) -> None:
        row = {
            "seq": acted.stamp.seq,
            "mono_us": acted.stamp.mono_us,
            "utc_us": acted.stamp.utc_us,
            "kind": acted.action.kind,
            "body": acted.action.model_dump_json(),
        }
        if not _insert_once(connection, journal, row):
            return
        try:
            with connection.begin_nested():
                project(connection, acted, self._codes)
        except IntegrityError as error:
            # The action itself is in the journal, so nothing is lost; the tables made from it
            # lack it, and that must be seen.
            self._codes.load(connection)
            log.exception("action %d (%s) does not fit", acted.stamp.seq, acted.action.kind)
            self._put_aside(connection, _text(acted), plain(error))

    def _keep_singly(self, entries: Sequence[Entry]) -> Counts:
        """Entry by entry and reading by reading, so that only the misfit is put aside."""
        counts = Counts()
        for entry in entries:
            singles: Sequence[Entry] = (entry,)
            if isinstance(entry, Arrived):
                # The mark goes with the first: should that be the misfit, the others might come
                # twice, which is better than not at all.
                singles = [
                    Arrived((each,), entry.mark if place == 0 else None)
                    for place, each in enumerate(entry.readings)
                ]
            for single in singles:
                counts.add(self._keep_or_put_aside(single))
        return counts

    def _keep_or_put_aside(self, entry: Entry) -> Counts:
        try:
            return self._transaction((entry,))
        except Exception as error:
            if is_storage_trouble(error):
                raise
            log.exception("put aside, does not fit the database")
            self.put_aside(_text(entry), plain(error))
            return Counts()

    def put_aside(self, body: str, why: str) -> None:
        """Keep for a person what no other table takes."""
        with self._engine.begin() as connection:
            self._put_aside(connection, body, why)

    def _put_aside(self, connection: Connection, body: str, why: str) -> None:
        if _insert_once(connection, misfit, {"body": body, "why": why}):
            self.misfits += 1


def _text(entry: Entry) -> str:
    return encode(entry).decode("utf-8", "backslashreplace")


def _keep_outcome(connection: Connection, outcome: Outcome) -> None:
    for alarm in outcome.alarms:
        _insert_once(connection, alarm_change, _row_of(alarm_change, alarm))
    for verdict in outcome.verdicts:
        _insert_once(connection, verdict_change, _row_of(verdict_change, verdict))
    for trip in outcome.trips:
        if _insert_once(connection, trip_change, _row_of(trip_change, trip)):
            project_trip(connection, trip)


def _keep_checkpoint(connection: Connection, entry: Checkpoint) -> None:
    """The new one beside the one before it, in case it turns out to be unreadable."""
    before = connection.execute(
        select(func.max(checkpoint.c.seq)).where(checkpoint.c.seq < entry.seq)
    ).scalar()
    connection.execute(
        checkpoint.delete().where(
            or_(checkpoint.c.seq < (before or 0), checkpoint.c.seq == entry.seq)
        )
    )
    connection.execute(checkpoint.insert().values(seq=entry.seq, state=entry.state))


def _insert_once(connection: Connection, table: Table, row: dict[str, Any]) -> bool:
    """Insert unless the same row, in every column given, is there; whether it was inserted."""
    same = [table.c[name].is_not_distinct_from(value) for name, value in row.items()]
    if connection.execute(select(exists().where(*same))).scalar():
        return False
    connection.execute(table.insert().values(**row))
    return True


def _row_of(table: Table, source: Any) -> dict[str, Any]:
    return {column.name: getattr(source, column.name) for column in table.c if column.name != "id"}
