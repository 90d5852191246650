"""No file can grow for ten minutes of the shop: everything but the record goes on, loudly."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest

from tests.field.bench_parts import Mosquitto, Publisher, ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

pytestmark = [pytest.mark.mosquitto, pytest.mark.timeout(300)]

SPEED = 20.0
FULL_MIN = 10.0
ROOM_BYTES = 64 * 1024
"""So much the spool can take; after that everything is held in memory."""


@pytest.fixture
def shop(
    service_folder: Path, mosquitto: Mosquitto, scripted_port: ScriptedPort
) -> Iterator[ServiceProcess]:
    """The service on a fast clock with a broker, a serial node and a sounder."""
    service = ServiceProcess(
        service_folder,
        f'[[serial]]\nport = "{scripted_port.path}"\n'
        f'[mqtt]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n'
        "[notify]\nsounder = "
        f"""["/bin/sh", "-c", 'echo "$HEATWINDOW_ALARM_KIND" >> {service_folder / "heard"}']\n""",
        SPEED,
    )
    service.start()
    yield service
    service.end()


class Load(threading.Thread):
    """Both nodes: a numbered reading each and a temperature, about once a second of the shop."""

    def __init__(self, shop: ServiceProcess, publisher: Publisher, port: ScriptedPort) -> None:
        super().__init__(daemon=True)
        wait_until(lambda: shop.bench()["at"] > "2020", "the shop's time")
        self._shop_s = datetime.fromisoformat(shop.bench()["at"]).timestamp()
        self._real_s = time.monotonic()
        self._publisher = publisher
        self._port = port
        self.halt = threading.Event()
        self.temperature_c = 300.0
        self.sent_ms: list[int] = []
        """Source time of each number, by the shop's clock [ms since 1970]."""

    def run(self) -> None:
        while not self.halt.wait(1 / SPEED):
            number = len(self.sent_ms)
            wiggle_c = number % 7 / 10
            at_s = round(self._shop_s + (time.monotonic() - self._real_s) * SPEED, 3)
            self.sent_ms.append(round(at_s * 1000))
            self._publisher.client.publish(
                "heatwindow/readings/n",
                f'[{{"n":"mqtt/n","u":"ppm","v":{number},"t":{at_s:.3f}}}]',
                1,
            )
            probe_c = self.temperature_c + wiggle_c
            self._port.write(
                f'[{{"n":"serial/n","u":"ppm","v":{number},"t":{at_s:.3f}}},'
                f'{{"n":"serial/probe","u":"Cel","v":{probe_c:.1f}}}]\n'.encode()
            )

    def finish(self) -> None:
        self.halt.set()
        self.join()


def kinds(shop: ServiceProcess) -> set[str]:
    """What is alarming now."""
    return {
        alarm["kind"]
        for alarm in shop.bench()["alarms"]
        if alarm["state"] in ("unacknowledged", "acknowledged")
    }


def open_heat(shop: ServiceProcess) -> None:
    wait_until(lambda: shop.channel("serial/probe"), "the probe")
    shop.act("adopt channel", channel="serial/probe", channel_kind="thermocouple")
    part_id = shop.act("create part", facts={"name": "manifold"}, limits={"preheat_min_c": 250})[
        "part_id"
    ]
    shop.act("assign channel", channel="serial/probe", part_id=part_id)
    heat_id = shop.act("begin heat", part_id=part_id)["heat_id"]
    shop.act("move part", heat_id=heat_id, phase="bench")


def test_ten_minutes_without_room(
    shop: ServiceProcess, publisher: Publisher, scripted_port: ScriptedPort
) -> None:
    load = Load(shop, publisher, scripted_port)
    load.start()
    try:
        open_heat(shop)
        wait_until(lambda: len(shop.stored("mqtt/n")) > 40, "a record before it is full")
        spool = shop.database.with_name("shop.db.spool")

        shop.fill_disk(ROOM_BYTES)
        full_until_s = time.monotonic() + FULL_MIN * 60 / SPEED
        wait_until(lambda: not shop.bench()["recording"], "that nothing is recorded is told")
        wait_until(lambda: "not recording" in kinds(shop), "the alarm")
        wait_until(lambda: "not recording" in heard(shop), "its sound")
        wait_until(lambda: spool.exists() and spool.stat().st_size > 0, "the spool takes over")

        # The live view goes on: each look finds later numbers, from both nodes.
        for _ in range(5):
            before = [shown(shop, "mqtt/n"), shown(shop, "serial/n")]
            wait_until(lambda: shown(shop, "mqtt/n") > before[0], "news from the broker")  # noqa: B023
            wait_until(lambda: shown(shop, "serial/n") > before[1], "news from the line")  # noqa: B023
        # So do the alarms, and what the operator says.
        load.temperature_c = 240.0
        wait_until(lambda: "below preheat" in kinds(shop), "the alarm of a part that cools", 40)
        wait_until(lambda: "below preheat" in heard(shop), "its sound")
        (alarm,) = [each for each in shop.bench()["alarms"] if each["kind"] == "below preheat"]
        shop.act("acknowledge alarm", alarm_id=alarm["id"])
        load.temperature_c = 300.0
        wait_until(lambda: "below preheat" not in kinds(shop), "its end", 40)
        wait_until(lambda: time.monotonic() >= full_until_s, "the end of the ten minutes", 60)
        assert not shop.bench()["recording"]
        rows_when_full = len(shop.stored("mqtt/n"))
        assert len(load.sent_ms) > rows_when_full + 300, (
            "most of the ten minutes is not in the database"
        )

        shop.fill_disk(None)
        wait_until(lambda: shop.bench()["recording"], "recording resumes by itself", 60)
        wait_until(lambda: "not recording" not in kinds(shop), "the alarm returns")
    finally:
        load.finish()
    sent = len(load.sent_ms)
    wait_until(lambda: len(shop.stored("mqtt/n")) >= sent, "every reading of the broker", 60)
    wait_until(lambda: len(shop.stored("serial/n")) >= sent, "every reading of the line", 60)
    expected = [(at_ms * 1000, float(number)) for number, at_ms in enumerate(load.sent_ms)]
    assert shop.stored("mqtt/n") == expected
    assert shop.stored("serial/n") == expected
    wait_until(lambda: spool.stat().st_size == 0, "the spool is empty again")
    assert shop.rows("PRAGMA integrity_check") == [("ok",)]
    assert shop.rows("SELECT count(*) FROM gap") == [(0,)]
    (acknowledged,) = shop.rows("SELECT count(*) FROM journal WHERE kind = 'acknowledge alarm'")
    assert acknowledged == (1,), "said while nothing was recorded, recorded afterwards"
    assert shop.stop() == 0


def shown(shop: ServiceProcess, channel: str) -> float:
    found = shop.channel(channel)
    return -1.0 if found is None or found["value"] is None else float(found["value"])


def heard(shop: ServiceProcess) -> list[str]:
    """The alarms that the sounder was run for."""
    file = shop.folder / "heard"
    return file.read_text().splitlines() if file.exists() else []
