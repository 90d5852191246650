"""What is lost when the broker is stopped or killed, with the shipped configuration.

    .venv/bin/python tests/bench/broker_kills.py [--messages 2000] [--rate 200] [--seed 1]

A node publishes numbered readings at QoS 1 and keeps what the broker has not confirmed, as good
firmware does. Half-way the broker is stopped or killed and started again at once; the service's
own link is up all the time, or away until the end. Printed: readings confirmed to the node,
readings that never came, readings that came twice.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from service.clock import SystemClock
from service.sources.broker import Broker
from service.sources.mqtt import MqttLink
from service.sources.shipped_broker import SAVE_EVERY_S, config_text
from service.wire.pack import Pack
from service.wire.senml import Value, encode_pack
from tests.field.bench_parts import Mosquitto, wait_until

TOPIC = "heatwindow/readings/node1"


class Shop:
    """Takes and acknowledges at once."""

    def __init__(self, port: int) -> None:
        self.came: Counter[int] = Counter()
        self.link = MqttLink(
            Broker("127.0.0.1", port, "hw-bench"), ["heatwindow/readings/#"], self, SystemClock()
        )

    def __call__(self, link: str, pack: Pack, ack: Callable[[], None] | None) -> None:
        self.came.update(int(each.value) for each in pack.measurements if each.value is not None)
        if ack is not None:
            ack()

    def open(self) -> None:
        self.link.start()
        wait_until(lambda: self.link.status().ready, "the subscription")


class Node:
    """Publishes numbers at a steady rate, whether the broker is there or not."""

    def __init__(self, port: int) -> None:
        self.client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id="node1", clean_session=False
        )
        self.client.max_queued_messages_set(0)
        self.client.reconnect_delay_set(1, 1)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def publish(self, numbers: range, rate_hz: float) -> None:
        begun = time.monotonic()
        for count, number in enumerate(numbers):
            payload = encode_pack(
                [Value("port2", number, "Cel")], base_time_s=1.76e9 + number, base_name="node1:"
            )
            self.client.publish(TOPIC, payload, 1)
            pause = begun + count / rate_hz - time.monotonic()
            if pause > 0:
                time.sleep(pause)

    def wait_confirmed(self) -> None:
        wait_until(lambda: not self.client._out_messages, "the broker's confirmations", 60)
        self.client.disconnect()
        self.client.loop_stop()


def run(how: str, service_up: bool, messages: int, rate_hz: float, aged: bool, place: float) -> str:
    with tempfile.TemporaryDirectory() as name:
        broker = Mosquitto(Path(name))
        broker.config = config_text("loopback", data=broker.folder, port=broker.port)
        broker.start()
        shop = Shop(broker.port)
        shop.open()
        if not service_up:
            shop.link.stop()
            shop = Shop(broker.port)
        if aged:  # the session has been saved at least once, as in every shop but on its first day
            saved = broker.folder / "heatwindow.db"
            wait_until(saved.exists, "the first save", 2 * SAVE_EVERY_S)
        node = Node(broker.port)
        sending = threading.Thread(target=node.publish, args=(range(messages), rate_hz))
        sending.start()
        time.sleep(place * messages / rate_hz)
        getattr(broker, how)()
        broker.start()
        sending.join()
        node.wait_confirmed()
        if not service_up:
            shop.open()
        settled = 0
        while settled < 10:  # nothing new for a second
            before = sum(shop.came.values())
            time.sleep(0.1)
            settled = settled + 1 if sum(shop.came.values()) == before else 0
        shop.link.stop()
        broker.kill()
    lost = messages - len(shop.came)
    twice = sum(shop.came.values()) - len(shop.came)
    state = "up" if service_up else "away"
    age = "saved before" if aged else "first seconds"
    return f"| {how} | {state} | {age} | {messages} | {lost} | {twice} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=2000)
    parser.add_argument("--rate", type=float, default=200.0)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    chance = random.Random(wanted.seed)
    print("| broker | service | session | confirmed | lost | twice |\n|---|---|---|---|---|---|")
    for how in ("stop", "kill"):
        for service_up in (True, False):
            for aged in (True, False):
                place = chance.uniform(0.3, 0.7)
                print(run(how, service_up, wanted.messages, wanted.rate, aged, place), flush=True)


if __name__ == "__main__":
    main()
