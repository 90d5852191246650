"""The history corrected by the calibration of its time; the rows stay as they came."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing

import pytest

from service.judge.actions import AdoptChannel, CalibrateChannel
from service.store.writer import Writer

SECOND_US = 1_000_000


def calibrate(*checks: tuple[float, float], **more) -> CalibrateChannel:
    points = [{"reads": reads, "true": true} for reads, true in checks]
    return CalibrateChannel(channel="TC1", checks=points, **more)


@pytest.fixture
def kept(store, shop):
    """100 s at 300 °C, checked after 30 s (reads 3 K high) and freed of it after 70 s."""
    writer = Writer(store)
    writer.start()
    writer.put_action(shop.acted(AdoptChannel(channel="TC1", channel_kind="thermocouple")), None)
    begin_us = shop.mono_us
    for second in range(100):
        shop.mono_us = begin_us + second * SECOND_US
        if second == 30:
            writer.put_action(
                shop.acted(calibrate((3.0, 0.0), (103.0, 100.0), valid_days=30, note="ice")), None
            )
        if second == 70:
            writer.put_action(shop.acted(calibrate()), None)
        writer.put_readings([shop.reading(300.0)], None, None)
    assert writer.stop(20)
    return begin_us


def test_each_step_is_corrected_by_what_held_then(store, kept):
    history = store.history("TC1", kept, kept + 100 * SECOND_US, 100)
    told = {round((step.t_us - kept) / SECOND_US): step.low for step in history.steps}
    assert {told[second] for second in range(2, 29)} == {300.0}
    assert {told[second] for second in range(32, 69)} == {297.0}
    assert {told[second] for second in range(72, 99)} == {300.0}


def test_the_rows_and_the_calibration_are_both_kept(kept, path):
    with closing(sqlite3.connect(path)) as database:
        values = database.execute("SELECT DISTINCT value FROM reading").fetchall()
        told = database.execute(
            "SELECT from_us, due_us, checks, note FROM calibration ORDER BY id"
        ).fetchall()
        journalled = database.execute(
            "SELECT count(*) FROM journal WHERE kind = 'calibrate channel'"
        ).fetchone()
    assert values == [(300.0,)]
    assert [json.loads(checks) for _, _, checks, _ in told] == [[[3.0, 0.0], [103.0, 100.0]], []]
    assert told[0][1] - told[0][0] == 30 * 86_400 * SECOND_US
    assert (told[0][3], told[1][1], journalled) == ("ice", None, (2,))
