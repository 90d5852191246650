"""Any range of a whole year of eight channels at 1 Hz, asked of the real service over HTTP.

    python tests/bench/whole_year.py --folder DIR [--days 365] [--readings-days N] [--asks 25]

Makes two databases under DIR, as the service itself would leave them: one of ``--days`` and one of
a tenth of that. A year of eight channels is 252 million readings, some 12 GB, and takes a quarter
of an hour of one idle core. With ``--readings-days`` only the newest so many days (a tenth of them
in the smaller one) have their readings, and the days before have the sums of 10 s, 1 min and
10 min, as ``heatwindow retain`` leaves them.

The service is started on each, and ranges from a minute to the whole are asked for at random places
of random channels, 2,000 points each: *cold* with the file's pages thrown out of the system's cache
before each question, *warm* the same question again. Both have the same density, so what grows
tenfold is the number of rows alone.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from service.store.database import Store
from service.store.entries import Arrived
from service.store.marker import RENEW_SEQ
from tests.bench.intake import cpu_s
from tests.bench.year import DAY_S, MARKS, START_US, asked_ms, reading
from tests.field.service_process import ServiceProcess

SECOND_US = 1_000_000
POINTS = 2000
MINUTE_S = 60
RANGES_S = {
    "a minute": MINUTE_S,
    "ten minutes": 10 * MINUTE_S,
    "an hour": 3600,
    "six hours": 6 * 3600,
    "a day": DAY_S,
    "a week": 7 * DAY_S,
    "a month": 30 * DAY_S,
    "a quarter": 91 * DAY_S,
    "a year": 365 * DAY_S,
}

ROWS = """
    WITH RECURSIVE n(i) AS (SELECT :first UNION ALL SELECT i + 1 FROM n WHERE i + 1 < :past)
    INSERT INTO reading SELECT :channel, :start + i * 1000000, 300 + (i * 7919 % 977) / 8.0, 0,
        1500, i * :channels + :channel, 1, 1, NULL FROM n
"""
"""Of one channel, from one second of the stretch to another."""

SUMS = """
    INSERT INTO rollup SELECT 10, channel_id, unit_id, t_us / 10000000 AS slot,
        min(value), max(value), sum(value), count(value), 0, 0, min(t_us), max(t_us)
    FROM reading WHERE channel_id = :channel AND t_us >= :from_us AND t_us < :to_us GROUP BY slot
"""
SUMS_ALONE = """
    WITH RECURSIVE n(i) AS (
        SELECT :from_us / 10000000 UNION ALL SELECT i + 1 FROM n WHERE i + 1 < :to_us / 10000000
    )
    INSERT INTO rollup SELECT 10, :channel, 1, i, 300 + (i % 97) / 8.0, 380 + (i % 89) / 8.0, 3600,
        10, 0, 0, i * 10000000, i * 10000000 + 9000000 FROM n
"""
COARSER = """
    INSERT INTO rollup SELECT :span, channel_id, unit_id, slot / :by AS coarse,
        min(low), max(high), sum(total), sum(good), 0, 0, min(first_us), max(last_us)
    FROM rollup WHERE span_s = :of GROUP BY channel_id, unit_id, coarse
