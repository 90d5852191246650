"""A generated year of readings, of any size, in a database as the service itself would leave it.

Used by ``suite.py``: history, the start beside much data, bytes a reading. The rows are made by
SQL; ``bytes_a_reading`` goes the ordinary way through the writer's keeper.
"""

from __future__ import annotations

import http.client
import json
import sqlite3
import statistics
import time
from datetime import UTC, datetime
from pathlib import Path

from service.readings import Quality, Reading
from service.store.database import Store
from service.store.entries import Arrived
from service.store.marker import RENEW_SEQ
from service.store.roll_up import SPANS_S
from tests.field.service_process import ServiceProcess

SECOND_US = 1_000_000
DAY_S = 86_400
YEAR_S = 365 * DAY_S
START_US = 1_760_000_000 * SECOND_US
CHANNEL = "year/0"

ROWS = """
    WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < :steps)
    INSERT INTO reading SELECT :channel, :start + i * :every, 300 + (i * 7919 % 977) / 8.0, 0, 1500,
        i * :channels + :channel, 1, 1, NULL FROM n
"""
MARKS = """
    WITH RECURSIVE n(i) AS (
        SELECT :renew UNION ALL SELECT i + :renew FROM n WHERE i + :renew < :steps
    )
    INSERT INTO seq_mark SELECT i * :channels + 1, 0, :start + i * :every + 1500 FROM n
"""
SUMS = """
    INSERT INTO rollup SELECT :span, channel_id, unit_id, t_us / (:span * 1000000) AS slot,
        min(value), max(value), sum(value), count(value), 0, 0, min(t_us), max(t_us)
    FROM reading GROUP BY channel_id, unit_id, slot
"""


def reading(number: int, every_us: int, channel: str = CHANNEL) -> Reading:
    t_us = START_US + number * every_us
    value = 300 + number * 7919 % 977 / 8
    return Reading(
        channel, "Cel", value, Quality.GOOD, None, t_us, t_us + 1500, t_us + 1500, number + 1, True
    )


def make_year(database: Path, every_s: int, channels: int = 1) -> int:
    """Fill a database with a year of each channel; how many readings."""
    first = [reading(0, 0, f"year/{number}")._replace(seq=number + 1) for number in range(channels)]
    store = Store.open(f"sqlite:///{database}")
    store.write_side.keeper.keep([Arrived(tuple(first))])
    store.close()
    given = {
        "steps": YEAR_S // every_s - 1,
        "start": START_US,
        "every": every_s * SECOND_US,
        "channels": channels,
        "renew": RENEW_SEQ // channels,
    }
    connection = sqlite3.connect(database, isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute("BEGIN")
    for channel in range(1, channels + 1):
        connection.execute(ROWS, given | {"channel": channel})
    connection.execute(MARKS, given)
    connection.execute("DELETE FROM rollup")
    for span_s in SPANS_S:
        connection.execute(SUMS, {"span": span_s})
    (count,) = connection.execute("SELECT max(seq) FROM reading").fetchone()
    connection.execute("UPDATE rollup_mark SET seq = ?", (count,))
    connection.execute("COMMIT")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return int(count)


def asked_ms(
    shop: ServiceProcess, channel: str, start_s: int, length_s: int, points: int = 2000
) -> tuple[float, int]:
    """One question to the API over a connection that stands: until all is here [ms], and points."""
    moments = [
        datetime.fromtimestamp(START_US / 1e6 + at_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        for at_s in (start_s, start_s + length_s)
    ]
    path = f"/api/v1/history?channel={channel}&start={moments[0]}&end={moments[1]}&points={points}"
    connection = http.client.HTTPConnection("127.0.0.1", shop.port, timeout=60)
    connection.connect()
    begun_s = time.perf_counter()
    connection.request("GET", path)
    answer = connection.getresponse()
    body = answer.read()
    took_ms = 1000 * (time.perf_counter() - begun_s)
    connection.close()
    if answer.status != 200:
        raise SystemExit(f"history answers {answer.status}: {body[:300]!r}")
    return took_ms, len(json.loads(body)["points"])


def _asked(shop: ServiceProcess, start_s: int, length_s: int) -> float:
    """Milliseconds of one question."""
    took_ms, points = asked_ms(shop, CHANNEL, start_s, length_s)
    if points < 30:
        raise SystemExit(f"history answers with {points} points of 2000")
    return took_ms


RANGES_S = {"year": YEAR_S, "month": 30 * DAY_S, "day": DAY_S, "hour": 3600}


def history_ms(shop: ServiceProcess, runs: int) -> dict[str, float]:
    """Median of each range, in the middle of the year [ms]."""
    middle_s = YEAR_S // 3
    return {
        name: statistics.median(
            _asked(shop, 0 if length_s == YEAR_S else middle_s, length_s) for _ in range(runs)
        )
        for name, length_s in RANGES_S.items()
    }


def bytes_a_reading(folder: Path, count: int, channels: int = 8) -> float:
    """Of the file, all tables and the roll-up included, by the ordinary way: ``channels`` at 1 Hz,
    a batch for each second."""
    store = Store.open(f"sqlite:///{folder / 'bytes.db'}")
    begun = 0
    while begun < count:
        batch = []
        for _ in range(1000):
            number = begun
            second, which = divmod(number, channels)
            at_us = START_US + second * SECOND_US + which
            batch.append(
                reading(number, 0, f"TC{which}")._replace(
                    t_us=at_us, arrived_us=at_us + 1500, mono_us=at_us + 1500
                )
            )
            begun += 1
        store.write_side.keeper.keep([Arrived(tuple(batch))])
    store.close()
    with sqlite3.connect(folder / "bytes.db") as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return (folder / "bytes.db").stat().st_size / begun
