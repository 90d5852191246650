"""The two simulated sensor nodes: one on a pseudo-terminal, one on the broker.

Both behave as cheap firmware does: sample, send, forget. The serial node loses what nobody
reads. The MQTT node stamps its packs, counts them, and keeps unsent ones for a while.
"""

from __future__ import annotations

import os
import threading
import tty
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from service.demo.senml import pack, record, switch
from service.demo.shop import SimulatedShop

BENCH_NODE = "bench-node/"
OVEN_NODE = "oven-node/"
TOPIC = "heatwindow/readings/oven-node"

KEPT_PACKS = 2000
"""Packs the MQTT node keeps while the broker is away."""

PRESS_S = 0.3
"""How long the button is held [s]."""


class SerialNode:
    """Casting 1's node: two thermocouples, argon, shop air, the welding current and the welder's
    foot button; no clock of its own.

    Args:
        shop: What it measures.
        link: Path that is a symbolic link to the terminal while the node is plugged in, as
            ``/dev/serial/by-id`` has them.
    """

    def __init__(self, shop: SimulatedShop, link: Path) -> None:
        self._shop = shop
        self.link = link
        self._plug = threading.Lock()
        self._master: int | None = None
        self._slave: int | None = None
        self._boots = 0
        self._seq = 0
        self.lost_lines = 0
        """Lines nobody had room for."""

    def plug_in(self) -> None:
        """Power up: a new terminal, with the link pointing to it."""
        master, slave = os.openpty()
        # The slave stays open here as well, or the master would see a hang-up whenever the
        # reader closes it.
        tty.setraw(master)
        tty.setraw(slave)
        os.set_blocking(master, False)
        with self._plug:
            self._master, self._slave = master, slave
            self._boots += 1
            self._seq = 0
        fresh = self.link.with_name(self.link.name + ".new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(os.ttyname(slave))
        fresh.replace(self.link)

    def unplug(self) -> None:
        """Power and link gone; a reader gets a hang-up."""
        with self._plug:
            self.link.unlink(missing_ok=True)
            for end in (self._slave, self._master):
                if end is not None:
                    os.close(end)
            self._master = self._slave = None

    def send(self, _utc_us: int) -> None:
        """Sample and write one line, if plugged in."""
        seen = self._shop.sample(1)
        records = [
            record("flange", "Cel", seen.body),
            record("joint", "Cel", seen.joint),
            record("argon", "l/s", round(seen.argon_l_min / 60.0, 6)),
            record("air", "Cel", self._shop.sample_air_c()),
            record("arc", "A", self._shop.sample_arc_a()),
            switch("next", False),
        ]
        self._write(records)

    def press(self) -> None:
        """The foot button is pressed and let go: both edges in one line."""
        self._write([switch("next", True, PRESS_S), switch("next", False)])

    def _write(self, records: list[dict[str, object]]) -> None:
        # Held while writing: an unplugging meanwhile would close the terminal's number, and
        # the next file opened anywhere would get the line.
        with self._plug:
            if self._master is None:
                return
            line = pack(BENCH_NODE, records, f"b{self._boots}", self._seq) + b"\n"
            self._seq += 1
            try:
                written = os.write(self._master, line)
            except BlockingIOError:
                written = 0
            if written < len(line):
                self.lost_lines += 1

    def close(self) -> None:
        """Same as unplugging."""
        self.unplug()


class MqttNode:
    """Casting 2's node: two thermocouples, argon, oxygen in the part and in the room; its clock
    is right.

    Args:
        shop: What it measures.
        port: The broker's, on this machine.
        boot: New at each start.
    """

    def __init__(self, shop: SimulatedShop, port: int, boot: str) -> None:
        self._shop = shop
        self._boot = boot
        self._seq = 0
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"demo-oven-node-{boot}"[:23],
            protocol=paho.MQTTv311,
            clean_session=False,
        )
        self._client.max_queued_messages_set(KEPT_PACKS)
        self._client.reconnect_delay_set(min_delay=1, max_delay=2)
        self._client.connect_async("127.0.0.1", port, keepalive=30)
        self.lost_packs = 0
        """Packs that found no room while the broker was away."""

    def start(self) -> None:
        """Connect in the background and keep trying."""
        self._client.loop_start()

    def send(self, utc_us: int) -> None:
        """Sample and publish one pack with the time it was taken."""
        seen = self._shop.sample(2)
        records = [
            record("flange", "Cel", seen.body),
            record("joint", "Cel", seen.joint),
            record("argon", "l/s", round(seen.argon_l_min / 60.0, 6)),
            record("oxygen", "ppm", seen.oxygen_ppm),
            record("room", "%", self._shop.sample_room_oxygen_percent()),
        ]
        payload = pack(OVEN_NODE, records, self._boot, self._seq, utc_us)
        self._seq += 1
        sent = self._client.publish(TOPIC, payload, qos=1)
        if sent.rc == paho.MQTT_ERR_QUEUE_SIZE:
            self.lost_packs += 1

    def close(self) -> None:
        """Say goodbye and stop the network thread."""
        self._client.disconnect()
        self._client.loop_stop()
