"""The files that make up a database, moved and copied together."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

from service.store.errors import StoreError

COMPANIONS = ("-wal", "-shm", ".spool")
"""What belongs to a database file: SQLite's log and its index, and our spool."""

LOG_COMPANIONS = ("-wal", "-shm")


def beside(path: Path, ending: str) -> Path:
    """A file named like the database with something appended."""
    return path.with_name(path.name + ending)


def time_mark() -> str:
    """The present moment for a file's name, UTC."""
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")


def set_aside(path: Path, why: str, companions: tuple[str, ...] = COMPANIONS) -> Path:
    """Rename a database and what belongs to it, so that it can be looked at later.

    Args:
        path: The database.
        why: One word for the new name.
        companions: Which of its companions go with it.

    Returns:
        The new path of the database.
    """
    stem = f".{why}-{time_mark()}"
    aside, number = beside(path, stem), 1
    while aside.exists():
        number += 1
        aside = beside(path, f"{stem}-{number}")
    # The log first: a database whose log has gone is older, one with a foreign log is broken.
    for ending in (*companions, ""):
        if beside(path, ending).exists():
            beside(path, ending).rename(beside(aside, ending))
    sync_folder(path.parent)
    return aside


def copy_durably(source: Path, target: Path) -> None:
    """Copy by way of a temporary file: the target is whole or not there."""
    part = beside(target, ".part")
    try:
        shutil.copyfile(source, part)
        publish(part, target)
    finally:
        part.unlink(missing_ok=True)


def publish(part: Path, target: Path) -> None:
    """Give a finished file its name, once its bytes are on the disk."""
    with part.open("rb") as file:
        os.fsync(file.fileno())
    part.replace(target)
    sync_folder(target.parent)


def sync_folder(folder: Path) -> None:
    """A file's name must survive a power cut as well as its bytes."""
    fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def need_room(folder: Path, size_bytes: int, purpose: str) -> None:
    """Refuse what would fill the disk.

    Raises:
        StoreError: Less than ``size_bytes`` would be left free there afterwards.
    """
    free = shutil.disk_usage(folder).free
    if free < 2 * size_bytes:
        raise StoreError(
            f"{purpose} needs {2 * size_bytes / 1e6:,.1f} MB free in {folder}, "
            f"but there are {free / 1e6:,.1f} MB"
        )
