"""How fast readings reach the database, against a bare ``sqlite3`` loop in the same run.

    python tests/bench/store_writes.py [--readings 50000] [--runs 5]

Both write the same values in batches of 1, 10, 100 and 1000, in WAL with full sync, into files in
one folder; medians of the runs. The floor does nothing but ``executemany`` of ready tuples into a
table with the same columns.
"""

from __future__ import annotations

import argparse
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from service.readings import Quality, Reading
from service.store.database import Store
from service.store.entries import Arrived

START_US = 1_790_000_000_000_000
CHANNELS = 4

Batches = Sequence[Sequence[Reading]]


def batches(count: int, size: int) -> Batches:
    made = [
        Reading(
            channel=f"TC{index % CHANNELS}",
            unit="Cel",
            value=300 + (index % 977) / 8,
            quality=Quality.GOOD,
            reason=None,
            t_us=START_US + index * 250_000,
            arrived_us=START_US + index * 250_000 + 1500,
            mono_us=START_US + index * 250_000 + 1500,
            seq=index + 1,
            timed=True,
        )
        for index in range(count)
    ]
    return [made[start : start + size] for start in range(0, count, size)]


def floor(path: Path, work: Batches) -> float:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(
        "CREATE TABLE reading (channel_id INTEGER, t_us INTEGER, value REAL, quality INTEGER,"
        " delay_us INTEGER, seq INTEGER, unit_id INTEGER, flags INTEGER, reason TEXT,"
        " PRIMARY KEY (channel_id, t_us)) WITHOUT ROWID"
    )
    rows = [
        [(int(r.channel[2:]), r.t_us, r.value, 0, 1500, r.seq, 1, 1, None) for r in batch]
        for batch in work
    ]
    begun_s = time.perf_counter()
    for batch in rows:
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany("INSERT INTO reading VALUES (?,?,?,?,?,?,?,?,?)", batch)
        connection.execute("COMMIT")
    took_s = time.perf_counter() - begun_s
    connection.close()
    return took_s


def ours(path: Path, work: Batches) -> float:
    store = Store.open(f"sqlite:///{path}")
    keep = store.write_side.keeper.keep
    entries = [[Arrived(tuple(batch))] for batch in work]
    begun_s = time.perf_counter()
    for entry in entries:
        keep(entry)
    took_s = time.perf_counter() - begun_s
    store.close()
    return took_s


def size_bytes(path: Path) -> int:
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path.stat().st_size


def median_s(run: Callable[[Path, Batches], float], work: Batches, runs: int) -> tuple[float, int]:
    taken, size = [], 0
    for _ in range(runs):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "bench.db"
            taken.append(run(path, work))
            size = size_bytes(path)
    return statistics.median(taken), size


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=50_000)
    parser.add_argument("--runs", type=int, default=5)
    asked = parser.parse_args()
    print("batch | floor rows/s | heatwindow rows/s | ratio | floor B/row | heatwindow B/row")
    for size in (1, 10, 100, 1000):
        work = batches(min(asked.readings, 500 * size), size)
        count = sum(map(len, work))
        bare_s, bare_size = median_s(floor, work, asked.runs)
        our_s, our_size = median_s(ours, work, asked.runs)
        print(
            f"{size} | {count / bare_s:,.0f} | {count / our_s:,.0f} | {bare_s / our_s:.2f}"
            f" | {bare_size / count:.1f} | {our_size / count:.1f}"
        )


if __name__ == "__main__":
    main()
