"""What goes with age and what stays; how long the disk lasts."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from service.commands.main import main
from service.judge import actions as act
from service.judge.events import Acted, Refused, Stamp
from service.judge.judge import Judge
from service.store import retention
from service.store.database import Store
from service.store.entries import Arrived

NOON_US = 1_790_000_000_000_000
HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
NOW_US = NOON_US + 100 * DAY_US
PINNED_US, OPEN_US = NOON_US + 20 * DAY_US, NOON_US + 60 * DAY_US


def fill(store: Store, shop) -> None:
    """A reading a minute, two hours in every tenth day; heat 1 pinned, heat 2 not, heat 3 open."""
    keep = store.write_side.keeper.keep
    facts = act.PartFacts(name="a")
    keep([shop.acted(act.CreatePart(part_id=1, facts=facts))])
    heats = {PINNED_US: 1, NOON_US + 40 * DAY_US: 2, OPEN_US: 3}
    for day in range(0, 100, 10):
        at_us = NOON_US + day * DAY_US
        shop.mono_us = at_us
        heat_id = heats.get(at_us)
        if heat_id is not None:
            keep([shop.acted(act.BeginHeat(heat_id=heat_id, part_id=1))])
        readings = []
        for minute in range(120):
            shop.mono_us = at_us + minute * 60_000_000
            readings.append(shop.reading(float(minute)))
        keep([Arrived(tuple(readings))])
        if heat_id in (1, 2):
            keep([shop.acted(act.EndHeat(heat_id=heat_id))])
    keep([shop.acted(act.PinHeat(heat_id=1))])
    store.write_side.keeper._roll_at_s = 0.0
    keep([Arrived((shop.reading(1.0),))])


def days_with_readings(path: Path) -> list[int]:
    with sqlite3.connect(path) as connection:
        rows = connection.execute(
            "SELECT DISTINCT (t_us - ?) / ? FROM reading ORDER BY 1", (NOON_US, DAY_US)
        ).fetchall()
    return [row[0] for row in rows]


def test_old_readings_go_but_for_open_and_pinned_heats(store: Store, path: Path, shop) -> None:
    fill(store, shop)
    before = store.history("TC1", NOON_US, NOON_US + 2 * HOUR_US, 1000)
    assert before.step_us < 10_000_000
    engine = store.write_side.engine
    counted = retention.throw_away(engine, {0: 10, 10: 30}, NOW_US, only_count=True)
    assert days_with_readings(path) == list(range(0, 100, 10))
    gone = retention.throw_away(engine, {0: 10, 10: 30}, NOW_US, only_count=False)
    assert gone.rows == counted.rows
    # The pinned one's day stays, and everything since the open one began.
    assert days_with_readings(path) == [20, 60, 70, 80, 90]
    assert gone.rows[0] == 5 * 120
    # The history of what has gone is told by what is left: a minute's sums, nothing missing.
    told = store.history("TC1", NOON_US, NOON_US + 2 * HOUR_US, 1000)
    assert told.step_us == 60_000_000
    assert sum(step.good for step in told.steps) == 120
    assert max(step.high or 0 for step in told.steps) == 119
    # The pinned heat is told as finely as ever.
    pinned = store.history("TC1", PINNED_US, PINNED_US + 2 * HOUR_US, 1000)
    assert pinned.step_us == before.step_us
    # A second time there is nothing left to go.
    assert retention.throw_away(engine, {0: 10}, NOW_US, only_count=False).rows == {0: 0}


def test_a_pin_taken_off_lets_go(store: Store, path: Path, shop) -> None:
    fill(store, shop)
    shop.mono_us = NOW_US
    store.write_side.keeper.keep([shop.acted(act.PinHeat(heat_id=1, pinned=False))])
    retention.throw_away(store.write_side.engine, {0: 10}, NOW_US, only_count=False)
    assert days_with_readings(path) == [60, 70, 80, 90]


def test_a_late_reading_does_not_spoil_the_sums_of_what_has_gone(store: Store, shop) -> None:
    fill(store, shop)
    retention.throw_away(store.write_side.engine, {0: 10}, NOW_US, only_count=False)
    # A place in the order that has been passed.
    shop.seq, shop.mono_us = 3, NOON_US + 60_000_000
    store.write_side.keeper.keep([Arrived((shop.reading(5000.0, t_us=NOON_US + 61_000_000),))])
    told = store.history("TC1", NOON_US, NOON_US + 2 * HOUR_US, 100)
    assert sum(step.good for step in told.steps) == 120


@pytest.mark.parametrize(
    ("days", "words"),
    [
        ({0: 1}, "days 1 is not between 7 and 36525"),
        ({0: float("nan")}, "days nan is not between"),
        ({600: 50}, "level 600 is not one of 0, 10, 60"),
        ({0: 100, 10: 50}, "readings must not stay longer than their sums"),
    ],
)
def test_what_is_not_allowed_is_said(store: Store, days, words) -> None:
    with pytest.raises(ValueError, match=words):
        retention.throw_away(store.write_side.engine, days, NOW_US, only_count=False)


def test_only_a_heat_there_is_can_be_pinned() -> None:
    with pytest.raises(Refused, match="There is no heat 4"):
        Judge().step(Acted(Stamp(1, NOON_US, NOON_US), act.PinHeat(heat_id=4)))


def test_how_long_the_disk_lasts(store: Store, path: Path, shop, capsys, monkeypatch) -> None:
    """By hand: 1,201 readings kept in so many bytes; 121 of them in the last two hours."""
    fill(store, shop)
    monkeypatch.setattr(retention, "BYTES_A_READING", 5000.0)
    with store.connect() as connection:
        found = retention.space(connection, str(path.parent))
    assert found.readings == 1201
    assert found.readings_a_day == pytest.approx(121 / 13 * 144)
    assert found.bytes_a_reading == pytest.approx(found.used_bytes / 1201)
    assert found.years_left == pytest.approx(
        found.free_bytes / (found.used_bytes / 1201 * 121 / 13 * 144 * 365.25)
    )
    # What is left after a clearing is little for all the readings there were: no promise by that.
    retention.throw_away(store.write_side.engine, {0: 7, 10: 7, 60: 7}, NOW_US, only_count=False)
    with store.connect() as connection:
        after = retention.space(connection, str(path.parent))
    assert after.used_bytes / 1201 < after.bytes_a_reading == 5000
    store.close()
    assert main(["retain", "--database", str(path), "--readings-days", "8", "--dry-run"]) == 0
    told = capsys.readouterr().out
    assert "rows older than 8 d would go" in told
    assert "at this rate the disk lasts" in told
    assert main(["retain", "--database", str(path), "--readings-days", "1"]) == 2
    assert "days 1 is not between" in capsys.readouterr().err
