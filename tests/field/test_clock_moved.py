"""The date is corrected under the running service: durations go on, records get the new date."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.commands.assembly import start_service
from service.config import load
from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.movable_clock import MovableClock
from tests.field.service_process import ServiceProcess

HOUR_S = 3600.0
EVERY_S = 0.005
"""A busy line: the judge is never without work, and must notice all the same."""


@pytest.fixture
def clock() -> MovableClock:
    return MovableClock()


@pytest.fixture
def shop(
    service_folder: Path, scripted_port: ScriptedPort, clock: MovableClock
) -> Iterator[ServiceProcess]:
    """The service in this process, on the movable clock; asked as from outside."""
    service = ServiceProcess(service_folder, f'[[serial]]\nport = "{scripted_port.path}"\n')
    running = start_service(load(service.config), clock)
    yield service
    assert running.stop()


@pytest.fixture
def busy(scripted_port: ScriptedPort) -> Iterator[None]:
    """A probe that speaks two hundred times a second."""
    halt = threading.Event()

    def speak() -> None:
        number = 0
        while not halt.wait(EVERY_S):
            number += 1
            value_c = 300 - number % 10 / 100
            scripted_port.write(f'[{{"n":"probe","u":"Cel","v":{value_c}}}]\n'.encode())

    thread = threading.Thread(target=speak)
    thread.start()
    yield
    halt.set()
    thread.join()


def offsets_us(shop: ServiceProcess) -> list[int]:
    """Wall clock against shop time as journalled, that of the start first."""
    found = shop.rows(
        "SELECT body FROM journal WHERE kind IN ('service started', 'clock stepped') ORDER BY seq"
    )
    return [json.loads(body)["offset_us"] for (body,) in found]


def newest_us(shop: ServiceProcess) -> int:
    """Time of the reading that arrived last [µs UTC]."""
    rows = shop.rows("SELECT t_us FROM reading ORDER BY seq DESC LIMIT 1")
    return int(rows[0][0]) if rows else 0


@pytest.mark.usefixtures("busy")
@pytest.mark.parametrize("by_s", [-HOUR_S, HOUR_S])
def test_a_date_set_by_an_hour_is_noticed_on_a_busy_line_and_disturbs_nothing(
    shop: ServiceProcess, clock: MovableClock, by_s: float
) -> None:
    wait_until(lambda: shop.channel("probe"), "the probe")
    shop.act("adopt channel", channel="probe", channel_kind="thermocouple")
    part_id = shop.act("create part", facts={"name": "manifold"}, limits={"preheat_min_c": 250})[
        "part_id"
    ]
    shop.act("assign channel", channel="probe", part_id=part_id)
    shop.act("begin heat", part_id=part_id, phase="bench")
    wait_until(lambda: (shop.channel("probe") or {})["quality"] == "good", "a settled probe")
    before_us = newest_us(shop)
    clock.set_wall_clock(by_s)
    wait_until(lambda: len(offsets_us(shop)) == 2, "the step in the journal")
    start_us, stepped_us = offsets_us(shop)
    assert stepped_us - start_us == pytest.approx(by_s * 1e6, abs=1e5)
    wait_until(
        lambda: abs(newest_us(shop) - before_us - by_s * 1e6) < 60e6, "records by the new date"
    )
    channel = shop.channel("probe")
    assert channel is not None
    assert (channel["quality"], channel["reason"]) == ("good", None)
    assert channel["age_s"] < 10
    assert shop.bench()["alarms"] == []


def test_time_that_passed_at_once_is_silence_and_no_step(
    shop: ServiceProcess, scripted_port: ScriptedPort, clock: MovableClock
) -> None:
    scripted_port.write(b'[{"n":"probe","u":"Cel","v":300}]\n')
    wait_until(lambda: shop.channel("probe"), "the probe")
    clock.let_pass(600)
    wait_until(lambda: (shop.channel("probe") or {})["quality"] == "stale", "its silence")
    assert (shop.channel("probe") or {})["age_s"] >= 600
    assert len(offsets_us(shop)) == 1
