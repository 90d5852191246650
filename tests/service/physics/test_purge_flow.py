"""The flow between readings: held, made good, unknown in time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.physics.purge_flow import FlowRecord


def counted_l(record: FlowRecord, dt_s: float, steps: int) -> float:
    return sum((record.settle(dt_s) or 0.0) * dt_s / 60.0 for _ in range(steps))


@given(st.lists(st.floats(0.5, 20.0), min_size=3, max_size=40))
def test_counted_litres_are_the_trapezoid(flows: list[float]) -> None:
    record, counted = FlowRecord(), 0.0
    for index, flow in enumerate(flows):
        record.observe(float(index), flow, by_hand=False)
        counted += counted_l(record, 0.25, 4)
    # The last reading is held for a second more; what is owed is still to be made good.
    expected = float(np.trapezoid(flows)) / 60.0 + flows[-1] / 60.0
    assert counted - record.owed_l == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert record.used_l == pytest.approx(float(np.trapezoid(flows)) / 60.0, abs=1e-12)


@pytest.mark.parametrize(("interval_s", "stale_after_s"), [(0.5, 3.0), (1.0, 3.0), (5.0, 15.0)])
def test_stale_after_three_seconds_or_three_intervals(
    interval_s: float, stale_after_s: float
) -> None:
    record = FlowRecord()
    for index in range(10):
        record.observe(index * interval_s, 10.0, by_hand=False)
    assert record.stale_at_s == pytest.approx(9 * interval_s + stale_after_s)


def test_a_typed_flow_does_not_age() -> None:
    record = FlowRecord()
    record.observe(0.0, 10.0, by_hand=True)
    assert record.stale_at_s is None


def test_what_was_held_before_silence_is_owed() -> None:
    record = FlowRecord()
    record.observe(0.0, 12.0, by_hand=False)
    assert counted_l(record, 1.0, 3) == pytest.approx(0.6)
    record.lose(3.0)
    assert record.current() is None
    assert record.owed_l == pytest.approx(0.6)
    record.observe(10.0, 12.0, by_hand=False)
    # Nothing of the gap is in the litres used, and the owed ones pass first.
    assert record.used_l == 0.0
    assert counted_l(record, 1.0, 3) == pytest.approx(0.0)
    assert counted_l(record, 1.0, 1) == pytest.approx(0.2)


def test_an_upset_is_a_fall_of_the_flow_not_noise() -> None:
    record = FlowRecord()
    for t_s in range(20):
        record.observe(float(t_s), 10.0 + (-1) ** t_s, by_hand=False)
    assert record.upset_at_s is None
    record.observe(20.0, 4.0, by_hand=False)
    assert record.upset_at_s == 20.0
