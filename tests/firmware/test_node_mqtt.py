"""The node on a real broker, the real service behind it: links lost, frozen, refused, secured."""

from __future__ import annotations

import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.field.bench_parts import Mosquitto, Publisher, wait_until
from tests.field.service_process import ServiceProcess
from tests.firmware.conftest import MakeNode
from tests.firmware.node_process import LAMP, OXYGEN, PORT2, SOUNDER, NodeProcess, example

pytestmark = pytest.mark.mosquitto

STATUS = "heatwindow/nodes/node1/status"
COOLING = {"do": "chip", "select": PORT2, "temperature_c": 400.0, "k_per_s": -0.25}


@pytest.fixture
def shop(service_folder: Path, mosquitto: Mosquitto) -> Iterator[ServiceProcess]:
    service = ServiceProcess(
        service_folder,
        f'[mqtt]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n'
        '[notify]\nmqtt_topic = "heatwindow/alarms"\n',
    )
    service.start()
    yield service
    service.end()


def config(port: int, **mqtt: Any) -> dict[str, Any]:
    return example() | {
        "wifi": {"name": "shop", "password": "quench"},
        "mqtt": {"host": "127.0.0.1", "port": port, **mqtt},
        "time_host": "127.0.0.1",
    }


def link(shop: ServiceProcess) -> dict[str, Any]:
    (found,) = shop.ask("GET", "/healthz")[1]["links"]
    return found  # type: ignore[no-any-return]


def status(shop: ServiceProcess) -> str:
    told = {node["topic"]: node["says"] for node in link(shop).get("nodes", [])}
    return str(told.get(STATUS, ""))


def newest_s(shop: ServiceProcess) -> float:
    rows = shop.stored("node1/port2")
    return rows[-1][0] / 1e6 if rows else 0.0


def wait_for_now(shop: ServiceProcess, node: NodeProcess) -> None:
    """Until a reading that is measured from now on has come."""
    now_s = node.do("look")["utc_ms"] / 1000
    wait_until(lambda: newest_s(shop) > now_s + 1, f"a reading of now; {node.log()[-300:]}", 40)


def assert_unbroken(shop: ServiceProcess, began_s: float, least: int) -> None:
    """One reading for each second since power-up, each once, with its own time and value."""
    rows = shop.stored("node1/port2")
    assert len(rows) >= least
    for (a_us, _), (b_us, _) in pairwise(rows):
        assert 0.9e6 < b_us - a_us < 1.1e6, (a_us, b_us)
    for t_us, value in rows:
        assert value == pytest.approx(400 - 0.25 * (t_us / 1e6 - began_s), abs=0.55)


def test_ten_minutes_without_a_broker_are_caught_up_without_loss_or_repeats(
    shop: ServiceProcess, mosquitto: Mosquitto, make_node: MakeNode
) -> None:
    began_s = time.time() - 640
    node = make_node(config(mosquitto.port), clock_set=True, utc_s=began_s)
    node.start(COOLING)
    wait_until(lambda: len(shop.stored("node1/port2")) >= 2, f"readings: {node.log()[-300:]}")
    mosquitto.stop()
    wait_until(lambda: "broker:" in node.log(), "the node's own word of it")
    node.skip(600)
    mosquitto.start()
    wait_for_now(shop, node)
    assert_unbroken(shop, began_s, 600)
    for other in ("flange", "board", "argon", "oxygen", "arc", "next"):
        gaps = [b - a for (a, _), (b, _) in pairwise(shop.stored(f"node1/{other}"))]
        assert max(gaps) < 1.1e6, other
    assert "samples lost: 0" in status(shop)


def test_ten_minutes_without_the_network_and_without_a_clock_are_dated_by_their_age(
    shop: ServiceProcess, mosquitto: Mosquitto, make_node: MakeNode
) -> None:
    """Nobody has told the board the date: what waits is sent as so many seconds ago."""
    began_s = time.time() - 610
    node = make_node(config(mosquitto.port), wlan=False)
    node.start(COOLING)
    node.skip(610)
    node.do("wlan", up=True)
    wait_until(lambda: len(shop.stored("node1/port2")) >= 612, f"all: {node.log()[-300:]}", 40)
    rows = shop.stored("node1/port2")
    # Power-up was 610 s ago by the node's time, which ran ahead of ours when it skipped.
    ahead_us = rows[0][0] / 1e6 - began_s
    for (a_us, _), (b_us, _) in pairwise(rows):
        assert 0.5e6 < b_us - a_us < 1.5e6, "to within what the way to the service took"
    assert 0 < ahead_us < 10
    assert [value for _, value in rows] == sorted((value for _, value in rows), reverse=True)
    assert node.do("look")["joined_with"] == ["shop", "quench"]
    assert sum(link(shop)["rejected"].values()) == 0


def test_the_date_comes_from_the_network_and_dates_what_was_measured_before(
    shop: ServiceProcess, mosquitto: Mosquitto, make_node: MakeNode
) -> None:
    began_s = time.time() - 120
    node = make_node(config(mosquitto.port), wlan=False, utc_s=began_s)
    node.start(COOLING)
    node.skip(100)
    node.do("wlan", up=True, time_server=True)
    wait_until(lambda: len(shop.stored("node1/port2")) >= 100, f"all: {node.log()[-300:]}")
    rows = shop.stored("node1/port2")
    assert rows[0][0] / 1e6 == pytest.approx(began_s + 1, abs=1.6), "to the second, as it is told"
    assert all(0.9e6 < b - a < 1.1e6 for (a, _), (b, _) in pairwise(rows))


