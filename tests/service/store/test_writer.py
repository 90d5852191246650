"""The writer: acknowledgements, locks, full disks, stuck disks, and the way back."""

from __future__ import annotations

import contextlib
import logging
import threading
import time

import pytest
from sqlalchemy import event

from service.judge.actions import BeginHeat, CreatePart, PartFacts
from service.judge.events import AlarmChange, Outcome
from service.store.database import Store
from service.store.entries import Arrived
from service.store.pending import OVERFLOW, Pending
from service.store.writer import Writer

PART = CreatePart(part_id=3, facts=PartFacts(name="pump engine manifold"))


@pytest.fixture
def put(writer, shop):
    """Put readings one by one; gives them back, and collects acknowledgements in ``put.acks``."""

    def one_by_one(count, **given):
        items = shop.readings(count, **given)
        for item in items:
            writer.put_readings([item], lambda seq=item.seq: one_by_one.acks.append(seq))
        return items

    one_by_one.acks = []
    return one_by_one


@pytest.fixture
def full(store):
    """Let the database file grow no further."""

    pages = [2**30]

    def limit(connection):
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages[0]}")

    event.listen(store.write_side.engine, "begin", limit)

    @contextlib.contextmanager
    def hold():
        pages[0] = 1  # SQLite makes that "no more than there are"
        try:
            yield
        finally:
            pages[0] = 2**30

    return hold


def seqs(items):
    return [item.seq for item in items]


def test_readings_are_committed_and_acknowledged_in_order(store, writer, put, told):
    items = put(500)
    assert writer.flush(10)
    assert put.acks == seqs(items)
    assert list(store.readings()) == items
    status = writer.status()
    assert (status.committed, status.duplicates, status.lost, status.queued) == (500, 0, 0, 0)
    assert status.recording
    assert told.said == []


def test_an_acknowledgement_means_that_another_program_sees_the_row(writer, shop, rows, eventually):
    seen = []
    count = "SELECT count(*) FROM reading"
    writer.put_readings(shop.readings(3), lambda: seen.append(rows(count)[0][0]))
    eventually(lambda: seen)
    assert seen == [3]


def test_readings_that_came_together_are_acknowledged_together(writer, shop, eventually):
    acks = []
    writer.put_readings(shop.readings(7), lambda: acks.append(7))
    writer.put_readings([], lambda: acks.append(0))
    eventually(lambda: acks == [7, 0])


def test_an_acknowledgement_that_raises_stops_nothing(store, writer, shop, put, caplog):
    def gone():
        raise ConnectionError("the connection is gone")

    first = shop.reading()
    writer.put_readings([first], gone)
    items = put(5)
    assert writer.flush(10)
    assert put.acks == seqs(items)
    assert list(store.readings()) == [first, *items]
    assert "an acknowledgement failed" in caplog.text


def test_actions_say_when_they_are_recorded(store, writer, shop, rows, eventually):
    recorded = []
    acted = shop.acted(PART)
    writer.put_action(acted, lambda: recorded.append(rows("SELECT name FROM part")))
    eventually(lambda: recorded)
    assert recorded == [[("pump engine manifold",)]]


def test_second_deliveries_are_counted(writer, shop):
    items = [shop.reading(1.0, timed=True) for _ in range(4)]
    writer.put_readings(items)
    writer.put_readings([item._replace(seq=item.seq + 50) for item in items])
    writer.put_readings([shop.reading(2.0, timed=True, t_us=items[0].t_us)])
    assert writer.flush(10)
    status = writer.status()
    assert (status.committed, status.duplicates, status.moved) == (5, 4, 1)


def test_a_lock_held_elsewhere(store, writer, put, told, locked, eventually, shop, rows):
    before = put(5)
    assert writer.flush(10)
    with locked():
        during = put(50)
        acted = shop.acted(PART)
        recorded = []
        writer.put_action(acted, lambda: recorded.append(True))
        writer.put_outcome(
            Outcome([AlarmChange(1, "no data", 3, "TC1", "returned", 1, 2, 3, "x", False)])
        )
        # Acknowledged all the same, because the spool file has them.
        eventually(lambda: put.acks == seqs(before + during))
        eventually(lambda: recorded)
        assert store.spool
        eventually(lambda: told.said)
        assert told.said == [(False, "database is locked")]
        status = writer.status()
        assert not status.recording
        assert "locked" in status.detail
        assert status.spooled == 50
        assert time.monotonic() - status.last_progress < 5
        # The store that is read meanwhile knows of them too.
        assert seqs(store.readings()) == seqs(before + during)
        later = put(5)
        eventually(lambda: put.acks == seqs(before + during + later))
    assert writer.flush(10)
    eventually(lambda: len(told.said) == 2)
    assert told.said[1] == (True, "")
    assert list(store.readings()) == before + during + later
    assert list(store.journal()) == [acted]
    assert rows("SELECT text FROM alarm_change") == [("x",)]
    assert not store.spool
    assert writer.status().recording
    assert writer.status().detail == ""


