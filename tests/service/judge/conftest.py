"""A stage for judge tests: a shop with channels that speak, a clock that the test moves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from service.judge import actions as act
from service.judge.events import (
    Acted,
    Advance,
    AlarmChange,
    Event,
    Outcome,
    Stamp,
    TripChange,
    VerdictChange,
)
from service.judge.judge import Judge
from service.readings import Quality, Reading

START_US = 1_780_000_000_000_000
"""About 2026-05-28 UTC; a whole second."""

UNITS = {
    "tc": "Cel", "room": "Cel", "board": "Cel", "emf": "mV", "flow": "l/min", "oxygen": "ppm",
    "arc": "A", "weld": "on/off", "button": "on/off",
}  # fmt: skip


@dataclass
class Stage:
    """Drives a judge; remembers every event, so that the run can be replayed."""

    judge: Judge = field(default_factory=Judge)
    now_us: int = START_US
    offset_us: int = 0
    seq: int = 0
    events: list[Event] = field(default_factory=list)
    alarms: list[AlarmChange] = field(default_factory=list)
    verdicts: list[VerdictChange] = field(default_factory=list)
    trips: list[TripChange] = field(default_factory=list)
    sources: dict[str, Callable[[float], Any]] = field(default_factory=dict)
    """Channels that speak once a second: name to a function of seconds since the start giving a
    number, a fault text, or ``None`` for silence."""

    @property
    def t_s(self) -> float:
        return (self.now_us - START_US) / 1e6

    def feed(self, event: Event) -> Outcome:
        self.events.append(event)
        outcome = self.judge.step(event)
        self.alarms += outcome.alarms
        self.verdicts += outcome.verdicts
        self.trips += outcome.trips
        return outcome

    def act(self, action: act.Action) -> Outcome:
        self.seq += 1
        return self.feed(Acted(Stamp(self.seq, self.now_us, self.now_us + self.offset_us), action))

    def say(
        self, channel: str, value: float | str | None, t_us: int | None = None
    ) -> tuple[Quality, str | None]:
        """One reading now, through the gate; a text is a fault from the wire."""
        unit = UNITS[channel.rstrip("0123456789")]
        number, fault = (None, value) if isinstance(value, str) else (value, None)
        quality, reason = self.judge.sense(channel, unit, number, fault, self.now_us)
        self.seq += 1
        arrived_us = self.now_us + self.offset_us
        self.feed(
            Reading(
                channel, unit, number, quality, reason,
                arrived_us if t_us is None else t_us, arrived_us, self.now_us, self.seq,
                timed=t_us is not None,
            )
        )  # fmt: skip
        return quality, reason

    def run(self, seconds: float) -> None:
        """Let the shop run: each source speaks once a second, ticks pass."""
        for _ in range(round(seconds)):
            self.now_us += 1_000_000
            for name, source in self.sources.items():
                value = source(self.t_s)
                if value is not None:
                    self.say(name, value)
            self.feed(Advance(self.now_us + 999, self.now_us + 999 + self.offset_us))

    def part(
        self,
        number: int = 1,
        channels: dict[str, str] | None = None,
        limits: act.Limits | None = None,
        **facts: Any,
    ) -> None:
        """Create a part and put channels (name to kind) on it."""
        facts = {"name": f"manifold {number}", "mass_kg": 6.0, "area_m2": 0.15, **facts}
        self.act(
            act.CreatePart(
                part_id=number, facts=act.PartFacts(**facts), limits=limits or act.Limits()
            )
        )
        for name, kind in (channels or {}).items():
            self.act(act.AdoptChannel(channel=name, channel_kind=kind))
            self.act(act.AssignChannel(channel=name, part_id=number))

    def bench_part(self, number: int = 1) -> dict[str, Any]:
        return next(dict(p) for p in self.judge.bench()["parts"] if p["id"] == number)

    def states(self, kind: str) -> list[str]:
        return [change.state for change in self.alarms if change.kind == kind]

    def replayed(self, events: list[Event] | None = None) -> tuple[list[Any], list[Any]]:
        """The same events into a fresh judge: its alarm and verdict changes.

        Its readings are weighed, as in the service; those of the stage were steps.
        """
        judge, told = Judge(), Outcome()
        for event in self.events if events is None else events:
            if isinstance(event, Reading):
                judge.weigh(event, told)
            else:
                told.add(judge.step(event))
        return told.alarms, told.verdicts


@pytest.fixture
def stage() -> Stage:
    return Stage()


@pytest.fixture
def new_stage() -> Callable[[], Stage]:
    return Stage
