"""Alarm changes to tell of, and waiting for receivers."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import pytest

from service.judge.events import AlarmChange, AlarmState, Outcome, VerdictChange

PATIENCE_S = 30.0
AT_US = 1_764_000_000_250_000
"""2025-11-24T16:00:00.250Z."""


def alarm(
    alarm_id: int = 1, state: AlarmState = "unacknowledged", *, speak: bool | None = None
) -> Outcome:
    """One change of one alarm; it speaks when raised unless told otherwise."""
    return Outcome(
        alarms=[
            AlarmChange(
                alarm_id=alarm_id,
                kind="purge lost",
                part_id=3,
                channel=None,
                state=state,
                since_us=AT_US,
                at_us=AT_US,
                mono_us=AT_US,
                text="Pump engine manifold at 210 °C: no argon is flowing",
                speak=state == "unacknowledged" if speak is None else speak,
            )
        ]
    )


def verdict() -> Outcome:
    return Outcome(
        verdicts=[
            VerdictChange(
                heat_id=7,
                at_us=AT_US,
                mono_us=AT_US,
                phase="bench",
                verdict="wait",
                heat="ready",
                purge="wait",
                text="Wait for the purge.",
            )
        ]
    )


def wait_until(happened: Callable[[], bool], what: str) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while not happened():
        if time.monotonic() > end_s:
            pytest.fail(f"within {PATIENCE_S:g} s, not seen: {what}")
        threading.Event().wait(0.01)


@pytest.fixture(name="alarm")
def _alarm() -> Callable[..., Outcome]:
    return alarm


@pytest.fixture(name="verdict")
def _verdict() -> Callable[[], Outcome]:
    return verdict


@pytest.fixture(name="wait_until")
def _wait_until() -> Callable[..., None]:
    return wait_until
