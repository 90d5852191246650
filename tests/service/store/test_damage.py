"""Backup, restore, upgrade, and what becomes of a damaged file."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import threading
from pathlib import Path

import pytest
from alembic import command

from service.judge.actions import BeginPurge
from service.readings import Quality
from service.store import damage, engine, files
from service.store.backup import backup, restore, verify
from service.store.database import Store, StoreDamaged, StoreError
from service.store.entries import Arrived
from service.store.writer import Writer

NOON_US = 1_790_000_000_000_000


@pytest.fixture
def filled(url, shop):
    """A closed database with some readings; they are given back."""
    store = Store.open(url)
    items = shop.readings(3000)
    store.write_side.keeper.keep([Arrived(tuple(items))])
    store.close()
    return items


@pytest.fixture
def shut_uncleanly(path):
    """Make the database look as after a kill."""

    def do():
        Path(f"{path}.lock").write_text("99999\n")

    return do


def spoil(path, page):
    """Overwrite a page in the middle of the file."""
    with path.open("r+b") as file:
        file.seek(page * 4096)
        file.write(b"\xa5" * 4096)


def root_page(path, table):
    with contextlib.closing(sqlite3.connect(path)) as connection:
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)
        ).fetchone()
    return page - 1


def test_a_backup_under_load_holds_what_was_committed_before_it(url, store, shop, tmp_path):
    writer = Writer(store)
    writer.start()
    stop = threading.Event()

    def load():
        while not stop.is_set():
            writer.put_readings(shop.readings(20))
            stop.wait(0.001)

    before = shop.readings(500)
    writer.put_readings(before)
    assert writer.flush(10)
    loader = threading.Thread(target=load)
    loader.start()
    copied = backup(url, tmp_path / "copy.db")
    stop.set()
    loader.join()
    assert writer.stop(20)
    assert copied.readings >= 500
    assert copied.schema == engine.newest_revision()
    restored = Store.open(f"sqlite:///{tmp_path / 'copy.db'}")
    found = list(restored.readings())
    restored.close()
    assert len(found) == copied.readings
    assert found == list(store.readings(to_seq=found[-1].seq))
    assert list(tmp_path.glob("*.part*")) == []


def test_a_backup_never_overwrites_and_says_what_is_wrong(url, filled, tmp_path):
    taken = tmp_path / "taken.db"
    taken.write_text("mine")
    for address, target, complaint in [
        (url, taken, "exists already"),
        (url, tmp_path / "no folder" / "a.db", "no folder"),
        (f"sqlite:///{tmp_path / 'none.db'}", tmp_path / "b.db", "there is no database"),
    ]:
        with pytest.raises(StoreError, match=complaint):
            backup(address, target)
    assert taken.read_text() == "mine"


def test_a_backup_of_a_damaged_database_is_not_given_out(url, path, filled, tmp_path):
    spoil(path, root_page(path, "reading"))
    with pytest.raises(StoreError, match=r"failed|damaged"):
        backup(url, tmp_path / "copy.db")
    assert not (tmp_path / "copy.db").exists()


def test_a_backup_needs_room(url, filled, tmp_path, monkeypatch):
    usage = shutil.disk_usage(tmp_path)._replace(free=1000)
    monkeypatch.setattr(files.shutil, "disk_usage", lambda folder: usage)
    with pytest.raises(StoreError, match="MB free"):
        backup(url, tmp_path / "copy.db")


def test_what_waits_in_the_spool_goes_with_the_backup(url, store, shop, locked, tmp_path):
    writer = Writer(store)
    writer.start()
    with locked():
        items = shop.readings(10)
        writer.put_readings(items)
        assert writer.stop(10)
        backup(url, tmp_path / "copy.db")
    again = Store.open(f"sqlite:///{tmp_path / 'copy.db'}")
    assert list(again.readings()) == items
    again.close()


def test_restore_sets_aside_what_was_there(url, path, filled, tmp_path, shop):
    backup(url, tmp_path / "copy.db")
    store = Store.open(url)
    store.write_side.keeper.keep([Arrived((shop.reading(1.0),))])
    with pytest.raises(StoreError, match="in use by another heatwindow"):
        restore(tmp_path / "copy.db", url)
    store.close()
    done = restore(tmp_path / "copy.db", url)
    assert done.readings == len(filled)
    again = Store.open(url)
    assert list(again.readings()) == filled
    again.close()
    assert verify(done.set_aside).readings == len(filled) + 1


def test_a_restore_instead_of_a_damaged_database_is_not_set_aside_for_it(
    url, path, filled, tmp_path
):
    backup(url, tmp_path / "copy.db")
    store = Store.open(url)
    store.damage_found("a page is malformed")
    store.close()
    restore(tmp_path / "copy.db", url)
    again = Store.open(url)
    assert list(again.readings()) == filled
    assert again.notices() == []
    again.close()


def test_restore_into_an_empty_place(filled, url, tmp_path):
    backup(url, tmp_path / "copy.db")
    elsewhere = f"sqlite:///{tmp_path / 'new' / 'shop.db'}"
    assert restore(tmp_path / "copy.db", elsewhere).set_aside is None
    again = Store.open(elsewhere)
    assert list(again.readings()) == filled
    again.close()


def test_a_restore_that_cannot_be_done_changes_nothing(url, path, filled, tmp_path):
    backup(url, tmp_path / "copy.db")
    spoil(tmp_path / "copy.db", root_page(tmp_path / "copy.db", "reading"))
    other = tmp_path / "other.db"
    sqlite3.connect(other).close()
    text = tmp_path / "text.db"
    text.write_text("a shopping list")
    for source in (tmp_path / "copy.db", other, text, tmp_path / "none.db"):
        with pytest.raises(StoreError, match=source.name):
            restore(source, url)
    store = Store.open(url)
    assert list(store.readings()) == filled
    assert store.notices() == []
    store.close()


def test_after_a_clean_stop_nothing_is_checked(url, filled):
    store = Store.open(url)
    assert store.check is None
    store.close()


def test_after_an_unclean_stop_the_file_is_checked_in_the_background(url, filled, shut_uncleanly):
    shut_uncleanly()
    store = Store.open(url)
    assert store.check.wait(20)
    assert store.check.result == "ok"
    assert store.notices() == []
    store.close()


def test_closing_breaks_the_check_off(url, filled, shut_uncleanly):
    shut_uncleanly()
    for _ in range(5):
        store = Store.open(url)
        store.close()
        assert store.check is None or store.check.wait(0)


def test_damage_found_by_the_check_is_told_and_the_file_set_aside(
    url, path, filled, shut_uncleanly, rows
):
    spoil(path, root_page(path, "reading"))
    shut_uncleanly()
    store = Store.open(url)
    # The writer finds it too, as soon as it writes there; what comes meanwhile is in the spool.
    assert store.check.wait(20)
    assert store.check.result != "ok"
    (told,) = store.notices()
    assert "damaged" in told.text
    store.close()

    fresh = Store.open(url)
    (told,) = fresh.notices()
    assert "set aside" in told.text
    assert list(fresh.readings()) == []
    (aside,) = path.parent.glob("shop.db.damaged-*")
    assert str(aside) in told.text
    fresh.notice_seen(told.id)
    assert fresh.notices() == []
    fresh.close()
    Store.open(url).close()
    assert len(list(path.parent.glob("shop.db.damaged-*"))) == 1


def test_a_file_damaged_at_its_beginning_is_set_aside_at_once(url, path, filled):
    spoil(path, 0)
    store = Store.open(url)
    assert "not a database" in store.notices()[0].text
    store.close()
    again = Store.open(url)
    assert len(again.notices()) == 1, "told until somebody has seen it"
    again.close()


def test_a_file_that_has_become_empty_is_set_aside(url, path, filled):
    path.write_bytes(b"")
    store = Store.open(url)
    assert "empty" in store.notices()[0].text
    store.close()


def alter(path, *statements):
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.executescript(";".join(statements))
        connection.commit()


@pytest.fixture
def acted(url, shop):
    """A closed database with one action."""
    store = Store.open(url)
    store.write_side.keeper.keep([shop.acted(BeginPurge(heat_id=1))])
    store.close()


def test_a_journal_that_no_version_wrote_is_damage(url, path, acted):
    alter(path, """UPDATE journal SET body = '{"kind":"begin p'""")
    store = Store.open(url)
    with pytest.raises(StoreDamaged, match=r"action \d+ \(begin purge\) .* cannot be read"):
        list(store.journal())
    assert "damaged" in store.notices()[0].text
    store.close()
    fresh = Store.open(url)
    assert list(fresh.journal()) == []
    assert "set aside" in fresh.notices()[0].text
    fresh.close()


def test_an_action_of_a_newer_version_is_refused_and_nothing_is_set_aside(url, path, acted):
    alter(path, """UPDATE journal SET body = '{"kind":"polish"}', kind = 'polish'""")
    store = Store.open(url)
    with pytest.raises(StoreError, match="a newer heatwindow may have written it") as refused:
        list(store.journal())
    assert not isinstance(refused.value, StoreDamaged)
    assert store.notices() == []
    store.close()


def test_a_command_beside_the_service_marks_nothing(url, path, acted):
    alter(path, "UPDATE journal SET body = '{'")
    store = Store.open_to_read(url)
    with pytest.raises(StoreError, match="cannot be read"):
        list(store.journal())
    store.close()
    assert not path.with_name("shop.db.damaged").exists()


def test_a_row_with_an_unknown_quality_is_not_believed(url, path, filled):
    alter(path, "UPDATE reading SET quality = 9 WHERE seq = 7")
    store = Store.open(url)
    found = list(store.readings())
    store.close()
    assert len(found) == len(filled)
    (altered,) = [each for each in found if each.seq == 7]
    assert altered.quality is Quality.BAD
    assert "unknown quality 9" in str(altered.reason)


def test_somebody_elses_file_is_left_alone(tmp_path):
    path = tmp_path / "list.db"
    path.write_text("a shopping list, " * 300)
    for _ in range(2):
        with pytest.raises(StoreError, match="not a database"):
            Store.open(f"sqlite:///{path}")
    assert path.read_text() == "a shopping list, " * 300


def test_damage_found_while_writing_costs_no_reading(url, path, filled, shop, told, eventually):
    spoil(path, root_page(path, "journal"))
    spoil(path, root_page(path, "reading"))
    store = Store.open(url)
    writer = Writer(store, on_recording=told, not_recording_after_s=0.3)
    writer.start()
    acks = []
    items = shop.readings(20)
    for item in items:
        writer.put_readings([item], lambda seq=item.seq: acks.append(seq))
    eventually(lambda: len(acks) == 20)
    eventually(lambda: told.said)
    assert "malformed" in told.said[0][1]
    assert "damaged" in store.notices()[0].text
    assert writer.stop(10)
    store.close()
    fresh = Store.open(url)
    assert list(fresh.readings()) == items
    fresh.close()


def test_an_upgrade_is_preceded_by_a_backup(url, path, filled, tmp_path, monkeypatch):
    here, newer = engine.newest_revision(), tmp_path / "migrations"
    shutil.copytree(engine.MIGRATIONS, newer)
    (newer / "versions" / "9999_more.py").write_text(
        "from alembic import op\nimport sqlalchemy as sa\n"
        f"revision, down_revision = '9999', {here!r}\n"
        "def upgrade():\n    op.create_table('more', sa.Column('id', sa.Integer()))\n"
    )
    monkeypatch.setattr(engine, "MIGRATIONS", newer)
    engine.newest_revision.cache_clear()
    engine.known_revisions.cache_clear()
    try:
        store = Store.open(url)
        assert list(store.readings()) == filled
        store.close()
        (copy,) = path.parent.glob("shop.db.before-9999-*")
        copied = verify(copy)
        assert (copied.schema, copied.readings) == (here, len(filled))
        assert verify(path).schema == "9999"
    finally:
        engine.newest_revision.cache_clear()
        engine.known_revisions.cache_clear()


@pytest.mark.parametrize("old", sorted(engine.known_revisions() - {engine.newest_revision()}))
def test_a_database_of_each_earlier_version_is_upgraded_with_all_its_rows(
    old, act_of_old, tmp_path
):
    path = tmp_path / "old.db"
    writing = engine.writer_engine(path)
    with writing.begin() as connection:
        command.upgrade(engine._alembic_config(connection), old)
        connection.exec_driver_sql("INSERT INTO channel (id, name, unit_id) VALUES (1, 'TC1', 1)")
        for seq in range(1, 4):
            connection.exec_driver_sql(
                "INSERT INTO reading (channel_id, t_us, value, quality, delay_us, seq, unit_id, "
                f"flags) VALUES (1, {NOON_US + seq}, {seq}, 0, 0, {seq}, 1, 0)"
            )
        connection.exec_driver_sql(f"INSERT INTO seq_mark VALUES (1, 0, {NOON_US})")
        connection.exec_driver_sql(
            "INSERT INTO journal VALUES (4, ?, ?, ?, ?)", (NOON_US + 9, NOON_US + 9, *act_of_old)
        )
    writing.dispose()
    store = Store.open(f"sqlite:///{path}")
    assert [(each.channel, each.value) for each in store.readings()] == [
        ("TC1", 1.0),
        ("TC1", 2.0),
        ("TC1", 3.0),
    ]
    assert [acted.action.kind for acted in store.journal()] == ["create part"]
    store.close()
    (copy,) = path.parent.glob(f"old.db.before-{engine.newest_revision()}-*")
    copied = verify(copy)
    assert (copied.schema, copied.readings, copied.actions) == (old, 3, 1)
    assert restore(copy, f"sqlite:///{tmp_path / 'back.db'}").schema == old


@pytest.fixture
def act_of_old():
    """An action as the first version wrote it."""
    return "create part", '{"kind":"create part","part_id":1,"facts":{"name":"manifold"}}'


def test_what_is_damage_and_what_is_not(path, locked):
    with contextlib.closing(sqlite3.connect(path, timeout=0)) as connection:
        with locked(), pytest.raises(sqlite3.OperationalError) as busy:
            connection.execute("DELETE FROM journal")
        with pytest.raises(sqlite3.OperationalError) as wrong:
            connection.execute("SELECT nothing FROM nowhere")
    assert not damage.is_damage(busy.value)
    assert not damage.is_damage(wrong.value)
    assert not damage.is_damage(OSError(5, "Input/output error"))
