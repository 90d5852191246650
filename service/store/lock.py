"""One service for one database: a lock that the operating system drops when the holder dies.

A pid file would outlive a kill and be believed after the pid has gone to another program; an
advisory lock on an open file cannot.
"""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from service.store.errors import StoreError

CLOSED = b"closed\n"
"""What the file holds after a clean stop; while the lock is held, the holder's process number."""


class ServiceLock:
    """Holds ``<database>.lock`` from construction to ``release``.

    Args:
        database: The database file the lock stands for.

    Raises:
        StoreError: Another service holds it, or the lock file cannot be made.
    """

    def __init__(self, database: Path) -> None:
        self.path = database.with_name(database.name + ".lock")
        try:
            self._fd = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise StoreError(
                f"cannot make the lock file {self.path}: {error.strerror}; "
                "is the folder there and writable?"
            ) from error
        try:
            # flock, not lockf: it belongs to this open file, so a second opening in the same
            # process is refused too, and closing an unrelated handle does not drop it.
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = self._holder()
            os.close(self._fd)
            if isinstance(error, BlockingIOError):
                raise StoreError(
                    f"the database {database} is in use by another heatwindow{holder}; "
                    "stop that one first, or give this one a database of its own"
                ) from error
            raise StoreError(
                f"cannot lock {self.path}: {error.strerror}; "
                "the database must be on a local disk, not a network share"
            ) from error
        self._before = os.pread(self._fd, 20, 0)
        self.used_before = bool(self._before)
        """A service has had this database open before."""
        self.died = self.used_before and self._before != CLOSED
        """... and did not close it: killed, or the power failed."""
        self._write(f"{os.getpid()}\n".encode("ascii"))

    def _write(self, state: bytes) -> None:
        os.ftruncate(self._fd, 0)
        os.pwrite(self._fd, state, 0)

    def _holder(self) -> str:
        try:
            pid = os.pread(self._fd, 20, 0).decode("ascii", "replace").strip()
        except OSError:
            return ""
        return f" (process {pid})" if pid.isdigit() else ""

    def release(self, *, used: bool = True) -> None:
        """Let the next service in. The file stays: removing it would race with an opener.

        Args:
            used: The database was opened; otherwise the lock is as if nobody had come.
        """
        if self._fd >= 0:
            self._write(CLOSED if used else self._before)
            os.close(self._fd)
            self._fd = -1
