"""The store: opens the database, gives back what is in it.

Writing is the writer's business (``service/store/writer.py``); there is one.
"""

from __future__ import annotations

import contextlib
import heapq
import logging
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError
from sqlalchemy import Connection, Engine, select
from sqlalchemy.exc import DatabaseError

from service.judge.actions import any_action
from service.judge.events import Acted, Outcome, Stamp
from service.readings import Reading
from service.store import arrivals, damage, engine, files, pack_marks
from service.store.backup import backup
from service.store.changes import read_changes
from service.store.drain import Drain, highest_in
from service.store.entries import Arrived, Entry, NotAnEntry, PackMark, decode
from service.store.errors import StoreDamaged, StoreError, UnknownChannel, is_storage_trouble, plain
from service.store.history import History, read_history
from service.store.keeper import Keeper
from service.store.lock import ServiceLock
from service.store.schema import channel, checkpoint, journal, notice
from service.store.spool import Spool

__all__ = ["History", "Store", "StoreDamaged", "StoreError", "UnknownChannel"]

_Placed = TypeVar("_Placed", Reading, Acted)

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Notice:
    """Something somebody must be told; ``id`` 0 cannot be marked as seen."""

    id: int
    at_us: int
    text: str


@dataclass(frozen=True, slots=True)
class WriteSide:
    """What writes into the database: for the writer's thread."""

    engine: Engine
    keeper: Keeper
    drain: Drain


