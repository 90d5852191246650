"""What can go wrong with the store, in sentences."""

from __future__ import annotations

from sqlalchemy.exc import (
    DatabaseError,
    DataError,
    IntegrityError,
    InterfaceError,
    NotSupportedError,
    ProgrammingError,
)


class StoreError(Exception):
    """The store cannot do what was asked; the message is one sentence for a person."""


class StoreDamaged(StoreError):
    """The database is broken; it is marked, and its next opening sets it aside."""


class UnknownChannel(StoreError):
    """No channel of that name has ever been seen."""

    def __init__(self, channel: str) -> None:
        super().__init__(f"no channel is called {channel!r}")
        self.channel = channel


_FAULT_OF_THE_ROW = (
    IntegrityError,
    DataError,
    ProgrammingError,
    InterfaceError,
    NotSupportedError,
)


def is_storage_trouble(error: BaseException) -> bool:
    """The disk or a lock failed (try again later), rather than the row (never will)."""
    return isinstance(error, DatabaseError | OSError) and not isinstance(error, _FAULT_OF_THE_ROW)


def plain(error: BaseException) -> str:
    """The driver's own words, without SQLAlchemy's statement and link."""
    original = getattr(error, "orig", None)
    return str(original if original is not None else error).strip() or type(error).__name__