def test_a_short_lock_is_no_news(store, shop, told, locked):
    writer = Writer(store, on_recording=told, not_recording_after_s=60)
    writer.start()
    items = shop.readings(3)
    with locked():
        writer.put_readings(items)
    assert writer.flush(10)
    assert list(store.readings()) == items
    assert writer.stop(10)
    assert told.said == []


def test_a_full_disk(store, writer, put, told, full, eventually, rows):
    before = put(5)
    assert writer.flush(10)
    with full():
        during = put(1000, channel="TC2", reason="so that the pages run out " * 10)
        eventually(lambda: put.acks == seqs(before + during))
        eventually(lambda: told.said)
        assert "full" in told.said[0][1]
    assert writer.flush(10)
    eventually(lambda: told.said[-1] == (True, ""))
    assert list(store.readings()) == before + during
    assert rows("PRAGMA integrity_check") == [("ok",)]


def test_no_file_takes_anything(store, writer, put, told, locked, eventually, shop):
    spool_path = store.spool.path
    store.spool.path = spool_path.parent / "gone" / "shop.db.spool"
    with locked():
        items = put(50)
        acted = shop.acted(PART)
        recorded = []
        writer.put_action(acted, lambda: recorded.append(True))
        # First told, then acknowledged out of memory, so that the broker goes on.
        eventually(lambda: told.said)
        assert told.said[0][0] is False
        eventually(lambda: put.acks == seqs(items))
        assert writer.status().queued == 50
        assert not recorded, "an action is recorded only when a file has it"
        store.spool.path = spool_path
        eventually(lambda: recorded)
        assert writer.status().queued == 0
    assert writer.flush(10)
    assert list(store.readings()) == items
    assert list(store.journal()) == [acted]
    assert writer.status().lost == 0


def test_what_memory_cannot_hold_is_a_counted_gap(store, told, shop, locked, eventually, rows):
    writer = Writer(store, on_recording=told, spool_readings=100, not_recording_after_s=0.3)
    writer.start()
    store.spool.path = store.spool.path.parent / "gone" / "shop.db.spool"
    acks = []
    with locked():
        items = shop.readings(150)
        for item in items:
            writer.put_readings([item], lambda seq=item.seq: acks.append(seq))
        actions = [shop.acted(PART), shop.acted(BeginHeat(heat_id=1, part_id=3))]
        for acted in actions:
            writer.put_action(acted)
        eventually(lambda: acks == seqs(items))
        assert told.said[0][0] is False
        assert writer.status().lost == 50
    assert writer.flush(10)
    eventually(lambda: told.said[-1][0] is True)
    assert list(store.readings()) == items[:100]
    assert list(store.journal()) == actions
    assert rows("SELECT from_us, to_us, readings, why FROM gap") == [
        (items[100].arrived_us, items[149].arrived_us, 50, OVERFLOW)
    ]
    assert writer.stop(10)


def test_a_disk_that_does_not_answer(store, writer, put, told, eventually, monkeypatch):
    answer = threading.Event()
    keep = store.write_side.keeper.keep

    def stuck(entries):
        answer.wait(30)
        return keep(entries)

    monkeypatch.setattr(store.write_side.keeper, "keep", stuck)
    started_s = time.monotonic()
    items = put(20)
    eventually(lambda: told.said)
    assert told.said == [(False, "the disk does not answer")]
    eventually(lambda: put.acks == seqs(items))
    assert writer.status().last_progress <= started_s + 1
    answer.set()
    assert writer.flush(10)
    eventually(lambda: told.said[-1] == (True, ""))
    assert list(store.readings()) == items


