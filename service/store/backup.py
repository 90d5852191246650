"""Backup and restore: a copy counts only once it has been opened and found whole."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from service.store import engine
from service.store.damage import FLAG
from service.store.errors import StoreError
from service.store.files import beside, copy_durably, need_room, publish, set_aside
from service.store.lock import ServiceLock
from service.store.photos import PhotoFolder


@dataclass(frozen=True, slots=True)
class Copied:
    """What a backup holds, as found by opening it.

    Attributes:
        path: The file.
        size_bytes: Its size.
        readings: Rows of readings.
        actions: Rows of the journal.
        schema: Its schema's revision.
        set_aside: After a restore, where the database that was there before has gone.
        photos: How many photos lie beside it.
        unwell: What is missing or damaged among the photos that its records name.
    """

    path: Path
    size_bytes: int
    readings: int
    actions: int
    schema: str
    set_aside: Path | None = None
    photos: int = 0
    unwell: tuple[str, ...] = ()


def backup(url: str, target: Path, *, photos: bool = True) -> Copied:
    """Copy a database while the service runs, and check the copy.

    Args:
        url: ``sqlite:///path/to/file.db``.
        target: A file that does not exist yet. What waits in the spool goes to
            ``<target>.spool``, where the next opening of the copy finds it; photos go to
            ``<target>.photos``.
        photos: ``False`` leaves them out: for a copy beside the database itself.

    Raises:
        StoreError: No such database, the target exists, no room, or the copy is not whole.
    """
    source, target = engine.database_path(url), target.absolute()
    if not source.is_file():
        raise StoreError(f"there is no database {source}")
    if target.exists():
        raise StoreError(f"{target} exists already; a backup never overwrites one")
    if not target.parent.is_dir():
        raise StoreError(f"there is no folder {target.parent} for the backup")
    pictures = PhotoFolder(source)
    size_bytes = source.stat().st_size + (pictures.size_bytes() if photos else 0)
    need_room(target.parent, size_bytes, "the backup")
    part = beside(target, ".part")
    part.unlink(missing_ok=True)
    try:
        with _opened(source) as connection:
            # A consistent copy of one moment, without the log; writers are not held up.
            connection.execute("VACUUM INTO ?", (str(part),))
        copied = verify(part)
        if photos:
            # After the database: whatever its copy names has been on the disk before.
            copied = _with_photos(copied, part, pictures, PhotoFolder(target))
        spool = beside(source, ".spool")
        if spool.is_file() and spool.stat().st_size:
            copy_durably(spool, beside(target, ".spool"))
        publish(part, target)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(f"the backup of {source} to {target} failed: {error}") from error
    finally:
        part.unlink(missing_ok=True)
    return replace(copied, path=target)


def restore(source: Path, url: str) -> Copied:
    """Put a backup in the place of the database; what was there is set aside, not deleted.

    Args:
        source: A backup.
        url: ``sqlite:///path/to/file.db``; no service may be using it.

    Raises:
        StoreError: The backup is not whole or too new, or a service is running.
    """
    target, source = engine.database_path(url), source.absolute()
    verify(source)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"cannot make the folder {target.parent}: {error.strerror}") from error
    lock = ServiceLock(target)
    part = beside(target, ".part")
    try:
        size_bytes = source.stat().st_size + PhotoFolder(source).size_bytes()
        need_room(target.parent, size_bytes, "the restore")
        # Copied and checked first, so that a failure leaves everything as it was.
        copy_durably(source, part)
        copied = verify(part)
        # Named by what they hold: those of the database that is set aside stay beside them.
        copied = _with_photos(copied, part, PhotoFolder(source), PhotoFolder(target))
        before = set_aside(target, "before-restore") if target.exists() else None
        # Damage that was found in the old file is no damage of this one.
        beside(target, FLAG).unlink(missing_ok=True)
        spool = beside(source, ".spool")
        if spool.is_file():
            copy_durably(spool, beside(target, ".spool"))
        publish(part, target)
    except OSError as error:
        raise StoreError(f"restoring {source} to {target} failed: {error}") from error
    finally:
        part.unlink(missing_ok=True)
        lock.release()
    return replace(copied, path=target, set_aside=before)


def _with_photos(copied: Copied, database: Path, folder: PhotoFolder, other: PhotoFolder) -> Copied:
    """Bring the photos along, and look whether all that the records name are there."""
    damaged = [f"{name} is damaged" for name in folder.copy_to(other)]
    there = {each.stem for each in other.files()}
    with _opened(database) as connection:
        tables = "SELECT count(*) FROM sqlite_master WHERE name = 'photo'"
        (known,) = connection.execute(tables).fetchone()
        named = connection.execute("SELECT DISTINCT sha256 FROM photo") if known else ()
        missing = sorted({row[0] for row in named} - there)
    lost = [f"{sha256} is missing" for sha256 in missing]
    return replace(copied, photos=len(there), unwell=(*damaged, *lost))


def verify(path: Path) -> Copied:
    """Open a copy and look whether it is whole.

    Raises:
        StoreError: It is not there, damaged, not ours, or from a newer version.
    """
    if not path.is_file():
        raise StoreError(f"there is no file {path}")
    try:
        with _opened(path) as connection:
            faults = [row[0] for row in connection.execute("PRAGMA integrity_check(5)")]
            if faults != ["ok"]:
                raise StoreError(f"{path} is damaged: {'; '.join(faults)}")
            (schema,) = connection.execute("SELECT version_num FROM alembic_version").fetchone()
            (readings,) = connection.execute("SELECT count(*) FROM reading").fetchone()
            (actions,) = connection.execute("SELECT count(*) FROM journal").fetchone()
    except (sqlite3.Error, TypeError) as error:
        raise StoreError(f"{path} is not a whole database of heatwindow: {error}") from error
    if schema not in engine.known_revisions():
        raise StoreError(
            f"{path} was made by a newer heatwindow (its schema is {schema!r}); "
            "install that version to use it"
        )
    return Copied(path, path.stat().st_size, readings, actions, schema)


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, isolation_level=None)
    try:
        yield connection
    finally:
        connection.close()
