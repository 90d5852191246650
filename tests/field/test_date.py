"""A date that cannot be right, and the night that has an hour twice: nothing waits or is lost.

The real service as a process on a clock under the test's hand; its time zone is a real one.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from service.records.gather import gather
from service.store.database import Store
from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess
from tests.field.shared_clock import SharedClock

EARLY = datetime(2000, 1, 1, tzinfo=UTC)
TRUE = datetime(2026, 10, 25, 0, 50, tzinfo=UTC)
TWICE = datetime(2026, 10, 25, 1, 0, tzinfo=UTC)
"""Clocks in Dublin go from 2 back to 1 (IANA time zone database)."""


def utc_us(when: datetime) -> int:
    return round(when.timestamp() * 1e6)


@pytest.fixture
def clock(tmp_path: Path) -> SharedClock:
    return SharedClock.begin(tmp_path / "clock", 1.0, utc_us(TRUE))


@pytest.fixture
def shop(
    service_folder: Path,
    scripted_port: ScriptedPort,
    clock: SharedClock,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[ServiceProcess]:
    monkeypatch.setenv("TZ", "Europe/Dublin")
    links = f'[[serial]]\nport = "{scripted_port.path}"\n'
    service = ServiceProcess(service_folder, links, clock=tmp_path / "clock")
    yield service
    service.end()


class Node(threading.Thread):
    """Counts on the serial line, without a time."""

    def __init__(self, port: ScriptedPort) -> None:
        super().__init__(daemon=True)
        self._port, self.sent, self.halt = port, 0, threading.Event()

    def run(self) -> None:
        while not self.halt.wait(0.1):
            probe_c = 300 - self.sent / 40
            self._port.write(
                f'[{{"n":"count","u":"ppm","v":{self.sent}}},'
                f'{{"n":"probe","u":"Cel","v":{probe_c:.2f}}}]\n'.encode()
            )
            self.sent += 1


def health(shop: ServiceProcess) -> dict[str, object]:
    return shop.ask("GET", "/healthz")[1]  # type: ignore[no-any-return]


def test_sampling_starts_at_once_with_a_date_that_cannot_be_and_the_record_gets_the_right_one(
    shop: ServiceProcess, scripted_port: ScriptedPort, clock: SharedClock
) -> None:
    clock.set_wall_clock((EARLY - TRUE).total_seconds())
    shop.start()
    node = Node(scripted_port)
    node.start()
    try:
        # At once, judged too, and told.
        wait_until(lambda: shop.stored("count"), "a row")
        assert shop.stored("count")[0][0] < utc_us(EARLY) + 60_000_000
        assert "cannot be right" in str(health(shop)["date_doubt"])
        (notice,) = shop.ask("GET", "/api/v1/notices")[1]["notices"]
        assert (notice["id"], "2000-01-01" in notice["text"]) == (0, True)
        shop.act("adopt channel", channel="probe", channel_kind="thermocouple")
        limits = {"preheat_min_c": 100.0}
        part_id = shop.act("create part", facts={"name": "manifold"}, limits=limits)["part_id"]
        shop.act("assign channel", channel="probe", part_id=part_id)
        heat_id = shop.act("begin heat", part_id=part_id, phase="bench")["heat_id"]
        wait_until(lambda: shop.bench()["parts"][0]["heat"]["verdict"] == "ready", "ready")

        # The date is set: by nobody's doing but the clock's.
        clock.set_wall_clock(0)
        wait_until(lambda: health(shop)["date_doubt"] is None, "no doubt any more")
        assert shop.ask("GET", "/api/v1/notices")[1]["notices"] == []
        newest = itertools.count()
        wait_until(
            lambda: next(newest) >= 0 and shop.stored("count")[-1][0] > utc_us(TRUE),
            "rows of today",
        )
        assert shop.bench()["alarms"] == []
        shop.act("end heat", heat_id=heat_id)
    finally:
        node.halt.set()
        node.join()
    assert shop.stop() == 0
    # The record of the heat is told by the right date from its first moment on.
    store = Store.open_to_read(f"sqlite:///{shop.database}")
    record = gather(store, heat_id)
    store.close()
    assert abs(record.begun_us - utc_us(TRUE)) < 120e6
    assert any("clock" in each.text for each in record.deviations)


def test_the_hour_that_comes_twice_loses_and_merges_nothing(
    shop: ServiceProcess, scripted_port: ScriptedPort, clock: SharedClock
) -> None:
    shop.start()
    node = Node(scripted_port)
    node.start()
    try:
        change_us = utc_us(TWICE)
        wait_until(lambda: shop.stored("count"), "a row")
        clock.let_pass((change_us - clock.utc_us()) / 1e6 - 2)
        wait_until(lambda: (shop.stored("count") or [(0, 0)])[-1][0] > change_us, "after it")
    finally:
        node.halt.set()
        node.join()
    wait_until(lambda: len(shop.stored("count")) >= node.sent, "every row")
    rows = shop.stored("count")
    assert [value for _, value in rows] == [float(number) for number in range(node.sent)]
    assert rows[0][0] < change_us
    steps = shop.rows("SELECT count(*) FROM journal WHERE kind = 'clock stepped'")
    assert steps == [(0,)], "UTC has no such hour"
    assert shop.stop() == 0
