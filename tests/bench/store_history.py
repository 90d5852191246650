"""How long a month's history takes from the roll-up, against the same summed from the readings.

    python tests/bench/store_history.py [--days 30] [--points 2000]

One channel at 1 Hz, written by the ordinary way. The floor is the same SQL on the readings.
"""

from __future__ import annotations

import argparse
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from service.readings import Quality, Reading
from service.store.database import Store
from service.store.entries import Arrived

START_US = 1_790_000_000_000_000
SECOND_US = 1_000_000
BATCH = 5_000

FROM_READINGS = """
    SELECT (t_us - ?) / ?, min(value), max(value), avg(value), count(value)
    FROM reading WHERE channel_id = 1 AND t_us >= ? AND t_us < ? AND quality = 0 GROUP BY 1
"""


def fill(store: Store, count: int) -> float:
    begun_s = time.perf_counter()
    for start in range(0, count, BATCH):
        batch = [
            Reading(
                "TC1",
                "Cel",
                300 + (index % 977) / 8,
                Quality.GOOD,
                None,
                START_US + index * SECOND_US,
                START_US + index * SECOND_US + 900,
                START_US + index * SECOND_US + 900,
                index + 1,
                timed=True,
            )
            for index in range(start, min(start + BATCH, count))
        ]
        store.write_side.keeper.keep([Arrived(tuple(batch))])
    return time.perf_counter() - begun_s


def median_ms(work: Callable[[], object], runs: int = 5) -> float:
    taken = []
    for _ in range(runs):
        begun_s = time.perf_counter()
        work()
        taken.append((time.perf_counter() - begun_s) * 1000)
    return statistics.median(taken)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=float, default=30)
    parser.add_argument("--points", type=int, default=2000)
    asked = parser.parse_args()
    count = round(asked.days * 86_400)
    end_us = START_US + count * SECOND_US
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.db"
        store = Store.open(f"sqlite:///{path}")
        took_s = fill(store, count)
        step_us = (end_us - START_US) // asked.points
        bare = sqlite3.connect(path)
        bare_ms = median_ms(
            lambda: bare.execute(FROM_READINGS, (START_US, step_us, START_US, end_us)).fetchall()
        )
        bare.close()
        ours_ms = median_ms(lambda: store.history("TC1", START_US, end_us, asked.points))
        hour_ms = median_ms(
            lambda: store.history("TC1", end_us - 3600 * SECOND_US, end_us, asked.points)
        )
        store.close()
        print(f"{count:,} readings written and rolled up at {count / took_s:,.0f} a second")
        print(f"{path.stat().st_size / count:.1f} bytes a reading, roll-up included")
        print(f"{asked.days:g} days to {asked.points} steps: {ours_ms:.0f} ms, from the readings")
        print(f"{bare_ms:.0f} ms: ratio {ours_ms / bare_ms:.3f}; the last hour: {hour_ms:.1f} ms")


if __name__ == "__main__":
    main()
