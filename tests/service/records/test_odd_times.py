"""A heat begun under a date that cannot be right and set right in its middle, in the hour that an
American autumn night has twice, of a part and a probe with hostile names: right in every format.

When clocks change: 2026-11-01 06:00 UTC in New York, 2026-10-25 01:00 UTC in Dublin, 2026-03-08
07:00 UTC and 2026-03-29 01:00 UTC the other way (IANA time zone database, America/New_York and
Europe/Dublin).
"""

from __future__ import annotations

import csv
import json
import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pypdfium2
import pytest

from service.commands.main import main
from service.records.gather import gather
from service.records.local_time import clock_text, local_text
from service.records.shelf import Shelf
from service.store.database import Store
from tests.field.recorded_heat import record_heat

HOSTILE = "=cmd|'/C calc'!A0<img src=x onerror=alert(1)>"
STAMPED = datetime(2021, 1, 1, tzinfo=UTC)
"""What a small computer without a battery says after a night without power."""
RIGHT = datetime(2026, 11, 1, 5, 45, 30, tzinfo=UTC)


def us(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


@pytest.fixture(scope="module")
def undated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("undated") / "shop.db"
    record_heat(
        path,
        name=HOSTILE,
        probe="@tc<b>",
        start_us=us(STAMPED),
        clock_step_us=us(RIGHT) - us(STAMPED),
    )
    return path


def ran(database: Path, path: Path, *words: str) -> Path:
    assert main([*words, "-o", str(path), "--database", str(database)]) == 0
    return path


@pytest.mark.parametrize(
    ("zone", "utc", "wall"),
    [
        ("America/New_York", "2026-11-01T05:59:59Z", "2026-11-01T01:59:59-04:00"),
        ("America/New_York", "2026-11-01T06:00:00Z", "2026-11-01T01:00:00-05:00"),
        ("America/New_York", "2026-03-08T06:59:59Z", "2026-03-08T01:59:59-05:00"),
        ("America/New_York", "2026-03-08T07:00:00Z", "2026-03-08T03:00:00-04:00"),
        ("Europe/Dublin", "2026-10-25T00:59:59Z", "2026-10-25T01:59:59+01:00"),
        ("Europe/Dublin", "2026-10-25T01:00:00Z", "2026-10-25T01:00:00+00:00"),
        ("Europe/Dublin", "2026-03-29T00:59:59Z", "2026-03-29T00:59:59+00:00"),
        ("Europe/Dublin", "2026-03-29T01:00:00Z", "2026-03-29T02:00:00+01:00"),
    ],
)
def test_a_moment_on_the_wall_when_clocks_change(zone: str, utc: str, wall: str) -> None:
    from zoneinfo import ZoneInfo

    t_us = us(datetime.fromisoformat(utc))
    day, time, offset = wall[:10], wall[11:19], wall[19:]
    assert local_text(t_us, ZoneInfo(zone)) == f"{day}T{time}.000000{offset}"
    assert clock_text(t_us, ZoneInfo(zone)) == f"{day} {time} {offset}"


def test_the_csv(undated: Path, tmp_path: Path) -> None:
    path = ran(undated, tmp_path / "h.csv", "export", "1", "--timezone", "America/New_York")
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    assert {row["channel"] for row in rows} == {"'@tc<b>", "tc2", "flow1", "oxygen1", "room1"}
    assert HOSTILE not in path.read_text(encoding="utf-8")
    probe = [row for row in rows if row["channel"] == "tc2"]
    # Run seconds are those of the shop, though the stamps leap over nearly six years.
    runs = [float(row["run_s"]) for row in probe]
    assert {round(after - before) for before, after in pairwise(runs)} == {1}
    assert probe[0]["utc"].startswith("2021-01-01T00:00:")
    assert all(row["utc"][:10] in ("2021-01-01", "2026-11-01") for row in rows)
    for row in rows:
        assert datetime.fromisoformat(row["local"]) == datetime.fromisoformat(row["utc"])
    store = Store.open_to_read(f"sqlite:///{undated}")
    try:
        assert sum(each.readings for each in gather(store, 1).channels) == len(rows)
    finally:
        store.close()
    # The same time of day twice: only the offset, and the run, tell which.
    corrected = [row["local"] for row in probe if row["local"].startswith("2026-11-01")]
    assert corrected == sorted(corrected, key=datetime.fromisoformat)
    assert {local[-6:] for local in corrected} == {"-04:00", "-05:00"}
    clocks = [local[11:19] for local in corrected]
    assert clocks != sorted(clocks)


def test_the_report(undated: Path, tmp_path: Path) -> None:
    path = ran(undated, tmp_path / "h.pdf", "report", "1", "--timezone", "America/New_York")
    document = pypdfium2.PdfDocument(path)
    pages = [document[place].get_textpage().get_text_range() for place in range(len(document))]
    text = " ".join(" ".join(pages).split())
    assert HOSTILE in text
    assert "@tc<b>" in text
    # Begun, as the corrected clock would have shown it; ended after the hour came again.
    assert "begun 2026-11-01 01:46:00 -04:00" in text
    assert "ended 2026-11-01 01:" in text
    # The gas was shut off in the first of the two hours; every time of day says which it was.
    assert re.search(r"2026-11-01 01:52:23 -04:00 01:57:53 -04:00 66 l", text)
    assert " -05:00" in text
    assert "The wall clock was corrected by +184052730.000 s during the heat" in text
    assert "2021-" not in text


def test_the_json(undated: Path, tmp_path: Path) -> None:
    first = ran(undated, tmp_path / "h.json", "export", "1", "--unchecked")
    body = json.loads(first.read_text(encoding="ascii"))["body"]
    assert HOSTILE in json.dumps(body)
    assert main(["import", str(first), "--into", str(tmp_path / "copy.db")]) == 0
    again = ran(tmp_path / "copy.db", tmp_path / "again.json", "export", "1", "--unchecked")
    assert again.read_bytes() == first.read_bytes()
    assert main(["replay", str(tmp_path / "copy.db")]) == 0


def test_what_the_page_is_told(undated: Path) -> None:
    store = Store.open_to_read(f"sqlite:///{undated}")
    try:
        record = gather(store, 1)
        shelf = Shelf(store, lambda: us(RIGHT) + 3_600_000_000)
        (listed,) = shelf.heats()
        told = shelf.record(1)
        drawn = shelf.chart(1)
    finally:
        store.close()
    lasted_s = (record.to_us - record.begun_us) / 1e6
    assert 600 < lasted_s < 3600
    for each in (listed, told):
        began, ended = (datetime.fromisoformat(each[name]) for name in ("began_at", "ended_at"))
        assert us(began) == pytest.approx(us(RIGHT) + 30e6, abs=1e6)
        assert (ended - began).total_seconds() == pytest.approx(lasted_s, abs=0.01)
        assert each["part"] == HOSTILE
    assert "2021-01-01" not in json.dumps(told)
    assert "<img" not in drawn
    assert "onerror" not in drawn.replace("onerror=alert(1)&gt;", "")
