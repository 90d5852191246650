"""A source's own promise of its next reading (RFC 8428, section 4.2, Update Time)."""

from __future__ import annotations

import pytest

from service.judge import actions as act

LIMITS = act.Limits(preheat_min_c=200)


@pytest.fixture
def slow(stage):
    """A probe that was heard each second, and then only when something changes."""
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.sources = {"tc1": lambda t_s: 320.0 - 0.1 * t_s}
    stage.part(1, {"tc1": "thermocouple"}, LIMITS)
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    return stage


def verdict(stage) -> str:
    return stage.bench_part()["heat"]["verdict"]


def test_without_a_promise_three_seconds_are_silence(slow):
    slow.run(40)
    assert verdict(slow) == "ready"
    slow.sources = {}
    slow.run(5)
    assert verdict(slow) == "unknown"


def test_a_promised_pause_is_no_silence_but_its_end_is(slow):
    slow.act(act.UpdateTimeTold(channel="tc1", update_us=20_000_000))
    slow.run(40)
    slow.sources = {}
    slow.run(22)
    assert verdict(slow) == "ready"
    slow.run(3)
    assert verdict(slow) == "unknown"


def test_a_promise_of_an_hour_is_believed_for_a_minute(slow):
    slow.act(act.UpdateTimeTold(channel="tc1", update_us=3_600_000_000))
    slow.run(40)
    slow.sources = {}
    slow.run(66)
    assert verdict(slow) == "unknown"
    assert slow.replayed() == (slow.alarms, slow.verdicts)
