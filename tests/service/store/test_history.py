"""History against a plain reference: peaks kept, gaps kept, figures of good readings only."""

from __future__ import annotations

import math
import shutil
import tempfile
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.readings import Quality, Reading
from service.store import keeper as keeper_module
from service.store.database import Store, StoreError, UnknownChannel
from service.store.entries import Arrived
from service.store.history import Grid, _rolled, read_history
from service.store.roll_up import _by_slot, rolled_seq, since

START_US = 1_790_000_000_000_000
SECOND_US = 1_000_000


def reading(index, t_us, value, quality=Quality.GOOD, channel="TC1", unit="Cel"):
    return Reading(
        channel=channel,
        unit=unit,
        value=value,
        quality=quality,
        reason=None,
        t_us=t_us,
        arrived_us=START_US + index,
        mono_us=START_US + index,
        seq=index + 1,
        timed=True,
    )


def keep(store, readings):
    store.write_side.keeper.keep([Arrived(tuple(readings))])


def series(store, times_s, values=None):
    """Good readings of TC1 at seconds after the start; the value is the second by default."""
    items = [
        reading(i, START_US + round(t * SECOND_US), float(t if values is None else values[i]))
        for i, t in enumerate(times_s)
    ]
    keep(store, items)
    return items


def drawn(history):
    return [None if step.is_gap else (step.low, step.high) for step in history.steps]


def test_a_peak_of_one_reading_is_never_lost(store):
    values = [300.0] * 3000
    values[1234], values[2345] = 901.0, 12.0
    series(store, range(3000), values)
    for points in (1, 7, 100, 2999):
        history = store.history("TC1", START_US, START_US + 3000 * SECOND_US, points)
        assert len(history.steps) <= points + 1
        assert max(step.high for step in history.steps) == 901.0
        assert min(step.low for step in history.steps) == 12.0


def test_steps_tell_low_high_mean_and_numbers(store):
    series(store, range(10))
    history = store.history("TC1", START_US, START_US + 10 * SECOND_US, 2)
    assert history.unit == "Cel"
    assert history.step_us == 5 * SECOND_US
    assert [(s.t_us - START_US, s.low, s.high, s.mean, s.good) for s in history.steps] == [
        (0, 0.0, 4.0, 2.0, 5),
        (5 * SECOND_US, 5.0, 9.0, 7.0, 5),
    ]


def test_the_end_is_excluded_and_the_start_included(store):
    series(store, range(10))
    history = store.history("TC1", START_US + 2 * SECOND_US, START_US + 5 * SECOND_US, 100)
    assert drawn(history) == [(2.0, 2.0), (3.0, 3.0), (4.0, 4.0)]


def test_bad_and_suspect_values_are_counted_but_in_no_figure(store):
    keep(
        store,
        [
            reading(0, START_US, 300.0),
            reading(1, START_US + 1, 2000.0, Quality.BAD),
            reading(2, START_US + 2, 85.0, Quality.SUSPECT),
            reading(3, START_US + 3, None, Quality.BAD, unit=None),
            reading(4, START_US + 4, 310.0),
        ],
    )
    (step,) = store.history("TC1", START_US, START_US + 10, 1).steps
    assert (step.low, step.high, step.mean) == (300.0, 310.0, 305.0)
    assert (step.good, step.suspect, step.bad) == (2, 1, 2)


