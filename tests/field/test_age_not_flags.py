"""What a broker says of itself and keeps is evidence; the age of the data decides.

The whole service with a real mosquitto, frozen with its socket open, and with messages it retains.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.field.bench_parts import Mosquitto, Publisher, wait_until
from tests.field.service_process import ServiceProcess

pytestmark = pytest.mark.mosquitto

TOPIC = "heatwindow/readings/n"
PROBE = "bench/flange"


@pytest.fixture
def shop(service_folder: Path, mosquitto: Mosquitto) -> Iterator[ServiceProcess]:
    service = ServiceProcess(
        service_folder, f'[mqtt]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n'
    )
    service.start()
    yield service
    service.end()


def pack(value: float, t_s: float | None = None) -> bytes:
    time_field = "" if t_s is None else f',"t":{t_s:.3f}'
    return f'[{{"n":"{PROBE}","u":"Cel","v":{value}{time_field}}}]'.encode()


def open_heat(shop: ServiceProcess, publisher: Publisher) -> None:
    """A part on the bench with a probe that has spoken."""
    publisher.publish(TOPIC, pack(300))
    wait_until(lambda: shop.channel(PROBE), "the probe")
    shop.act("adopt channel", channel=PROBE, channel_kind="thermocouple")
    part_id = shop.act("create part", facts={"name": "manifold"}, limits={"preheat_min_c": 250})[
        "part_id"
    ]
    shop.act("assign channel", channel=PROBE, part_id=part_id)
    shop.act("begin heat", part_id=part_id, phase="bench")


def broker_link(shop: ServiceProcess) -> dict[str, Any]:
    (link,) = shop.ask("GET", "/healthz")[1]["links"]
    return link  # type: ignore[no-any-return]


def quality(shop: ServiceProcess) -> str | None:
    channel = shop.channel(PROBE)
    return None if channel is None else channel["quality"]


def silence_alarm(shop: ServiceProcess) -> str | None:
    """State of the "no data" alarm, ``None`` while there is none."""
    states = [each["state"] for each in shop.bench()["alarms"] if each["kind"] == "no data"]
    return states[0] if states else None


def test_a_broker_frozen_with_its_socket_open_is_told_by_the_age_of_the_data(
    shop: ServiceProcess, publisher: Publisher, mosquitto: Mosquitto
) -> None:
    open_heat(shop, publisher)
    for value in (300.0, 299.9, 299.8):
        publisher.publish(TOPIC, pack(value))
    wait_until(lambda: quality(shop) in ("good", "settling"), "a live channel")
    mosquitto.freeze()
    try:
        wait_until(lambda: quality(shop) == "stale", "the age of its data")
        assert broker_link(shop)["state"] == "subscribed", "the connection still looks whole"
        wait_until(lambda: silence_alarm(shop) == "unacknowledged", "the alarm")
        (part,) = shop.bench()["parts"]
        assert part["verdict"] == "unknown"
    finally:
        mosquitto.thaw()


def test_a_retained_message_ends_no_alarm_and_no_silence(
    shop: ServiceProcess, publisher: Publisher, mosquitto: Mosquitto
) -> None:
    """Kept by the broker: one without a time, one of an hour ago, one from a clock an hour ahead.

    They come with the subscription, and none may pass for news.
    """
    open_heat(shop, publisher)
    wait_until(lambda: silence_alarm(shop) == "unacknowledged", "the alarm of the silent probe")
    shop.stop()
    now_s = time.time()
    for topic, t_s in (("/undated", None), ("/old", now_s - 3600), ("/ahead", now_s + 3600)):
        # At QoS 0 nothing waits in the session: what comes is the retained copy and no other.
        publisher.publish(TOPIC + topic, pack(400, t_s), qos=0, retain=True)
    shop.start()
    wait_until(lambda: broker_link(shop)["rejected"]["time"] == 1, "the undated one refused")
    wait_until(lambda: len(shop.stored(PROBE)) == 3, "the dated ones, kept under their own times")
    times_s = {round(t_us / 1e6) for t_us, _ in shop.stored(PROBE)}
    assert {round(now_s - 3600), round(now_s + 3600)} <= times_s
    # Longer than the alarm's own delays: it would have returned by now.
    end_s = time.monotonic() + 5
    while time.monotonic() < end_s:
        assert quality(shop) == "stale"
        assert silence_alarm(shop) == "unacknowledged"
        time.sleep(0.2)
    publisher.publish(TOPIC, pack(300))
    wait_until(lambda: quality(shop) != "stale", "a reading sent now")
