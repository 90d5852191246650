"""History against a plain reference: peaks kept, gaps kept, figures of good readings only."""

from __future__ import annotations

import math
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.readings import Quality, Reading
from service.store.database import Store, StoreError, UnknownChannel
from service.store.entries import Arrived

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
        assert len(history.steps) <= points
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


def reference(readings, start_us, end_us, points):
    """The same, written as plainly as possible."""
    step_us = max(1, math.ceil((end_us - start_us) / points))
    steps = {}
    for r in readings:
        if start_us <= r.t_us < end_us:
            steps.setdefault((r.t_us - start_us) // step_us, []).append(r)
    answer = []
    for slot in sorted(steps):
        good = [r.value for r in steps[slot] if r.quality is Quality.GOOD]
        answer.append(
            (
                start_us + slot * step_us,
                min(good, default=None),
                max(good, default=None),
                sum(good) / len(good) if good else None,
                len(good),
                sum(r.quality is Quality.SUSPECT for r in steps[slot]),
                sum(r.quality is Quality.BAD for r in steps[slot]),
            )
        )
    return step_us, answer


@st.composite
def records(draw):
    times = draw(st.lists(st.integers(0, 4000), unique=True, max_size=60))
    scale_us = draw(st.sampled_from([1, 1000, SECOND_US, 7 * SECOND_US]))
    readings = [
        reading(
            i,
            START_US + t * scale_us,
            draw(st.floats(-200, 1800)),
            draw(st.sampled_from([Quality.GOOD, Quality.GOOD, Quality.SUSPECT, Quality.BAD])),
        )
        for i, t in enumerate(times)
    ]
    start_us = START_US + draw(st.integers(-100, 4100)) * scale_us + draw(st.integers(0, 3))
    end_us = start_us + draw(st.integers(1, 4100)) * scale_us + draw(st.integers(0, 3))
    return readings, start_us, end_us, draw(st.integers(1, 300))


@settings(max_examples=60, deadline=None)
@given(records())
def test_as_a_plain_reference_has_it(template, record):
    readings, start_us, end_us, points = record
    with tempfile.TemporaryDirectory() as folder:
        path = shutil.copy(template, Path(folder) / "shop.db")
        store = Store.open(f"sqlite:///{path}")
        keep(store, readings)
        if not readings:
            store.close()
            return
        history = store.history("TC1", start_us, end_us, points)
        store.close()
    step_us, expected = reference(readings, start_us, end_us, points)
    assert history.step_us == step_us
    found = [
        (s.t_us, s.low, s.high, s.mean, s.good, s.suspect, s.bad)
        for s in history.steps
        if s.good + s.suspect + s.bad
    ]
    assert [row[:3] + row[4:] for row in found] == [row[:3] + row[4:] for row in expected]
    assert [row[3] for row in found] == pytest.approx([row[3] for row in expected])
    assert len(expected) <= points