def test_a_silence_is_a_gap(store):
    series(store, [*range(20), *range(60, 80)])
    history = store.history("TC1", START_US, START_US + 80 * SECOND_US, 80)
    gaps = [step for step in history.steps if step.is_gap]
    assert [(gap.t_us - START_US) // SECOND_US for gap in gaps] == [20]
    assert len(history.steps) == 41


def test_a_slow_channel_has_no_gaps_between_its_own_readings(store):
    series(store, range(0, 600, 20))
    history = store.history("TC1", START_US, START_US + 600 * SECOND_US, 600)
    assert not any(step.is_gap for step in history.steps)
    assert len(history.steps) == 30


def test_a_time_of_faults_is_a_gap_too(store):
    items = [reading(i, START_US + i * SECOND_US, float(i)) for i in range(20)]
    items[8:12] = [
        reading(i, START_US + i * SECOND_US, None, Quality.BAD, unit=None) for i in range(8, 12)
    ]
    keep(store, items)
    history = store.history("TC1", START_US, START_US + 20 * SECOND_US, 20)
    assert [i for i, step in enumerate(history.steps) if step.is_gap] == [8, 9, 10, 11]
    assert sum(step.bad for step in history.steps) == 4


def test_another_unit_is_not_mixed_in(store):
    items = [reading(i, START_US + i, 20.0, unit="mV") for i in range(3)]
    keep(store, [*items, reading(3, START_US + 3, 500.0)])
    (step,) = store.history("TC1", START_US, START_US + 10, 1).steps
    assert (step.low, step.high, step.good) == (500.0, 500.0, 1)


def test_nothing_there_is_an_empty_history(store):
    series(store, [1])
    assert store.history("TC1", START_US - 10, START_US - 5, 10).steps == []


def test_a_channel_that_has_only_sent_faults(store):
    keep(store, [reading(0, START_US, None, Quality.BAD, unit=None)])
    history = store.history("TC1", START_US, START_US + 10, 10)
    assert history.unit is None
    assert [(s.good, s.bad, s.low) for s in history.steps] == [(0, 1, None)]


def test_what_cannot_be_answered_is_said(store):
    with pytest.raises(UnknownChannel, match="'nowhere'"):
        store.history("nowhere", 0, 10, 10)
    series(store, [1])
    with pytest.raises(StoreError, match="not after the start"):
        store.history("TC1", 10, 10, 10)
    for points in (0, 20_001):
        with pytest.raises(StoreError, match=f"points {points} is not between"):
            store.history("TC1", 0, 10, points)


def reference(readings, history):
    """The same, written as plainly as possible."""
    steps = {}
    for r in readings:
        if history.start_us <= r.t_us < history.end_us:
            steps.setdefault((r.t_us - history.start_us) // history.step_us, []).append(r)
    answer = []
    for slot in sorted(steps):
        good = [r.value for r in steps[slot] if r.quality is Quality.GOOD]
        answer.append(
            (
                history.start_us + slot * history.step_us,
                min(good, default=None),
                max(good, default=None),
                sum(good) / len(good) if good else None,
                len(good),
                sum(r.quality is Quality.SUSPECT for r in steps[slot]),
                sum(r.quality is Quality.BAD for r in steps[slot]),
            )
        )
    return answer


def check(history, readings, start_us, end_us, points):
    """The grid is what was asked for, or a little coarser and wider; the figures are right."""
    asked_us = max(1, math.ceil((end_us - start_us) / points))
    if asked_us < 20 * SECOND_US:
        assert (history.start_us, history.end_us) == (start_us, end_us)
        assert history.step_us == asked_us
    else:
        assert start_us - asked_us / 2 < history.start_us <= start_us
        assert end_us <= history.end_us < end_us + asked_us / 2
        assert asked_us <= history.step_us < asked_us * 1.5
    assert (
        len([step for step in history.steps if step.good + step.suspect + step.bad]) <= points + 1
    )
    found = [
        (s.t_us, s.low, s.high, s.mean, s.good, s.suspect, s.bad)
        for s in history.steps
        if s.good + s.suspect + s.bad
    ]
    expected = reference(readings, history)
    assert [row[:3] + row[4:] for row in found] == [row[:3] + row[4:] for row in expected]
    assert [row[3] for row in found] == pytest.approx([row[3] for row in expected])


@st.composite
def records(draw):
    """Readings in some order, in batches, after some of which the writer sums up."""
    times = draw(st.lists(st.integers(0, 4000), unique=True, min_size=1, max_size=60))
    scale_us = draw(st.sampled_from([1, 1000, SECOND_US, 7 * SECOND_US, 3600 * SECOND_US]))
    qualities = st.sampled_from([Quality.GOOD, Quality.GOOD, Quality.SUSPECT, Quality.BAD])
    readings = [
        reading(i, START_US + t * scale_us, draw(st.floats(-200, 1800)), draw(qualities))
        for i, t in enumerate(times)
    ]
    cuts = sorted(draw(st.sets(st.integers(1, len(readings)), max_size=4)) | {len(readings)})
    batches = [readings[low:high] for low, high in pairwise([0, *cuts])]
    if draw(st.booleans()):
        batches.reverse()  # some come out of turn
    summed_after = draw(st.lists(st.booleans(), min_size=len(batches), max_size=len(batches)))
    start_us = START_US + draw(st.integers(-100, 4100)) * scale_us + draw(st.integers(0, 3))
    end_us = start_us + draw(st.integers(1, 4100)) * scale_us + draw(st.integers(0, 3))
    return list(zip(batches, summed_after, strict=True)), start_us, end_us


@settings(max_examples=30, deadline=None)
@given(records(), st.lists(st.integers(1, 300), min_size=1, max_size=4))
def test_as_a_plain_reference_has_it(template, record, points_asked):
    batches, start_us, end_us = record
    readings = [item for batch, _ in batches for item in batch]
    with tempfile.TemporaryDirectory() as folder:
        path = shutil.copy(template, Path(folder) / "shop.db")
        store = Store.open(f"sqlite:///{path}")
        for batch, sum_up in batches:
            store.write_side.keeper._roll_at_s = 0.0 if sum_up else math.inf
            keep(store, batch)
        for points in points_asked:
            history = store.history("TC1", start_us, end_us, points)
            check(history, readings, start_us, end_us, points)
        store.close()


def test_summing_up_goes_on_after_a_kill_where_it_stood(url, store, rows):
    keep(store, [reading(i, START_US + i * SECOND_US, float(i)) for i in range(100)])
    assert rows("SELECT seq FROM rollup_mark") == [(100,)]
    more = [reading(i, START_US + i * SECOND_US, float(i)) for i in range(100, 200)]
    keep(store, more)
    assert rows("SELECT seq FROM rollup_mark") == [(100,)], "not yet due"
    store.close()  # as good as a kill: closing writes nothing
    again = Store.open(url)
    keep(again, [reading(200, START_US + 200 * SECOND_US, 200.0), *more])
    assert rows("SELECT seq FROM rollup_mark") == [(201,)]
    for span_s in (10, 60, 600):
        assert rows("SELECT sum(good), sum(total) FROM rollup WHERE span_s = ?", span_s) == [
            (201, 200 * 201 / 2)
        ]
    again.close()


def test_a_fault_in_summing_up_costs_no_reading(store, rows, monkeypatch, caplog):
    def faulty(connection):
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setattr(keeper_module, "roll_up", faulty)
    items = series(store, range(100))
    assert list(store.readings()) == items
    assert "summing up failed" in caplog.text
    assert rows("SELECT count(*) FROM misfit") == [(0,)]
    history = store.history("TC1", START_US, START_US + 100 * SECOND_US, 1)
    assert [(step.low, step.high, step.good) for step in history.steps] == [(0.0, 99.0, 100)]


def test_a_long_history_reads_the_roll_up_and_not_the_readings(store, plan):
    series(store, range(0, 86_400, 30))
    grid = Grid.over(START_US, START_US + 86_400 * SECOND_US, 300)
    assert grid.span_s == 60
    assert "SEARCH rollup USING PRIMARY KEY" in plan(_rolled(1, 1, grid, 60))
    with store._connect() as connection:
        strays, near = since(connection, _by_slot(10), rolled_seq(connection))
    assert "ix_reading_stray_seq" in plan(strays)
    assert "SEARCH reading USING PRIMARY KEY (channel_id=? AND t_us>?)" in plan(near)


def test_a_long_history_looks_only_at_the_newest_readings(store):
    """Counted in steps of SQLite's machine, so that it does not depend on the computer."""
    items = [reading(i, START_US + i * 10 * SECOND_US, float(i)) for i in range(8640)]
    keep(store, [item._replace(arrived_us=item.t_us, mono_us=item.t_us) for item in items])
    steps = []
    with store._connect() as connection:
        connection.connection.set_progress_handler(lambda: steps.append(1) and 0, 1000)
        read_history(connection, "TC1", START_US, START_US + 86_400 * SECOND_US, 20)
    assert len(steps) * 1000 < 8640 * 2, "fewer than two for each reading: they were not visited"
