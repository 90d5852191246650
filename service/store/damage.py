"""A damaged database: noticed, set aside, never silently replaced."""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from service.store.files import LOG_COMPANIONS, beside, set_aside, sync_folder

log = logging.getLogger(__name__)

_DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)

FLAG = ".damaged"
"""``<database>.damaged`` says why the file is to be set aside at the next start."""


def is_damage(error: BaseException) -> bool:
    """Whether the database itself is broken, rather than busy, full or unreadable."""
    original = error.orig if isinstance(error, DBAPIError) else error
    code = getattr(original, "sqlite_errorcode", None)
    # The low byte is the kind of error, the rest tells the kind of the kind.
    return code is not None and code & 0xFF in _DAMAGED


def flag(path: Path, why: str) -> None:
    """Have the database set aside at the next start."""
    if beside(path, FLAG).exists():
        return
    log.critical("the database %s is damaged: %s", path, why)
    beside(path, FLAG).write_text(why, encoding="utf-8")
    sync_folder(path.parent)


def seen_at_start(path: Path) -> str | None:
    """Why a database that we have used before is to be set aside; ``None`` if it is not."""
    if not path.exists():
        return None
    if path.stat().st_size == 0:
        return "the file is empty"
    if beside(path, FLAG).exists():
        return beside(path, FLAG).read_text(encoding="utf-8")
    return None


def retire(path: Path, why: str) -> str:
    """Set a damaged database aside.

    The spool stays: it is a file of its own with checksums, and goes into the fresh database.

    Returns:
        What must be told, in one or two sentences.
    """
    aside = set_aside(path, "damaged", LOG_COMPANIONS)
    beside(path, FLAG).unlink(missing_ok=True)
    text = (
        f"The database was damaged ({why}) and has been set aside as {aside}. "
        "A fresh one was begun: parts, heats and readings from before are only in the old file "
        "and in backups."
    )
    log.critical("%s", text)
    return text


class BackgroundCheck:
    """``PRAGMA quick_check`` on a thread of its own, after a stop that was not clean.

    Args:
        path: The database.
        found: Told the faults, if there are any.
    """

    def __init__(self, path: Path, found: Callable[[str], None]) -> None:
        self._path = path
        self._found = found
        self._connection: sqlite3.Connection | None = None
        self._stopped = False
        self._lock = threading.Lock()
        self.result: str | None = None
        """``"ok"``, or the faults; ``None`` while it runs or when it was stopped."""
        self._thread = threading.Thread(target=self._run, name="database check", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the end; whether it has come."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def stop(self) -> None:
        """Break it off, if it still runs."""
        with self._lock:
            self._stopped = True
            if self._connection is not None:
                self._connection.interrupt()
        if self._thread.ident is not None:
            self._thread.join()

    def _run(self) -> None:
        try:
            result = self._check()
        except sqlite3.Error as error:
            if self._stopped or not is_damage(error):
                log.warning("the check of %s was broken off: %s", self._path, error)
                return
            result = str(error)
        self.result = result
        if result == "ok":
            log.info("the database %s is whole after the unclean stop", self._path)
        else:
            self._found(result)

    def _check(self) -> str:
        with self._lock:
            if self._stopped:
                raise sqlite3.OperationalError("stopped")
            self._connection = sqlite3.connect(
                f"{self._path.as_uri()}?mode=ro", uri=True, check_same_thread=False
            )
        try:
            rows = self._connection.execute("PRAGMA quick_check(5)").fetchall()
            return "; ".join(row[0] for row in rows)
        finally:
            with self._lock:
                self._connection.close()
                self._connection = None
