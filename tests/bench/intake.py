"""How fast, how late, how heavy: the service against a bare loop, in one run.

    python tests/bench/first_light.py [--messages N] [--rounds N] [--idle-s S] [--seed N] [--out F]

Needs mosquitto. Prints a table and writes commit, seed, counts and figures as JSON.

* *intake*: N packs at QoS 1 wait at the broker; time from the first committed row to the last, for
  ``bare_loop.py`` and for the service (judge on, the channels assigned to a part with an open
  heat), in turn, medians over the rounds.
* *publish to board*: 100 readings/s, from just before ``publish`` until ``/api/v1/bench`` shows the
  value, asked every few milliseconds.
* *idle*: the demo at real speed, CPU of one core and resident memory of its main process.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

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


def drain_rate(database: Path, start: Callable[[], None], first_rows: int, expected: int) -> float:
    """Rows per second from the first new committed row to the last."""
    start()
    began_s, began_rows, end = 0.0, 0, time.monotonic() + 300
    while time.monotonic() < end:
        rows = rows_in(database) - first_rows
        if rows and not began_s:
            began_s, began_rows = time.monotonic(), rows
        if rows >= expected:
            return (rows - began_rows) / (time.monotonic() - began_s)
        time.sleep(0.01)
    raise SystemExit(f"only {rows_in(database) - first_rows} of {expected} rows came")


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


def intake(folder: Path, messages: int, records: int, rounds: int, rng: random.Random) -> Any:
    broker = Mosquitto(folder)
    broker.start()
    shop_folder = folder / "shop"
    shop_folder.mkdir()
    shop = ServiceProcess(
        shop_folder, f'[mqtt]\nhost="127.0.0.1"\nport={broker.port}\ntopics=["bench/#"]\n'
    )
    bare = BareLoop(folder, broker.port)
    publisher = Publisher(broker.port)
    rates: dict[str, list[float]] = {"bare": [], "heatwindow": []}
    try:
        shop.start()
        warm = [
            json.dumps([{"n": f"bench/{n}", "u": "Cel", "v": 300.0}]).encode()
            for n in range(CHANNELS)
        ]
        publisher.publish("bench/warm", *warm)
        wait_until(lambda: len(shop.bench()["channels"]) == CHANNELS, "all channels")
        hot_part(shop)
        shop.stop()
        bare.start()
        bare.stop()
        for _ in range(rounds):
            publisher.publish("bench/x", *[pack(rng, records) for _ in range(messages)])
            expected = messages * records
            rates["bare"].append(
                drain_rate(bare.database, bare.start, rows_in(bare.database), expected)
            )
            bare.stop()
            rates["heatwindow"].append(
                drain_rate(shop.database, shop.launch, rows_in(shop.database), expected)
            )
            wait_until(shop.healthy, "healthy")
            shop.stop()
    finally:
        publisher.close()
        shop.end()
        broker.kill()
    medians = {name: statistics.median(found) for name, found in rates.items()}
    ratios = [ours / floor for ours, floor in zip(rates["heatwindow"], rates["bare"], strict=True)]
    return {
        "messages": messages,
        "records_per_message": records,
        "rounds": rounds,
        "bare_rows_per_s": round(medians["bare"]),
        "heatwindow_rows_per_s": round(medians["heatwindow"]),
        "ratio": round(statistics.median(ratios), 2),
    }


def publish_to_board(folder: Path, count: int) -> Any:
    broker = Mosquitto(folder)
    broker.start()
    shop_folder = folder / "shop"
    shop_folder.mkdir()
    shop = ServiceProcess(
        shop_folder, f'[mqtt]\nhost="127.0.0.1"\nport={broker.port}\ntopics=["bench/#"]\n'
    )
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
    late_ms.sort()
    return {
        "readings": count,
        "p50_ms": round(late_ms[len(late_ms) // 2], 1),
        "p99_ms": round(late_ms[int(len(late_ms) * 0.99)], 1),
    }


def idle(seconds: float) -> Any:
    process = subprocess.Popen(
        [sys.executable, "-m", "service.commands.main", "demo", "--port", "0"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        assert address.startswith("http://"), address
        time.sleep(10)
        before = cpu_s(process.pid)
        time.sleep(seconds)
        used = cpu_s(process.pid) - before
        resident_mb = resident_kb(process.pid) / 1024
    finally:
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=20)
    return {
        "seconds": seconds,
        "cpu_percent_of_a_core": round(100 * used / seconds, 1),
        "resident_mb": round(resident_mb),
    }


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_kb(pid: int) -> int:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1])
    raise SystemExit("no VmRSS")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--messages", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--idle-s", type=float, default=60.0)
    parser.add_argument("--readings", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    rng = random.Random(given.seed)
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    ).stdout.strip()
    result: dict[str, Any] = {
        "commit": commit,
        "seed": given.seed,
        "machine": f"{os.cpu_count()} cores, {platform.machine()}, Python "
        f"{platform.python_version()}, SQLite {sqlite3.sqlite_version}",
    }
    with tempfile.TemporaryDirectory() as name:
        for records in (1, 10):
            folder = Path(name) / f"intake{records}"
            folder.mkdir()
            result[f"intake_{records}"] = intake(
                folder, given.messages // records, records, given.rounds, rng
            )
        folder = Path(name) / "late"
        folder.mkdir()
        result["publish_to_board"] = publish_to_board(folder, given.readings)
    result["idle"] = idle(given.idle_s)
    one, ten, late, rest = (
        result["intake_1"], result["intake_10"], result["publish_to_board"], result["idle"],
    )  # fmt: skip
    print(f"commit {commit}, seed {given.seed}, {result['machine']}\n")
    print("| what | bare loop | heatwindow | ratio |")
    print("|---|---|---|---|")
    for text, found in (("1 reading a pack", one), ("10 readings a pack", ten)):
        print(
            f"| broker to committed row, QoS 1, {text} [rows/s] | {found['bare_rows_per_s']} "
            f"| {found['heatwindow_rows_per_s']} | {found['ratio']} |"
        )
    print(f"| publish to board at 100 readings/s, p50, p99 [ms] | | {late['p50_ms']}, "
          f"{late['p99_ms']} | |")  # fmt: skip
    print(f"| demo at real speed: CPU of one core [%], resident [MB] | | "
          f"{rest['cpu_percent_of_a_core']}, {rest['resident_mb']} | |")  # fmt: skip
    if given.out:
        given.out.write_text(json.dumps(result, indent=2) + "\n")


if __name__ == "__main__":
    main()
