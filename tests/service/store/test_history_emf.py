"""The history of a bare voltage, told in degrees.

Voltages are made with the package thermocouple-its90 (NIST SRD 60 coefficients).
"""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
import thermocouple_its90

from service.judge.actions import AdoptChannel
from service.store.writer import Writer

TYPE_K = thermocouple_its90.get("K")
SECOND_US = 1_000_000


def emf_mv(hot_c: float, terminals_c: float) -> float:
    return float(TYPE_K.emf(hot_c) - TYPE_K.emf(terminals_c))


@pytest.fixture
def kept(store, shop):
    """Two minutes: the part falls from 300 °C by 0.5 K/s, the box warms; the box falls silent
    after 100 s; the writer has put all of it on the disk."""
    writer = Writer(store)
    writer.start()
    readings = []
    for second in range(240):
        shop.mono_us += SECOND_US - 2000
        box_c = 20.0 + second / 30.0
        if second < 100:
            readings.append(shop.reading(box_c, channel="board"))
        emf = emf_mv(300.0 - 0.5 * second, box_c)
        readings.append(shop.reading(emf, channel="emf", unit="mV"))
    writer.put_readings(readings, None, None)
    writer.put_action(
        shop.acted(
            AdoptChannel(
                channel="emf",
                channel_kind="thermocouple",
                thermocouple="K",
                cold_junction="board",
            )
        ),
        None,
    )
    assert writer.stop(20)
    return readings[0].t_us


def test_each_step_is_the_temperature_of_its_voltage(store, kept):
    history = store.history("emf", kept, kept + 100 * SECOND_US, 100)
    assert history.unit == "Cel"
    told = [step for step in history.steps if not step.is_gap]
    assert len(told) >= 99
    for step in told:
        second = (step.t_us - kept) / SECOND_US
        assert step.high == pytest.approx(300.0 - 0.5 * second, abs=0.6)
        assert step.low <= step.mean <= step.high


def test_coarse_steps_keep_the_extremes(store, kept):
    history = store.history("emf", kept, kept + 100 * SECOND_US, 2)
    assert max(step.high for step in history.steps) == pytest.approx(300.0, abs=2.0)
    lowest_c = 300.0 - 0.5 * (history.end_us - kept) / SECOND_US  # whole slots of the roll-up
    assert min(step.low for step in history.steps) == pytest.approx(lowest_c, abs=2.0)


def test_without_its_terminals_a_voltage_is_a_gap(store, kept):
    history = store.history("emf", kept, kept + 240 * SECOND_US, 240)
    late = [step for step in history.steps if step.t_us - kept > 165 * SECOND_US]
    assert late
    assert all(step.is_gap for step in late)
    assert sum(step.bad for step in late) >= 70
    assert not any(step.is_gap for step in history.steps if step.t_us - kept < 155 * SECOND_US)


def test_what_was_said_of_it_is_in_the_table(store, kept, path):
    with closing(sqlite3.connect(path)) as database:
        told = database.execute(
            "SELECT c.name, c.kind, c.thermocouple, j.name FROM channel c"
            " LEFT JOIN channel j ON j.id = c.cold_junction_id ORDER BY c.name"
        ).fetchall()
    assert told == [
        ("board", "cold junction", None, None),
        ("emf", "thermocouple", "K", "board"),
    ]
