"""Opening the database file: address, pragmas, transactions, migrations."""

from __future__ import annotations

import sqlite3
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from service.store.errors import StoreError

if TYPE_CHECKING:
    from alembic.config import Config

BUSY_MS = 250
"""How long a commit waits for somebody else's lock before the spool takes the batch [ms]."""

JOURNAL_SIZE_BYTES = 16 * 1024 * 1024
"""The write-ahead log is cut back to this after a checkpoint; it grows while a reader holds on."""

WRITING = (
    "journal_mode = WAL",
    # An acknowledged reading survives a power cut, if the disk is honest.
    "synchronous = FULL",
    f"journal_size_limit = {JOURNAL_SIZE_BYTES}",
    "foreign_keys = ON",
)

READING = ("query_only = ON",)

READ = {"begin": "BEGIN"}
"""Execution options of a transaction that only reads: it takes no write lock."""

MIGRATIONS = Path(__file__).parent / "migrations"


def database_path(url: str) -> Path:
    """The file that a database address names.

    Args:
        url: ``sqlite:///relative/path`` or ``sqlite:////absolute/path``.

    Raises:
        StoreError: Not an address, another kind of database, or no file.
    """
    try:
        parsed = make_url(url)
    except (ArgumentError, ValueError) as error:
        raise StoreError(
            f"the database address {url!r} cannot be read; write sqlite:///path/to/file.db"
        ) from error
    if parsed.get_backend_name() != "sqlite":
        raise StoreError(
            f"the database address {url!r} asks for {parsed.get_backend_name()}; "
            "only sqlite:///path/to/file.db is supported"
        )
    if parsed.database in (None, "", ":memory:") or parsed.query:
        raise StoreError(
            f"the database address {url!r} names no plain file; write sqlite:///path/to/file.db"
        )
    return Path(str(parsed.database)).expanduser().absolute()


def _engine(path: Path, begin: str, pragmas: tuple[str, ...]) -> Engine:
    engine = create_engine(
        f"sqlite:///{path}",
        pool_size=5,
        max_overflow=20,
        pool_timeout=10,
        connect_args={"timeout": BUSY_MS / 1000, "check_same_thread": False},
    )

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, _record: Any) -> None:
        # Python's own transaction handling begins late and deferred: a read that turns into a
        # write then fails at once on a lock, without waiting. We say BEGIN ourselves.
        connection.isolation_level = None
        if pragmas is WRITING and connection.execute("PRAGMA page_count").fetchone() == (0,):
            # Only takes effect before anything is written; later it would want the write lock.
            connection.execute("PRAGMA auto_vacuum = INCREMENTAL")
        for pragma in pragmas:
            connection.execute(f"PRAGMA {pragma}").fetchall()

    @event.listens_for(engine, "begin")
    def begin_transaction(connection: Connection) -> None:
        connection.exec_driver_sql(connection.get_execution_options().get("begin", begin))

    return engine


def writer_engine(path: Path) -> Engine:
    """For the one writer: every transaction takes the write lock at its beginning."""
    return _engine(path, "BEGIN IMMEDIATE", WRITING)


def reader_engine(path: Path) -> Engine:
    """For queries: cannot write, and never waits for the writer."""
    return _engine(path, "BEGIN", READING)


def _alembic_config(connection: Connection | None = None) -> Config:
    # Alembic is imported only where something is to be migrated: it would take a fifth of the
    # time that a start takes.
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


@cache
def newest_revision() -> str:
    """The revision of the schema in this version of heatwindow."""
    known = known_revisions()
    if not known:
        raise StoreError("this installation of heatwindow lacks its database migrations")
    return max(known)


def revision_of(engine: Engine) -> str | None:
    """The revision a database is at; ``None`` for an empty one."""
    with engine.connect().execution_options(**READ) as connection:
        tables = connection.exec_driver_sql(
            "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'alembic_version'"
        )
        if not tables.scalar_one():
            return None
        revision: str | None = connection.exec_driver_sql(
            "SELECT version_num FROM alembic_version"
        ).scalar()
        return revision


@cache
def known_revisions() -> set[str]:
    """Every revision this version can read or upgrade: the files' names begin with them, and rise
    in their order."""
    return {file.stem.partition("_")[0] for file in (MIGRATIONS / "versions").glob("[0-9]*_*.py")}


def migrate(engine: Engine) -> None:
    """Bring the schema up to this version, all or nothing.

    Raises:
        StoreError: The database was made by a newer version.
        DatabaseError: It cannot be read or written.
    """
    here = revision_of(engine)
    if here == newest_revision():
        return
    if here is not None and here not in known_revisions():
        raise StoreError(
            f"the database {engine.url.database} was made by a newer heatwindow "
            f"(its schema is {here!r}); install that version, or use another database"
        )
    from alembic import command  # noqa: PLC0415  # see _alembic_config

    with engine.begin() as connection:
        command.upgrade(_alembic_config(connection), "head")