class Store:
    """An open database.

    Made by ``open`` (the service, which may write) or ``open_to_read`` (a command beside it).
    """

    def __init__(self, path: Path, lock: ServiceLock | None) -> None:
        self.path = path
        self._lock = lock
        self._reading = engine.reader_engine(path)
        self.spool = Spool(path.with_name(path.name + ".spool"))
        self.check: damage.BackgroundCheck | None = None
        """Runs after a stop that was not clean."""
        self._damage: str | None = None
        self._write_side: WriteSide | None = None
        if lock is not None:
            writing = engine.writer_engine(path)
            keeper = Keeper(writing)
            self._write_side = WriteSide(writing, keeper, Drain(self.spool, keeper))

    @property
    def write_side(self) -> WriteSide:
        """What the writer uses, and nobody else.

        Raises:
            StoreError: The store was opened to read.
        """
        if self._write_side is None:
            raise StoreError(f"the database {self.path} was opened to read, not to write")
        return self._write_side

    @classmethod
    def open(cls, url: str) -> Store:
        """Open for the service: lock, create or upgrade the schema, recover the spool.

        Args:
            url: ``sqlite:///path/to/file.db``.

        Raises:
            StoreError: In use by another service, made by a newer version, or not usable.
        """
        path = engine.database_path(url)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(f"cannot make the folder {path.parent}: {error.strerror}") from error
        lock = ServiceLock(path)
        try:
            why = damage.seen_at_start(path) if lock.used_before else None
            told = damage.retire(path, why) if why is not None else None
            try:
                return cls._prepared(path, lock, told)
            except DatabaseError as error:
                # Without our lock file beside it, it may be a file of somebody else's.
                if not (lock.used_before and damage.is_damage(error)):
                    raise
                return cls._prepared(path, lock, damage.retire(path, plain(error)))
        except DatabaseError as error:
            lock.release(used=False)
            raise StoreError(f"cannot prepare the database {path}: {plain(error)}") from error
        except BaseException:
            lock.release(used=False)
            raise

    @classmethod
    def _prepared(cls, path: Path, lock: ServiceLock, told: str | None) -> Store:
        store = cls(path, lock)
        try:
            store._prepare(told)
        except BaseException:
            store._dispose()
            raise
        return store

    @classmethod
    def open_to_read(cls, url: str) -> Store:
        """Open beside a running service; nothing can be written.

        Raises:
            StoreError: Not there, not a database of this version, or not usable.
        """
        path = engine.database_path(url)
        if not path.is_file():
            raise StoreError(f"there is no database {path}")
        store = cls(path, None)
        try:
            here = engine.revision_of(store._reading)
        except DatabaseError as error:
            raise StoreError(f"cannot read the database {path}: {plain(error)}") from error
        if here != engine.newest_revision():
            raise StoreError(
                f"the database {path} has the schema {here!r}, this heatwindow needs "
                f"{engine.newest_revision()!r}; start the service once to upgrade it"
            )
        return store

    def _prepare(self, told: str | None) -> None:
        side = self.write_side
        revision = engine.revision_of(side.engine)
        if revision not in (None, engine.newest_revision()):
            self._back_up_before_upgrade()
        engine.migrate(side.engine)
        if told is not None:
            with side.engine.begin() as connection:
                connection.execute(notice.insert().values(at_us=_now_us(), text=told))
        self._recover_spool()
        if self._lock is not None and self._lock.died:
            self.check = damage.BackgroundCheck(self.path, self.damage_found)
            self.check.start()

    def _back_up_before_upgrade(self) -> None:
        target = files.beside(self.path, f".before-{engine.newest_revision()}-{files.time_mark()}")
        copied = backup(f"sqlite:///{self.path}", target, photos=False)
        log.warning("backed up to %s (%d bytes) before the upgrade", target, copied.size_bytes)

    def _recover_spool(self) -> None:
        """Write what a killed service left; should that fail, the writer goes on trying."""
        if not self.spool:
            return
        log.warning("recovering the spool %s, %d bytes", self.spool.path, self.spool.size_bytes)
        try:
            while self.spool:
                self.write_side.drain.step()
        except Exception as error:
            if not is_storage_trouble(error):
                raise
            log.warning("the spool cannot be written into the database yet: %s", plain(error))

    def close(self) -> None:
        """Let go of the files; the next service may open them."""
        self._dispose()
        if self._lock is not None:
            self._lock.release()

    def _dispose(self) -> None:
        if self.check is not None:
            self.check.stop()
        self.spool.close()
        self._reading.dispose()
        if self._write_side is not None:
            self._write_side.keeper.close()
            self._write_side.engine.dispose()

    # Notices ------------------------------------------------------------------------------

    def damage_found(self, why: str) -> None:
        """The database turns out to be broken while it is in use; from any thread."""
        damage.flag(self.path, why)
        self._damage = (
            f"The database {self.path} is damaged ({why}). New readings may be kept in the spool "
            "beside it only. Restart the service: it will set the file aside and begin a fresh one."
        )

    def notices(self) -> list[Notice]:
        """What somebody must be told about the store and has not yet seen, oldest first."""
        if self._damage is not None:
            return [Notice(0, _now_us(), self._damage)]
        query = select(notice).where(notice.c.seen_us.is_(None)).order_by(notice.c.id)
        with self._connect() as connection:
            return [Notice(row.id, row.at_us, row.text) for row in connection.execute(query)]

    def notice_seen(self, notice_id: int) -> None:
        """Somebody has seen it.

        Raises:
            StoreError: The database cannot be written now.
        """
        seen = notice.update().where(notice.c.id == notice_id).values(seen_us=_now_us())
        try:
            with self.write_side.engine.begin() as connection:
                connection.execute(seen)
        except DatabaseError as error:
            raise StoreError(f"cannot write the database {self.path}: {plain(error)}") from error

    # The order ----------------------------------------------------------------------------

    def next_seq(self) -> int:
        """First free place in the order: above any in the database and in the spool."""
        return self._highest()[0] + 1

    def last_mono_us(self) -> int:
        """Latest monotonic time of anything kept [µs]; 0 when there is nothing."""
        return self._highest()[1]

    def _highest(self) -> tuple[int, int]:
        with self._connect() as connection:
            seq, mono_us = arrivals.highest_anywhere(connection)
        spool_seq, spool_mono_us = highest_in(self.spool)
        return max(seq, spool_seq), max(mono_us, spool_mono_us)

    def journal(self, from_seq: int = 0, to_seq: int | None = None) -> Iterator[Acted]:
        """Every accepted action, in order; both ends included."""
        query = select(journal).where(journal.c.seq >= from_seq).order_by(journal.c.seq)
        if to_seq is not None:
            query = query.where(journal.c.seq <= to_seq)
        with self._connect() as connection:
            rows = connection.execute(query).all()
        kept = (self._acted(row) for row in rows)
        return _merged(kept, (e for e in self._spooled(from_seq, to_seq) if isinstance(e, Acted)))

    def _acted(self, row: Any) -> Acted:
        try:
            action = any_action.validate_json(row.body)
        except ValidationError as error:
            first = error.errors()[0]
            text = (
                f"action {row.seq} ({row.kind}) in the database {self.path} cannot be read: "
                f"{first['msg']}"
            )
            if first["type"] == "json_invalid":  # no version has ever written that
                raise self._broken(text, text) from error
            raise StoreError(
                f"{text}; a newer heatwindow may have written it: install that version, or use "
                "another database"
            ) from error
        return Acted(Stamp(row.seq, row.mono_us, row.utc_us), action)

    def readings(self, from_seq: int = 0, to_seq: int | None = None) -> Iterator[Reading]:
        """Every reading in order of arrival, exactly as it arrived; both ends included.

        No transaction is held between pieces, so a slow taker does not pin the log.
        """
        return _merged(
            self._kept_readings(from_seq, to_seq),
            (e for e in self._spooled(from_seq, to_seq) if isinstance(e, Reading)),
        )

    def _kept_readings(self, from_seq: int, to_seq: int | None) -> Iterator[Reading]:
        with self._connect() as connection:
            pieces = list(arrivals.blocks(connection, from_seq, to_seq))
        for piece in pieces:
            with self._connect() as connection:
                found = arrivals.readings_of(connection, piece, from_seq, to_seq)
            yield from found

    def events(self, from_seq: int, to_seq: int | None = None) -> Iterator[Reading | Acted]:
        """Readings and actions merged into the one order in which the judge was given them."""
        return heapq.merge(
            self.readings(from_seq, to_seq), self.journal(from_seq, to_seq), key=_place
        )

    def _spooled(self, from_seq: int, to_seq: int | None) -> list[Reading | Acted]:
        """What only the spool has: the database could not be written when it was opened."""
        found: list[Reading | Acted] = []
        for entry in self._spooled_entries():
            if isinstance(entry, Arrived):
                found.extend(entry.readings)
            elif isinstance(entry, Acted):
                found.append(entry)
        within = [
            e for e in found if from_seq <= _place(e) and (to_seq is None or _place(e) <= to_seq)
        ]
        return sorted(within, key=_place)

    def changes(self, from_us: int | None = None, to_us: int | None = None) -> Outcome:
        """Every alarm, verdict and trip change that was kept; only those within, if asked [µs]."""
        with self._connect() as connection:
            return read_changes(connection, from_us, to_us)

    def _spooled_entries(self) -> Iterator[Entry]:
        for body, _ in self.spool.read():
            with contextlib.suppress(NotAnEntry):  # the drain reports it
                yield decode(body)

    def load_checkpoints(self) -> list[tuple[int, bytes]]:
        """The judge's last states, newest first, each with the event it came after."""
        query = select(checkpoint).order_by(checkpoint.c.seq.desc())
        with self._connect() as connection:
            return [(row.seq, row.state) for row in connection.execute(query)]

    def pack_marks(self) -> dict[str, list[PackMark]]:
        """The newest packs of each link, in order: those that may come a second time."""
        with self._connect() as connection:
            found = pack_marks.load(connection)
        for entry in self._spooled_entries():
            if isinstance(entry, Arrived) and entry.mark is not None:
                found.setdefault(entry.mark.link, []).append(entry.mark)
        return found

    # Queries ------------------------------------------------------------------------------

    def channel_names(self) -> list[str]:
        """Every channel ever seen, in order of name."""
        with self._connect() as connection:
            return list(
                connection.execute(select(channel.c.name).order_by(channel.c.name)).scalars()
            )

    def history(self, channel_name: str, start_us: int, end_us: int, points: int) -> History:
        """A channel's past in about ``points`` steps; see ``service.store.history``.

        Raises:
            UnknownChannel: No such channel.
            StoreError: The range is empty, or the database cannot be read.
        """
        with self._connect() as connection:
            return read_history(connection, channel_name, start_us, end_us, points)

    def connect(self) -> contextlib.AbstractContextManager[Connection]:
        """A connection that can only read, for the queries of other rooms."""
        return self._connect()

    @contextlib.contextmanager
    def _connect(self) -> Iterator[Connection]:
        try:
            with self._reading.connect() as connection:
                yield connection
        except DatabaseError as error:
            text = f"cannot read the database {self.path}: {plain(error)}"
            if not damage.is_damage(error):
                raise StoreError(text) from error
            raise self._broken(text, plain(error)) from error

    def _broken(self, text: str, why: str) -> StoreError:
        """What to raise; the service's own database is marked, to be set aside."""
        if self._lock is None:
            return StoreError(text)
        self.damage_found(why)
        return StoreDamaged(text)


def _merged(kept: Iterable[_Placed], spooled: Iterable[_Placed]) -> Iterator[_Placed]:
    """Both in one order, what is in both places once."""
    last = None
    for item in heapq.merge(kept, spooled, key=_place):
        if _place(item) != last:
            yield item
        last = _place(item)


def _now_us() -> int:
    return time.time_ns() // 1000


def _place(item: Reading | Acted) -> int:
    return item.seq if isinstance(item, Reading) else item.stamp.seq
