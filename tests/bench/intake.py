"""From the broker to a committed row, against a bare loop; and from a publish to the board.

Used by ``suite.py``. Needs mosquitto.

* *intake*: N packs at QoS 1 wait at the broker; time and processor time from the first committed
  row to the last, for ``bare_loop.py`` and for the service (judge on, eight channels assigned to a
  part with an open heat), in turn. On a shared machine only the processor time can be compared.
* *publish to board*: 100 readings/s, from just before ``publish`` until ``/api/v1/bench`` shows the
  value, asked every few milliseconds.
"""

from __future__ import annotations

import json
import os
import random
import sqlite3
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.field.bench_parts import Mosquitto, Publisher, wait_until
from tests.field.service_process import ServiceProcess

CHANNELS = 8
STEP_K = 0.1
"""From one reading to the next on the way to the board [K]."""


def pack(rng: random.Random, records: int) -> bytes:
    found = [
        {"n": f"bench/{rng.randrange(CHANNELS)}", "u": "Cel", "v": round(rng.gauss(300, 0.5), 2)}
        for _ in range(records)
    ]
    return json.dumps(found).encode()


def rows_in(database: Path) -> int:
    try:
        connection = sqlite3.connect(f"file:{database}?mode=ro", uri=True, timeout=30)
    except sqlite3.OperationalError:
        return 0
    try:
        return int(connection.execute("SELECT count(*) FROM reading").fetchone()[0])
    except sqlite3.OperationalError:
        return 0
    finally:
        connection.close()


def drain(
    database: Path, start: Callable[[], None], pid: Callable[[], int], expected: int
) -> tuple[float, float]:
    """Microseconds a row, real and of the processor, from the first new committed row to the last.

    Args:
        database: Where the rows appear.
        start: Starts the program.
        pid: Its process, once started.
        expected: New rows.
    """
    before = rows_in(database)
    start()
    began_s, began_cpu_s, began_rows, end_s = 0.0, 0.0, 0, time.monotonic() + 300
    while time.monotonic() < end_s:
        rows = rows_in(database) - before
        if rows and not began_s:
            began_s, began_cpu_s, began_rows = time.monotonic(), cpu_s(pid()), rows
        if rows >= expected:
            count = rows - began_rows
            took_s, used_s = time.monotonic() - began_s, cpu_s(pid()) - began_cpu_s
            return 1e6 * took_s / count, 1e6 * used_s / count
        time.sleep(0.01)
    raise SystemExit(f"only {rows_in(database) - before} of {expected} rows came")


@dataclass(frozen=True, slots=True)
class Drained:
    """Medians over the rounds; the ratios are of each round's own floor."""

    bare_rows_per_s: float
    rows_per_s: float
    ratio: float
    cpu_us: float
    cpu_ratio: float


class BareLoop:
    def __init__(self, folder: Path, port: int) -> None:
        self.database = folder / "bare.db"
        self.port = port
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, Path(__file__).with_name("bare_loop.py"), str(self.port),
             self.database],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        assert self.process.stdout.readline().strip() == "subscribed"

    def pid(self) -> int:
        assert self.process is not None
        return self.process.pid

    def stop(self) -> None:
        assert self.process is not None
        self.process.terminate()
        self.process.wait(10)
        assert self.process.stdout is not None
        self.process.stdout.close()


def hot_part(shop: ServiceProcess) -> None:
    """A part with an open heat that owns every channel, so that the judge has work."""
    facts, limits = {"name": "Pump manifold", "mass_kg": 6.0}, {"preheat_min_c": 200}
    part_id = shop.act("create part", facts=facts, limits=limits)["part_id"]
    for number in range(CHANNELS):
        name = f"bench/{number}"
        shop.act("adopt channel", channel=name, channel_kind="thermocouple")
        shop.act("assign channel", channel=name, part_id=part_id)
    shop.act("begin heat", part_id=part_id, phase="bench")


def mqtt_shop(folder: Path, broker: Mosquitto, name: str = "shop") -> ServiceProcess:
    """A service of its own folder on a broker."""
    shop_folder = folder / name
    shop_folder.mkdir()
    links = f'[mqtt]\nhost="127.0.0.1"\nport={broker.port}\ntopics=["bench/#"]\n'
    return ServiceProcess(shop_folder, links)


def warm_up(shop: ServiceProcess, publisher: Publisher) -> None:
    """All channels known and on the hot part."""
    warm = [
        json.dumps([{"n": f"bench/{n}", "u": "Cel", "v": 300.0}]).encode() for n in range(CHANNELS)
    ]
    publisher.publish("bench/warm", *warm)
    wait_until(lambda: len(shop.bench()["channels"]) == CHANNELS, "all channels")
    hot_part(shop)


def intake(folder: Path, readings: int, records: int, rounds: int, rng: random.Random) -> Drained:
    broker = Mosquitto(folder)
    broker.start()
    shop = mqtt_shop(folder, broker)
    bare = BareLoop(folder, broker.port)
    publisher = Publisher(broker.port)
    found: list[tuple[tuple[float, float], tuple[float, float]]] = []
    try:
        shop.start()
        warm_up(shop, publisher)
        shop.stop()
        bare.start()
        bare.stop()
        messages = readings // records
        for _ in range(rounds):
            publisher.publish("bench/x", *[pack(rng, records) for _ in range(messages)])
            expected = messages * records
            floor = drain(bare.database, bare.start, bare.pid, expected)
            bare.stop()
            ours = drain(shop.database, shop.launch, lambda: shop.process.pid, expected)
            wait_until(shop.healthy, "healthy")
            shop.stop()
            found.append((floor, ours))
    finally:
        publisher.close()
        shop.end()
        broker.kill()
    return Drained(
        bare_rows_per_s=statistics.median(1e6 / floor[0] for floor, _ in found),
        rows_per_s=statistics.median(1e6 / ours[0] for _, ours in found),
        ratio=statistics.median(floor[0] / ours[0] for floor, ours in found),
        cpu_us=statistics.median(ours[1] for _, ours in found),
        cpu_ratio=statistics.median(floor[1] / ours[1] for floor, ours in found),
    )


def publish_to_board(folder: Path, count: int) -> list[float]:
    """How late each reading was on the board [ms], in rising order."""
    broker = Mosquitto(folder)
    broker.start()
    shop = mqtt_shop(folder, broker)
    publisher = Publisher(broker.port)
    sent: dict[int, float] = {}
    late_ms: list[float] = []
    try:
        shop.start()
        next_s = time.monotonic()
        number = seen = 0
        while seen < count:
            now_s = time.monotonic()
            if now_s >= next_s and number < count:
                number += 1
                sent[number] = now_s
                # Slow enough for metal, so that every number is an ordinary good reading.
                value_c = 20 + number * STEP_K
                publisher.client.publish(
                    "bench/x", json.dumps([{"n": "bench/0", "u": "Cel", "v": value_c}]).encode(), 1
                )
                next_s += 0.01
                continue
            channel = shop.channel("bench/0")
            shown_s = time.monotonic()
            unseen = channel is None or channel["value"] is None
            value = 0 if unseen else round((channel["value"] - 20) / STEP_K)
            for each in range(seen + 1, value + 1):
                # Shown now, or overtaken by a newer value: no later than this.
                late_ms.append((shown_s - sent[each]) * 1000)
            seen = max(seen, value)
    finally:
        publisher.close()
        shop.end()
        broker.kill()
    return sorted(late_ms)


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_kb(pid: int) -> int:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1])
    raise SystemExit("no VmRSS")