def test_a_fault_of_ours_in_the_writer_does_not_end_it(store, writer, put, monkeypatch, caplog):
    keeper = store.write_side.keeper
    keep, faults = keeper.keep, []

    def faulty(entries):
        if len(faults) < 3:
            faults.append(1)
            raise ZeroDivisionError("a fault of ours")
        return keep(entries)

    monkeypatch.setattr(keeper, "keep", faulty)
    items = put(10)
    assert writer.flush(20)
    assert list(store.readings()) == items
    reports = [record for record in caplog.records if "takes nothing" in record.getMessage()]
    assert len(reports) == 1, "told once, not each time"
    assert reports[0].exc_info is not None


def test_repeated_failures_do_not_fill_the_log(
    store, writer, put, locked, eventually, monkeypatch, caplog
):
    caplog.set_level(logging.INFO)
    attempts = []
    keep = store.write_side.keeper.keep
    monkeypatch.setattr(
        store.write_side.keeper, "keep", lambda entries: attempts.append(1) or keep(entries)
    )
    with locked():
        put(5)
        eventually(lambda: len(attempts) >= 3)
    assert writer.flush(10)
    assert sum("takes nothing" in record.getMessage() for record in caplog.records) == 1


def test_stopping_brings_everything_to_safety(store, writer, put):
    items = put(2000)
    assert writer.stop(20)
    assert put.acks == seqs(items)
    assert list(store.readings()) == items


def test_stopping_while_locked_leaves_the_rest_in_the_spool(url, store, writer, put, locked):
    with locked():
        items = put(30)
        assert writer.stop(20)
        assert put.acks == seqs(items)
    store.close()
    again = Store.open(url)
    assert list(again.readings()) == items
    assert not again.spool
    again.close()


def test_stopping_says_when_something_is_lost(store, writer, put, locked, caplog):
    store.spool.path = store.spool.path.parent / "gone" / "shop.db.spool"
    with locked():
        put(3)
        assert not writer.stop(20)
    assert "3 readings could be written nowhere" in caplog.text


def test_a_spool_that_could_not_be_recovered_at_opening(url, store, shop, locked, told, eventually):
    first = Writer(store)
    first.start()
    with locked():
        items = shop.readings(10)
        acted = shop.acted(PART)
        first.put_readings(items)
        first.put_action(acted)
        assert first.stop(10)
        store.close()
        again = Store.open(url)
        assert again.next_seq() == shop.seq
        assert again.last_mono_us() == shop.mono_us
        assert list(again.events(0)) == [*items, acted]
        writer = Writer(again, on_recording=told, not_recording_after_s=0.3)
        writer.start()
        eventually(lambda: told.said)
        assert told.said[0][0] is False
    assert writer.flush(10)
    more = shop.readings(3)
    writer.put_readings(more)
    assert writer.flush(10)
    assert list(again.events(0)) == [*items, acted, *more]
    assert writer.stop(10)
    again.close()


def test_a_record_of_the_spool_that_makes_no_sense_is_put_aside(url, store, shop, rows):
    store.spool.append([b'{"from": "another version"}'])
    store.close()
    again = Store.open(url)
    assert "another version" in rows("SELECT body FROM misfit")[0][0]
    assert not again.spool
    again.close()


def test_a_commit_window_collects(store, shop, eventually):
    writer = Writer(store, commit_window_ms=1000)
    commits = []
    keep = store.write_side.keeper.keep
    store.write_side.keeper.keep = lambda entries: commits.append(len(entries)) or keep(entries)
    writer.start()
    items = shop.readings(50)
    for item in items:
        writer.put_readings([item])
    assert writer.flush(10)
    assert commits == [50]
    assert writer.stop(10)


def test_putting_never_waits(writer, shop, locked):
    """A thousand puts behind a lock that is held for the whole time."""
    with locked():
        for item in shop.readings(1000):
            writer.put_readings([item])
    assert writer.flush(20)


def test_the_line_is_acknowledged_in_order_whatever_is_released():
    """Settled or only held, a later item never overtakes an earlier one."""
    pending, acks = Pending(100), []
    for index in range(6):
        pending.put(Arrived(()), lambda index=index: acks.append(index))
    first = pending.take(0, 0)
    pending.settle(first[:2])
    assert acks == [0, 1]
    pending.release(True)
    assert acks == [0, 1, 2, 3, 4, 5]
    pending.release(False)
    pending.put(Arrived(()), lambda: acks.append(6))
    pending.settle(first[2:])
    assert acks[-1] == 5
    pending.settle(pending.take(0, 0))
    assert acks == list(range(7))