"""


def fill(database: Path, days: int, readings_days: int, channels: int) -> None:
    """A day of each channel in turn, so that they lie mixed on the disk."""
    store = Store.open(f"sqlite:///{database}")
    first = [reading(0, 0, f"year/{number}")._replace(seq=number + 1) for number in range(channels)]
    store.write_side.keeper.keep([Arrived(tuple(first))])
    store.close()
    connection = sqlite3.connect(database, isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute("PRAGMA cache_size = -200000")
    connection.execute("DELETE FROM reading")
    connection.execute("DELETE FROM rollup")
    for day in range(days):
        connection.execute("BEGIN")
        for channel in range(1, channels + 1):
            given = {
                "channel": channel,
                "channels": channels,
                "start": START_US,
                "first": day * DAY_S,
                "past": (day + 1) * DAY_S,
                "from_us": START_US + day * DAY_S * SECOND_US,
                "to_us": START_US + (day + 1) * DAY_S * SECOND_US,
            }
            if day >= days - readings_days:
                connection.execute(ROWS, given)
                connection.execute(SUMS, given)
            else:
                connection.execute(SUMS_ALONE, given)
        connection.execute("COMMIT")
    connection.execute("BEGIN")
    marks = {
        "steps": days * DAY_S,
        "start": START_US,
        "every": SECOND_US,
        "channels": channels,
        "renew": RENEW_SEQ // channels,
    }
    connection.execute(MARKS, marks)
    for finer_s, span_s in ((10, 60), (60, 600)):
        connection.execute(COARSER, {"span": span_s, "of": finer_s, "by": span_s // finer_s})
    if readings_days < days:
        from_us = START_US + (days - readings_days) * DAY_S * SECOND_US
        connection.execute("INSERT INTO kept_from (span_s, from_us) VALUES (0, ?)", (from_us,))
    connection.execute("UPDATE rollup_mark SET seq = ?", (days * DAY_S * channels,))
    connection.execute("COMMIT")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def made(database: Path, days: int, readings_days: int, channels: int) -> int:
    """``fill`` in a process that leaves the machine to whoever else works on it."""
    maker = multiprocessing.get_context("spawn").Process(
        target=_fill_nicely, args=(database, days, readings_days, channels)
    )
    maker.start()
    maker.join()
    if maker.exitcode:
        raise SystemExit("the database could not be made")
    return readings_days * DAY_S * channels


def _fill_nicely(database: Path, days: int, readings_days: int, channels: int) -> None:
    os.nice(10)
    fill(database, days, readings_days, channels)


def forget(database: Path) -> None:
    """Have the system throw out what it holds of the file, as after a night."""
    for path in database.parent.glob(f"{database.name}*"):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
        finally:
            os.close(handle)


def told_ms(shop: ServiceProcess, channel: str, start_s: int, length_s: int) -> float:
    """Milliseconds of one question that was answered as finely as the record allows."""
    took_ms, points = asked_ms(shop, channel, start_s, length_s, POINTS)
    # From sums of ten seconds where the readings have gone.
    if points < min(POINTS / 3, length_s / 10) - 1:
        raise SystemExit(f"history answers with {points} points for {length_s} s")
    return took_ms


@dataclass(frozen=True, slots=True)
class Range:
    """One length of range: sorted milliseconds."""

    name: str
    cold_ms: list[float]
    warm_ms: list[float]
    processor_ms: float
    """Of the service, for one question on the average: what other work on the machine leaves."""


def measure(
    shop: ServiceProcess, days: int, channels: int, asks: int, rng: random.Random
) -> Iterator[Range]:
    whole_s = days * DAY_S
    for name, length_s in RANGES_S.items():
        if length_s > whole_s:
            return
        cold: list[float] = []
        warm: list[float] = []
        begun_s = cpu_s(shop.process.pid)
        for _ in range(asks):
            # Ends on a second that is there: the last of the stretch is asked for too.
            at_s = rng.randrange(0, whole_s - length_s + 1)
            channel = f"year/{rng.randrange(channels)}"
            forget(shop.database)
            cold.append(told_ms(shop, channel, at_s, length_s))
            warm.append(told_ms(shop, channel, at_s, length_s))
        used_s = cpu_s(shop.process.pid) - begun_s
        yield Range(name, sorted(cold), sorted(warm), 1000 * used_s / (2 * asks))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, help="where the databases are made, and left out of")
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--readings-days", type=int, help="only so many days have their readings")
    parser.add_argument("--channels", type=int, default=8)
    parser.add_argument("--asks", type=int, default=25)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    medians: list[dict[str, tuple[float, float]]] = []
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        for share in (10, 1):
            days = max(1, asked.days // share)
            kept = days if asked.readings_days is None else max(1, asked.readings_days // share)
            folder = Path(name) / f"{days}"
            folder.mkdir()
            shop = ServiceProcess(folder)
            begun_s = time.monotonic()
            rows = made(shop.database, days, kept, asked.channels)
            size = shop.database.stat().st_size
            print(
                f"\n{days} days of {asked.channels} channels at 1 Hz, readings of {kept} days: "
                f"{rows:,}, {size / 1e9:.2f} GB, made in "
                f"{time.monotonic() - begun_s:.0f} s; load {os.getloadavg()[0]:.1f}\n\n"
                "| range | cold: median, worst [ms] | warm: median, worst [ms] | processor [ms] |\n"
                "|---|---|---|---|",
                flush=True,
            )
            shop.start()
            found: dict[str, tuple[float, float]] = {}
            rng = random.Random(asked.seed)
            try:
                for each in measure(shop, days, asked.channels, asked.asks, rng):
                    cold, warm = each.cold_ms, each.warm_ms
                    found[each.name] = (statistics.median(warm), each.processor_ms)
                    print(
                        f"| {each.name} | {statistics.median(cold):.0f}, {cold[-1]:.0f} | "
                        f"{found[each.name][0]:.0f}, {warm[-1]:.0f} | {each.processor_ms:.0f} |",
                        flush=True,
                    )
            finally:
                shop.stop()
            medians.append(found)
    few, many = medians
    for place, what in enumerate(("warm medians", "processor time")):
        growth = {each: many[each][place] / few[each][place] for each in few}
        worst = max(growth, key=lambda each: growth[each])
        print(f"\nwith ten times the rows, {what}: at most {growth[worst]:.2f} times ({worst})")


if __name__ == "__main__":
    main()
