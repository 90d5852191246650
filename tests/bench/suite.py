"""Everything that DEVELOPERS.md promises about speed, measured in one run and printed as one table.

    python tests/bench/suite.py [--only WORD ...] [--quick] [--folder DIR] [--seed N]

Floors are measured beside the thing itself: a bare paho and sqlite3 program, bare ``executemany``,
the same SQL on the readings, a plain Flask answer. Medians; on a machine that others use too, only
the ratios and the processor times mean anything. Needs mosquitto and chromium, and 2 GB of disk in
``--folder``. Nothing is asserted about time: a bar that is missed says so in its row.
"""

from __future__ import annotations

import argparse
import os
import platform
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import intake
import judge
import pages
import store_writes
import year

from tests.field.bench_parts import Mosquitto, Publisher, wait_until
from tests.field.service_process import ServiceProcess


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table."""

    what: str
    found: str
    bar: str
    reached: bool


@dataclass(frozen=True, slots=True)
class Given:
    """How long to measure, and where."""

    folder: Path
    rng: random.Random
    quick: bool

    def of(self, whole: int, quick: int) -> int:
        return quick if self.quick else whole

    def place(self, name: str) -> Path:
        made = self.folder / name
        made.mkdir()
        return made


def _share(late: list[float], share: float) -> float:
    return late[min(len(late) - 1, int(len(late) * share))]


def intakes(given: Given) -> Iterator[Row]:
    for records, readings in ((1, given.of(40_000, 8_000)), (10, given.of(200_000, 40_000))):
        rounds = given.of(5, 1)
        folder = given.place(f"intake{records}")
        found = intake.intake(folder, readings, records, rounds, given.rng)
        yield Row(
            f"broker to committed row, QoS 1, {records} a pack, judge on",
            f"{found.rows_per_s:,.0f} rows/s, bare {found.bare_rows_per_s:,.0f}: "
            f"{found.ratio:.2f}; of processor time ({found.cpu_us:.0f} µs a row) "
            f"{found.cpu_ratio:.2f}",
            ">= 0.6 of the bare loop",
            found.ratio >= 0.6,
        )


def board(given: Given) -> Iterator[Row]:
    late = intake.publish_to_board(given.place("board"), given.of(3000, 500))
    yield Row(
        "publish to board, 100 readings/s, p50, p99",
        f"{_share(late, 0.5):.0f}, {_share(late, 0.99):.0f} ms",
        "p99 <= 100 ms",
        _share(late, 0.99) <= 100,
    )


def text(given: Given) -> Iterator[Row]:
    late = pages.publish_to_text(given.place("text"), given.of(90, 20))
    yield Row(
        "publish to the text in chromium, p50, p99",
        f"{_share(late, 0.5):.0f}, {_share(late, 0.99):.0f} ms",
        "p99 <= 800 ms",
        _share(late, 0.99) <= 800,
    )


def writer(given: Given) -> Iterator[Row]:
    work = store_writes.batches(given.of(50_000, 10_000), 100)
    ratios, rates = [], []
    for turn in range(given.of(7, 3)):
        taken = [
            run(given.folder / f"writes{turn}{number}.db", work)
            for number, run in enumerate((store_writes.floor, store_writes.ours))
        ]
        ratios.append(taken[0] / taken[1])
        rates.append(sum(map(len, work)) / taken[1])
    yield Row(
        "store writer, batches of 100",
        f"{statistics.median(rates):,.0f} rows/s: {statistics.median(ratios):.2f}",
        ">= 0.6 of executemany",
        statistics.median(ratios) >= 0.6,
    )


def judging(given: Given) -> Iterator[Row]:
    per_s = statistics.median(judge.four_channels(250, given.of(60, 20))[0] for _ in range(3))
    second_ms = statistics.median(judge.four_channels(4, given.of(120, 30))[1] for _ in range(3))
    updates = judge.estimator_updates(given.of(300, 100))
    yield Row(
        "judge, all estimators, part of four channels",
        f"{per_s:,.0f} readings/s; updates/s: cooldown {updates['cooldown']:,.0f}, purge with its "
        f"oxygen sensor {updates['purge']:,.0f}; a whole shop second {second_ms:.1f} ms",
        ">= 5,000 readings/s, >= 500 updates/s",
        per_s >= 5000 and min(updates.values()) >= 500,
    )


def disk(given: Given) -> Iterator[Row]:
    found = year.bytes_a_reading(given.folder, given.of(400_000, 80_000))
    yield Row("disk, roll-ups included", f"{found:.1f} bytes a reading", "<= 40", found <= 40)


def idle(given: Given) -> Iterator[Row]:
    for what, heat in (("no heat open", False), ("all eight on an open heat", True)):
        folder = given.place(f"idle-{heat}")
        percent, resident_mb = pages.idle(folder, given.of(60, 15), heat)
        yield Row(
            f"8 channels at 4 Hz from two nodes, one page open, {what}",
            f"{percent:.1f} % of a core, {resident_mb:.0f} MB",
            "<= 3 %, <= 120 MB",
            percent <= 3 and resident_mb <= 120,
        )


def twenty(given: Given) -> Iterator[Row]:
    folder, seconds = given.place("pages"), given.of(40, 8)
    broker = Mosquitto(folder)
    broker.start()
    shop = intake.mqtt_shop(folder, broker)
    publisher = Publisher(broker.port)
    try:
        shop.start()
        intake.warm_up(shop, publisher)
        body = pages.bench_body(shop)
        late = pages.twenty_pages(shop.port, "/api/v1/bench", seconds)
    finally:
        publisher.close()
        shop.end()
        broker.kill()
    plain = pages.plain_answers(body, lambda port: pages.twenty_pages(port, "/", seconds))
    yield Row(
        "bench answer with twenty pages open, ten of them dead, p50, p99",
        f"{_share(late, 0.5):.1f}, {_share(late, 0.99):.1f} ms; plain Flask answer "
        f"{_share(plain, 0.5):.1f}, {_share(plain, 0.99):.1f} ms",
        "p99 <= 100 ms",
        _share(late, 0.99) <= 100,
    )


def years(given: Given) -> Iterator[Row]:
    """History of a dense year; of another beside ten times its rows; and the start beside much."""
    found = []
    for name, every_s, channels in (
        ("few", given.of(10, 100), 1),
        ("many", given.of(10, 100), 10),
        ("dense", given.of(1, 10), 1),
    ):
        shop = ServiceProcess(given.place(name))
        rows = year.make_year(shop.database, every_s, channels)
        shop.start()
        try:
            found.append((rows, year.history_ms(shop, given.of(9, 5))))
        finally:
            shop.stop()
    (few_rows, few), (many_rows, many), (dense_rows, dense) = found
    worst_ms = max(*many.values(), *dense.values())
    growth = max(many[name] / few[name] for name in few)
    named = ", ".join(f"{name} {ms:.0f}" for name, ms in dense.items())
    yield Row(
        f"history at the API, 2,000 points, of {dense_rows:,} readings in a year",
        f"{named} ms; of one channel among {many_rows:,} readings against {few_rows:,}: "
        f"{growth:.2f} times at the most",
        "<= 100 ms, <= 1.5 times",
        worst_ms <= 100 and growth <= 1.5,
    )
    gigabytes = shop.database.stat().st_size / 1e9
    for what, database in (
        ("an empty database", None),
        (f"a database of {gigabytes:.1f} GB", shop.database),
    ):
        took_s = statistics.median(_starts(given, database, given.of(5, 2)))
        yield Row(
            f"run to the first stored reading, {what}", f"{took_s:.2f} s", "<= 2 s", took_s <= 2
        )


def _starts(given: Given, database: Path | None, runs: int) -> Iterator[float]:
    """Seconds from the start of the process to its first row, a node publishing all the time."""
    folder = given.place("start" if database is None else "start-large")
    broker = Mosquitto(folder)
    broker.start()
    shop = intake.mqtt_shop(folder, broker)
    if database is not None:
        for each in database.parent.glob("shop.*"):
            if each.suffix != ".toml":
                each.rename(shop.folder / each.name)
    publisher, stop = Publisher(broker.port), threading.Event()

    def publish() -> None:
        while not stop.wait(0.02):
            publisher.client.publish("bench/x", intake.pack(given.rng, 1), 1)

    thread = threading.Thread(target=publish)
    thread.start()
    try:
        for _ in range(runs):
            if database is None:
                for each in shop.folder.glob("shop.db*"):
                    each.unlink()
            before = _highest(shop.database)
            begun_s = time.monotonic()
            shop.launch()
            wait_until(lambda before=before: _highest(shop.database) > before, "a row", 60)
            yield time.monotonic() - begun_s
            wait_until(shop.healthy, "healthy")
            shop.stop()
    finally:
        stop.set()
        thread.join()
        publisher.close()
        shop.end()
        broker.kill()


def _highest(database: Path) -> int:
    """The latest time of a reading from the node; quick, however much there is."""
    try:
        connection = sqlite3.connect(f"file:{database}?mode=ro", uri=True, timeout=5)
    except sqlite3.OperationalError:
        return 0
    try:
        names = connection.execute("SELECT id FROM channel WHERE name LIKE 'bench/%'").fetchall()
        query = "SELECT max(t_us) FROM reading WHERE channel_id = ?"
        return max(
            (connection.execute(query, each).fetchone()[0] or 0 for each in names), default=0
        )
    except sqlite3.OperationalError:  # not made yet
        return 0
    finally:
        connection.close()


ROWS: dict[str, Callable[[Given], Iterator[Row]]] = {
    "intake": intakes,
    "board": board,
    "text": text,
    "writer": writer,
    "judge": judging,
    "history": years,
    "disk": disk,
    "idle": idle,
    "pages": twenty,
}


def _machine() -> str:
    model = "an unknown processor"
    for line in Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            model = line.partition(":")[2].strip()
            break
    return (
        f"{os.cpu_count()} cores {platform.machine()} ({model}), Python "
        f"{platform.python_version()}, SQLite {sqlite3.sqlite_version}, load "
        f"{os.getloadavg()[0]:.1f} at the start"
    )


def _commit() -> str:
    said = [
        subprocess.run(["git", *words], capture_output=True, text=True, check=False).stdout.strip()
        for words in (["rev-parse", "--short", "HEAD"], ["status", "--porcelain", "service"])
    ]
    return f"{said[0] or 'unknown'}{', service/ changed since' if said[1] else ''}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="*", default=list(ROWS), choices=list(ROWS))
    parser.add_argument("--quick", action="store_true", help="less of everything: does it work?")
    parser.add_argument("--folder", type=Path, help="where databases are made")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print(f"commit {_commit()}, seed {asked.seed}, {_machine()}\n")
    print("| what | measured | bar | |\n|---|---|---|---|", flush=True)
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        given = Given(Path(name), random.Random(asked.seed), asked.quick)
        for word in asked.only:
            for row in ROWS[word](given):
                verdict = "reached" if row.reached else "missed"
                print(f"| {row.what} | {row.found} | {row.bar} | {verdict} |", flush=True)


if __name__ == "__main__":
    main()
