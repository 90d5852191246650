"""Opening: the file's settings, its schema, its one user, and what is refused."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import event

from service.store import engine as module
from service.store import (  # noqa: F401 - their tables join the metadata
    schema_outcome,
    schema_procedure,
)
from service.store.database import Store, StoreError
from service.store.engine import JOURNAL_SIZE_BYTES, database_path, newest_revision, writer_engine
from service.store.entries import Arrived
from service.store.schema import UNITS, metadata
from service.store.writer import Writer


def test_a_new_database_is_made_with_its_folder(tmp_path):
    path = tmp_path / "new" / "folder" / "shop.db"
    store = Store.open(f"sqlite:///{path}")
    assert path.is_file()
    assert store.next_seq() == 1
    assert store.last_mono_us() == 0
    assert list(store.events(0)) == []
    assert store.channel_names() == []
    store.close()


def test_the_migrations_build_exactly_the_tables_of_the_code(store):
    with store.write_side.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_code_tables_spell_out_what_the_rows_hold(rows, store):
    assert dict(rows("SELECT id, name FROM unit")) == UNITS
    assert rows("SELECT code, name FROM quality ORDER BY code") == [
        (0, "good"),
        (1, "suspect"),
        (2, "bad"),
    ]


def test_settings_kept_in_the_file(rows, store):
    assert rows("PRAGMA auto_vacuum") == [(2,)]  # 2 is "incremental"
    assert rows("PRAGMA journal_mode") == [("wal",)]
    (sql,) = rows("SELECT sql FROM sqlite_schema WHERE name = 'reading'")[0]
    assert "WITHOUT ROWID" in sql
    assert "PRIMARY KEY (channel_id, t_us)" in sql


def test_settings_of_the_writing_connection(store):
    with store.write_side.engine.connect() as connection:
        asked = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("synchronous", "foreign_keys", "journal_size_limit", "busy_timeout")
        }
    assert asked == {
        "synchronous": 2,  # 2 is "full"
        "foreign_keys": 1,
        "journal_size_limit": JOURNAL_SIZE_BYTES,
        "busy_timeout": 250,
    }


def test_a_writing_transaction_takes_the_lock_at_its_beginning(store, path):
    with (
        store.write_side.engine.begin(),
        contextlib.closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as other,
        pytest.raises(sqlite3.OperationalError, match="locked"),
    ):
        other.execute("BEGIN IMMEDIATE")


def test_a_reading_connection_cannot_write(store):
    with store._reading.connect() as connection, pytest.raises(Exception, match="readonly"):
        connection.exec_driver_sql("DELETE FROM channel")


def test_a_second_service_is_refused_and_the_first_one_named(store, url, path):
    with pytest.raises(StoreError) as refused:
        Store.open(url)
    assert str(path) in str(refused.value)
    assert f"process {os.getpid()}" in str(refused.value)


def test_a_second_process_is_refused(store, url):
    code = (
        "import sys\n"
        "from service.store.database import Store, StoreError\n"
        "try:\n    Store.open(sys.argv[1])\n"
        "except StoreError as error:\n    sys.exit(str(error))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, url], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 1
    assert "in use by another heatwindow" in done.stderr


def test_after_closing_the_next_one_may_open(url):
    for _ in range(2):
        Store.open(url).close()


def test_a_failed_opening_lets_go_of_the_lock(tmp_path):
    path = tmp_path / "shop.db"
    path.write_bytes(b"this is no database, but long enough to look like one" * 40)
    for _ in range(2):
        with pytest.raises(StoreError, match="not a database"):
            Store.open(f"sqlite:///{path}")


def test_a_newer_database_is_refused_and_not_touched(url, path, rows):
    with contextlib.closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = 'from the future'")
    with pytest.raises(StoreError, match=r"made by a newer heatwindow.*from the future"):
        Store.open(url)
    assert rows("SELECT version_num FROM alembic_version") == [("from the future",)]


@pytest.mark.parametrize(
    ("address", "complaint"),
    [
        ("", "cannot be read"),
        ("shop.db", "cannot be read"),
        ("sqlite://", "names no plain file"),
        ("sqlite:///:memory:", "names no plain file"),
        ("sqlite:////tmp/a.db?mode=ro", "names no plain file"),
        ("postgresql://localhost/shop", "asks for postgresql"),
    ],
)
def test_an_address_that_will_not_do_is_named(address, complaint):
    with pytest.raises(StoreError, match=complaint) as refused:
        database_path(address)
    assert repr(address) in str(refused.value)


def test_an_opening_stopped_in_the_middle_of_the_schema_leaves_nothing(tmp_path, monkeypatch):
    path = tmp_path / "shop.db"
    made = []

    def stop_half_way(connection, cursor, statement, *_):
        made.append(statement)
        if "CREATE TABLE journal" in statement:
            raise KeyboardInterrupt

    def watched(where):
        engine = writer_engine(where)
        event.listen(engine, "before_cursor_execute", stop_half_way)
        return engine

    monkeypatch.setattr(module, "writer_engine", watched)
    with pytest.raises(KeyboardInterrupt):
        Store.open(f"sqlite:///{path}")
    monkeypatch.undo()
    assert any("CREATE TABLE reading" in statement for statement in made)
    with contextlib.closing(sqlite3.connect(path)) as connection:
        assert connection.execute("SELECT name FROM sqlite_schema").fetchall() == []
    Store.open(f"sqlite:///{path}").close()


def test_opened_to_read_beside_a_running_service(store, url, shop):
    item = shop.reading()
    store.write_side.keeper.keep([Arrived((item,))])
    beside = Store.open_to_read(url)
    assert list(beside.readings()) == [item]
    with pytest.raises(StoreError, match="opened to read"):
        Writer(beside)
    beside.close()


def test_opened_to_read_needs_a_database(tmp_path):
    with pytest.raises(StoreError, match="there is no database"):
        Store.open_to_read(f"sqlite:///{tmp_path / 'none.db'}")


def test_opened_to_read_needs_this_versions_schema(tmp_path):
    path = tmp_path / "empty.db"
    sqlite3.connect(path).close()
    path.touch()
    with pytest.raises(StoreError, match=newest_revision()):
        Store.open_to_read(f"sqlite:///{path}")


def test_an_open_database_that_is_locked_elsewhere_still_opens(url, locked):
    with locked():
        Store.open(url).close()


def test_the_database_path_may_have_odd_signs(tmp_path):
    path = Path(tmp_path / "100 % heiß" / "büro #1.db")
    store = Store.open(f"sqlite:///{path}")
    store.close()
    assert path.is_file()


def test_the_names_of_the_migrations_say_what_alembic_says():
    """At a start they are read from the files' names, without importing Alembic."""
    scripts = ScriptDirectory.from_config(module._alembic_config())
    in_order = [script.revision for script in scripts.walk_revisions()][::-1]
    assert sorted(module.known_revisions()) == in_order
    assert module.newest_revision() == scripts.get_current_head()
