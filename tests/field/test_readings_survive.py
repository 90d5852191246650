"""What was acknowledged is there: kills, a locked database, a broken line, all for real."""

from __future__ import annotations

import random
import sqlite3
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.field.bench_parts import Mosquitto, Publisher, ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

pytestmark = pytest.mark.timeout(300)
BASE_S = 1_772_000_000
"""Source times of the test's readings begin here [s since 1970]; any would do."""


@pytest.fixture
def shop(service_folder: Path, mosquitto: Mosquitto) -> Iterator[ServiceProcess]:
    """The service, listening to the broker; not started."""
    service = ServiceProcess(
        service_folder,
        f'[mqtt]\nhost = "127.0.0.1"\nport = {mosquitto.port}\ntopics = ["shop/#"]\n',
    )
    yield service
    service.end()


def pack(channel: str, number: int) -> bytes:
    """One reading whose value and source time tell its number."""
    return f'[{{"n":"{channel}","u":"Cel","v":{number},"t":{BASE_S + number}}}]'.encode()


def numbers(shop: ServiceProcess, channel: str) -> list[int]:
    rows = shop.stored(channel)
    assert all(t_us == (BASE_S + value) * 1_000_000 for t_us, value in rows)
    return [int(value) for _, value in rows]


@pytest.mark.mosquitto
def test_readings_at_qos_1_survive_kills_each_exactly_once(
    shop: ServiceProcess, publisher: Publisher
) -> None:
    seed = 20260302
    rng = random.Random(seed)
    count, kills = 3000, 5
    shop.start()
    done = threading.Event()

    def publish() -> None:
        for number in range(count):
            publisher.client.publish("shop/bench", pack("bench/flange", number), qos=1)
            if number % 20 == 0:
                done.wait(0.02)  # a pace, so that the kills fall into the stream
        done.set()

    sender = threading.Thread(target=publish)
    sender.start()
    for _ in range(kills):
        before = len(shop.stored("bench/flange"))
        goal = before + rng.randrange(50, 300)
        wait_until(lambda: len(shop.stored("bench/flange")) >= goal or done.is_set(), "progress")  # noqa: B023
        shop.kill()
        shop.start()
    sender.join()
    wait_until(lambda: len(shop.stored("bench/flange")) >= count, f"{count} rows (seed {seed})", 60)
    assert numbers(shop, "bench/flange") == list(range(count))
    assert shop.rows("PRAGMA integrity_check") == [("ok",)]
    assert shop.stop() == 0


@pytest.mark.mosquitto
def test_a_locked_database_stops_neither_the_live_view_nor_the_record(
    shop: ServiceProcess, publisher: Publisher
) -> None:
    shop.start()
    live = threading.Event()

    def send_live() -> None:
        number = 0
        while not live.wait(0.25):
            now = datetime.now(UTC).timestamp()
            text = f'[{{"n":"bench/live","u":"Cel","v":{number},"t":{now:.3f}}}]'
            publisher.client.publish("shop/live", text.encode(), qos=1)
            number += 1

    sender = threading.Thread(target=send_live)
    sender.start()
    try:
        wait_until(lambda: shop.channel("bench/live") is not None, "the live channel")
        wait_until(lambda: len(shop.stored("bench/live")) > 0, "a first row")
        holder = sqlite3.connect(shop.database, isolation_level=None, timeout=30)
        holder.execute("BEGIN IMMEDIATE")
        held_until = time.monotonic() + 30.0
        ages: list[float] = []
        told = False
        while time.monotonic() < held_until - 1.5:
            bench = shop.bench()
            channel = next(each for each in bench["channels"] if each["name"] == "bench/live")
            ages.append(channel["age_s"])
            told = told or (
                not bench["recording"]
                and any(alarm["kind"] == "not recording" for alarm in bench["alarms"])
            )
            live.wait(0.25)
        assert len(ages) > 60
        assert max(ages) < 2.0
        assert told, "a database that takes nothing for half a minute must be told"

        for number in range(50):
            publisher.client.publish("shop/held", pack("bench/held", number), qos=1)
        live.wait(0.5)
        shop.kill()
        holder.rollback()
        holder.close()
    finally:
        live.set()
        sender.join()
    shop.start()
    wait_until(lambda: len(shop.stored("bench/held")) >= 50, "the fifty readings", 30)
    assert numbers(shop, "bench/held") == list(range(50))
    assert shop.bench()["recording"] is True


@pytest.fixture
def wired(service_folder: Path, scripted_port: ScriptedPort) -> Iterator[ServiceProcess]:
    """The service, reading the scripted port."""
    service = ServiceProcess(service_folder, f'[[serial]]\nport = "{scripted_port.path}"\n')
    service.start()
    yield service
    service.end()


def line(number: int) -> bytes:
    return pack("bench/flange", number) + b"\n"


def openings(wired: ServiceProcess) -> int:
    (link,) = wired.ask("GET", "/healthz")[1]["links"]
    return int(link["openings"])


def test_a_bad_serial_line_loses_no_good_reading(
    wired: ServiceProcess, scripted_port: ScriptedPort
) -> None:
    port = scripted_port
    port.write(line(0))
    port.write(b"\x00\xff\x13 garbage \xc3\n" + line(1))
    port.write(b'[{"n":"half a line\n' + line(2))
    for byte in line(3):
        port.write(bytes([byte]))
    port.write(b"x" * 1_000_000 + b"\n" + line(4))
    wait_until(lambda: len(wired.stored("bench/flange")) >= 5, "five rows before the unplug")
    port.write(b'[{"n":"bench/flange","u":"Cel","v":99')  # cut off in mid-line
    port.unplug()
    port.plug_in()
    wait_until(lambda: openings(wired) == 2, "the port open again")
    port.write(line(5))
    wait_until(lambda: len(wired.stored("bench/flange")) >= 6, "rows after the plug")
    assert numbers(wired, "bench/flange") == [0, 1, 2, 3, 4, 5]
    assert wired.stop() == 0
