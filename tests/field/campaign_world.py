"""The shop of the mixed campaign: two nodes that speak without a pause, and what they really said.

Each node sends every ``EVERY_S`` of the shop. Numbered readings have times of their own long past,
so that they are counted and decide nothing; the probes and the flow are live.
"""

from __future__ import annotations

import bisect
import json
import math
import threading
import time
from dataclasses import dataclass, field

from tests.field.bench_parts import Publisher, ScriptedPort, wait_until
from tests.field.shared_clock import SharedClock

EVERY_S = 10.0
BASE_S = 1_772_000_000
STEP_S = 0.01
"""Source time of number n: ``BASE_S + n * STEP_S`` [s since 1970]; any long past would do."""
TOPIC = "heatwindow/readings/node"
ROOM_C, BEGUN_C, SPENT_C, FALL_S = 20.0, 350.0, 190.0, 7200.0
"""A heavy casting under a cover; the next one comes when it is spent (made up)."""
FLOW_L_MIN = 15.0
MOST_MIDS = 65_535
PROBES = ("serial/probe", "mqtt/probe")
FLOW = "serial/flow"


@dataclass
class Said:
    """What a live channel has said: true times [s] of its sound readings, in order."""

    at_s: list[float] = field(default_factory=list)

    def age_s(self, now_s: float) -> float:
        """Age of the last sound one at ``now_s``."""
        place = bisect.bisect_right(self.at_s, now_s)
        return math.inf if place == 0 else now_s - self.at_s[place - 1]


class World:
    """The casting and the two nodes, in a thread of their own.

    Args:
        clock: The shop's; the nodes know the true time.
        port: The serial node's line.
        publisher: The other node's connection.
    """

    def __init__(self, clock: SharedClock, port: ScriptedPort, publisher: Publisher) -> None:
        self._clock, self._port, self._publisher = clock, port, publisher
        self.line = threading.Lock()
        """Held while the line is used, or unplugged."""
        self.broker_reachable = True
        self.faulty: dict[str, str] = {}
        """Channel: "silent", a SenML fault, or "none" for a flow of zero."""
        self.begun_s = self.now_s()
        self.said = {name: Said() for name in (*PROBES, FLOW)}
        self.serial_sent_s: list[float] = []
        self.confirmed_s: dict[int, float] = {}
        """Real time at which the broker confirmed the n-th message."""
        self.numbers: list[int | None] = []
        """Which number the n-th message carried."""
        self._publishing = threading.Lock()
        self.sent = 0
        self.boot, self._seq = 1, 0
        self._halt = threading.Event()
        self._publisher.client.on_publish = self._confirmed
        self._publisher.client.reconnect_delay_set(1, 1)
        self._thread = threading.Thread(target=self._run, name="world", daemon=True)
        self.errors: list[str] = []

    def now_s(self) -> float:
        """True time of the shop [s since 1970]."""
        return self._clock.true_us() / 1e6

    def temperature_c(self, at_s: float) -> float:
        """The casting's, by Newton's law."""
        return ROOM_C + (BEGUN_C - ROOM_C) * math.exp(-max(0.0, at_s - self.begun_s) / FALL_S)

    def another_casting(self) -> None:
        self.begun_s = self.now_s()

    def reset_node(self) -> None:
        """The node at the broker begins again: a new mark, its count from zero."""
        with self.line:
            self.boot, self._seq = self.boot + 1, 0
            if self._port.plugged_in:
                self._port.write_what_fits(b'\x00\xffrst:0x1 (POWERON_RESET)\r\n[{"n":"ser\n')

    def start(self) -> None:
        self._thread.start()

    def finish(self) -> None:
        """Stop, and wait until the broker has confirmed everything."""
        self.halt()
        wait_until(
            lambda: len(self.confirmed_s) >= len(self.numbers), "the broker's confirmations", 90
        )

    def halt(self) -> None:
        self._halt.set()
        if self._thread.ident is not None:
            self._thread.join()

    def _run(self) -> None:
        due_s = time.monotonic()
        while not self._halt.wait(max(0.0, due_s - time.monotonic())):
            due_s = max(due_s + EVERY_S / self._clock.speed, time.monotonic())
            try:
                self._speak()
            except Exception as error:  # a node that has died would make the campaign easy
                self.errors.append(repr(error))
                raise

    def _speak(self) -> None:
        now_s = self.now_s()
        shown_c = round(4 * (self.temperature_c(now_s) + 0.5 * math.sin(37 * now_s))) / 4
        with self.line:
            lines = [self._numbered("serial/count", len(self.serial_sent_s))]
            lines += self._live("serial/probe", {"u": "Cel", "v": shown_c}, now_s)
            lines += self._live(FLOW, {"u": "l/s", "v": FLOW_L_MIN / 60}, now_s)
            if self._port.plugged_in:
                self._port.write_what_fits(json.dumps(lines).encode() + b"\n")
                self.serial_sent_s.append(time.monotonic())
        timed = [self._numbered("mqtt/timed", self.sent)]
        probe = {"u": "Cel", "v": shown_c, "t": round(now_s, 3)}
        timed += self._live("mqtt/probe", probe, now_s)
        mark = {"boot": f"b{self.boot}", "seq": self._seq}
        marked = [mark | {"n": "mqtt/marked", "u": "ppm", "v": self.sent}]
        self._publish(timed)
        self._publish(marked)
        self._seq += 1
        self.sent += 1

    def _numbered(self, name: str, number: int) -> dict[str, object]:
        return {"n": name, "u": "ppm", "v": number, "t": round(BASE_S + number * STEP_S, 2)}

    def _live(self, name: str, record: dict[str, object], now_s: float) -> list[dict[str, object]]:
        """The record as the channel says it; noted when it is sound and can get through."""
        fault = self.faulty.get(name)
        if fault == "silent":
            return []
        if fault == "none":
            return [{"n": name, **record, "v": 0.0}]
        if fault is not None:
            return [{"n": name, "vs": fault} | {k: record[k] for k in ("u", "t") if k in record}]
        if self._port.plugged_in if name.startswith("serial") else self.broker_reachable:
            self.said[name].at_s.append(now_s)
        return [{"n": name, **record}]

    def _publish(self, records: list[dict[str, object]]) -> None:
        with self._publishing:
            self.numbers.append(self.sent)
            self._publisher.client.publish(TOPIC, json.dumps(records).encode(), 1)

    def publish_junk(self, topic: str, data: bytes) -> None:
        """What no reader can use."""
        with self._publishing:
            self.numbers.append(None)
            self._publisher.client.publish(topic, data, 1)

    def _confirmed(self, client: object, userdata: object, mid: int, *_: object) -> None:
        # The library counts its messages from 1 to 65535 and begins again (MQTT 3.1.1, 2.3.1).
        published = len(self.numbers)
        self.confirmed_s[published - 1 - (published - mid) % MOST_MIDS] = time.monotonic()