def test_a_frozen_broker_gets_its_packs_again_and_they_count_once(
    shop: ServiceProcess, mosquitto: Mosquitto, make_node: MakeNode
) -> None:
    """It takes what is sent, answers nothing, and has all of it when it wakes up."""
    node = make_node(config(mosquitto.port))  # no clock: only boot and seq can tell a repeat
    node.start(COOLING)
    wait_until(lambda: len(shop.stored("node1/port2")) >= 2, "readings")
    mosquitto.freeze()
    node.skip(40)  # packs go out, no answer comes: the link is given up, and others are tried
    wait_until(lambda: "broker:" in node.log(), "the node's own word of it")
    mosquitto.thaw()
    wait_until(lambda: link(shop)["rejected"]["duplicate"] >= 1, "packs that came twice", 40)
    wait_until(lambda: len(shop.stored("node1/port2")) >= 44, "all of it", 40)
    values = [value for _, value in shop.stored("node1/port2")]
    assert len(values) == len(set(values)), "each once"
    steps = [a - b for a, b in pairwise(sorted(values, reverse=True))]
    assert all(0 < step < 0.5 for step in steps), "none is missing"


def test_the_last_will_says_that_a_node_is_gone(
    shop: ServiceProcess, mosquitto: Mosquitto, make_node: MakeNode
) -> None:
    node = make_node(config(mosquitto.port))
    node.start()
    wait_until(lambda: status(shop).startswith("online"), "online")
    node.chip(PORT2, next=[{"fault": 1}])
    node.power_off()
    wait_until(lambda: status(shop) == "offline", "its last will")


def test_a_message_of_any_length_and_kind_on_the_alarm_topic_is_survived(
    mosquitto: Mosquitto, publisher: Publisher, make_node: MakeNode
) -> None:
    """Quiet, a long one, one that is no JSON, and quiet again; the readings go on all the while."""
    node = make_node(config(mosquitto.port))
    node.start()
    topic = "heatwindow/alarms/state"
    quiet = b'{"sounding": false, "alarms": []}'
    for payload, lamp in [
        (quiet, {0}),
        (b'{"sounding": true, "alarms": [' + b'"x",' * 20_000 + b'"x"]}', {0, 1}),
        (quiet, {0}),
        (b"\xff\x00 no JSON", {0, 1}),
        (b'{"sounding": false, "alarms": [{"state": "acknowledged"}]}', {1}),
        (quiet, {0}),
    ]:
        publisher.publish(topic, payload, retain=True)
        wait_until(lambda lamp=lamp: shown(node, LAMP) == lamp, f"the lamp after {payload[:40]!r}")
    assert "broker:" not in node.log()


def shown(node: NodeProcess, pin: int) -> set[int]:
    """What a pin has shown within a second and a half of the node's time."""
    began_ms = node.do("look")["now_ms"]
    seen = set()
    while True:
        looked = node.do("look")
        seen.add(looked["levels"][str(pin)])
        if looked["now_ms"] - began_ms > 1500:
            return seen


def test_an_alarm_of_the_service_lights_the_lamp_until_it_is_over(
    shop: ServiceProcess, mosquitto: Mosquitto, make_node: MakeNode
) -> None:
    """Thin air at the node's own oxygen cell: alarm, acknowledged, air again."""
    node = make_node(config(mosquitto.port))
    node.start()
    wait_until(lambda: shop.channel("node1/oxygen"), "the cell")
    shop.act("adopt channel", channel="node1/oxygen", channel_kind="room oxygen")
    wait_until(lambda: shown(node, LAMP) == {0}, "the service has said that all is quiet")
    node.do("volts", pin=OXYGEN, volts=0.33 + 15 / 8.42)
    wait_until(lambda: shown(node, LAMP) == {0, 1}, "the lamp flashes")
    assert shown(node, SOUNDER) == {0, 1}
    (alarm,) = [each for each in shop.bench()["alarms"] if each["channel"] == "node1/oxygen"]
    shop.act("acknowledge alarm", alarm_id=alarm["id"])
    wait_until(lambda: shown(node, LAMP) == {1}, "the lamp stands")
    assert shown(node, SOUNDER) == {0}
    node.do("volts", pin=OXYGEN, volts=2.815)
    wait_until(lambda: shown(node, LAMP) == {0}, "all is quiet", 40)


def test_a_dark_lamp_never_means_that_nobody_watches(
    mosquitto: Mosquitto, publisher: Publisher, make_node: MakeNode
) -> None:
    node = make_node(config(mosquitto.port))
    node.start()
    publisher.publish("heatwindow/alarms/state", b'{"sounding": false, "alarms": []}', retain=True)
    wait_until(lambda: shown(node, LAMP) == {0}, "quiet")
    mosquitto.kill()
    wait_until(lambda: "broker:" in node.log(), "the node's own word of it")
    node.skip(15)
    wait_until(lambda: shown(node, LAMP) == {0, 1}, "a flash now and then")
    assert shown(node, SOUNDER) == {0}
