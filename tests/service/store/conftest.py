"""A shop with a real database file, and ways to hold it up."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from sqlalchemy import Executable, event

from service.judge.actions import Action
from service.judge.events import Acted, Stamp
from service.readings import Quality, Reading
from service.store.database import Store
from service.store.writer import Writer

NOON_US = 1_790_000_000_000_000


@dataclass
class Shop:
    """Stamps readings and actions as the collector does."""

    seq: int = 1
    mono_us: int = NOON_US
    offset_us: int = 0

    def reading(self, value: float | None = 20.0, **given: object) -> Reading:
        self.mono_us += 1000
        arrived_us = self.mono_us + self.offset_us
        made = {
            "channel": "TC1",
            "unit": "Cel",
            "value": value,
            "quality": Quality.GOOD if value is not None else Quality.BAD,
            "reason": None if value is not None else "open-circuit",
            "t_us": arrived_us,
            "arrived_us": arrived_us,
            "mono_us": self.mono_us,
            "seq": self.seq,
            "timed": False,
        } | given
        self.seq += 1
        return Reading(**made)  # type: ignore[arg-type]

    def readings(self, count: int, **given: object) -> list[Reading]:
        return [self.reading(float(index), **given) for index in range(count)]

    def acted(self, action: Action) -> Acted:
        self.mono_us += 1000
        acted = Acted(Stamp(self.seq, self.mono_us, self.mono_us + self.offset_us), action)
        self.seq += 1
        return acted


@dataclass
class Told:
    """Collects what the writer says about recording."""

    said: list[tuple[bool, str]] = field(default_factory=list)

    def __call__(self, recording: bool, detail: str) -> None:
        self.said.append((recording, detail))


@pytest.fixture
def shop() -> Shop:
    return Shop()


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty database with its tables, to be copied: quicker than making it each time."""
    path = tmp_path_factory.mktemp("template") / "shop.db"
    Store.open(f"sqlite:///{path}").close()
    return path


@pytest.fixture
def path(tmp_path: Path, template: Path) -> Path:
    return Path(shutil.copy(template, tmp_path / "shop.db"))


@pytest.fixture
def url(path: Path) -> str:
    return f"sqlite:///{path}"


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    opened = Store.open(url)
    yield opened
    opened.close()


@pytest.fixture
def asked(store: Store) -> list[str]:
    """The plan of every query that reads ``reading``, as they are made."""
    plans: list[str] = []

    def explain(connection, cursor, statement, parameters, context, many):  # type: ignore[no-untyped-def]
        if "FROM reading" in statement and not statement.startswith("EXPLAIN"):
            found = cursor.connection.execute(f"EXPLAIN QUERY PLAN {statement}", parameters)
            plans.append("; ".join(row[3] for row in found))

    for engine in (store.write_side.engine, store._reading):
        event.listen(engine, "before_cursor_execute", explain)
    return plans


@pytest.fixture
def told() -> Told:
    return Told()


@pytest.fixture
def writer(store: Store, told: Told) -> Iterator[Writer]:
    running = Writer(store, on_recording=told, not_recording_after_s=0.6)
    running.start()
    yield running
    running.stop(10)


@pytest.fixture
def eventually() -> Callable[[Callable[[], object]], None]:
    """Wait for a condition, with a deadline that only a failure reaches."""

    def wait(condition: Callable[[], object], within_s: float = 20.0) -> None:
        until_s = time.monotonic() + within_s
        while not condition():
            assert time.monotonic() < until_s, "it did not come true in time"
            time.sleep(0.005)

    return wait


@pytest.fixture
def locked(path: Path) -> Callable[[], contextlib.AbstractContextManager[None]]:
    """Hold the database's write lock from another connection."""

    @contextlib.contextmanager
    def hold() -> Iterator[None]:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        try:
            yield
        finally:
            other.execute("ROLLBACK")
            other.close()

    return hold


@pytest.fixture
def rows(path: Path) -> Callable[..., list[tuple[object, ...]]]:
    """Look into the file with another program's eyes: the plain sqlite3 module."""

    def query(sql: str, *values: object) -> list[tuple[object, ...]]:
        with contextlib.closing(sqlite3.connect(path)) as connection:
            return connection.execute(sql, values).fetchall()

    return query


@pytest.fixture
def plan(store: Store) -> Callable[[Executable], str]:
    """How SQLite would go about a query: nothing may read the whole of ``reading``."""

    def explain(query: Executable) -> str:
        with store.write_side.engine.connect() as connection:
            sql = str(
                query.compile(dialect=connection.dialect, compile_kwargs={"literal_binds": True})
            )
            steps = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}").fetchall()
        return "; ".join(step[3] for step in steps)

    return explain
