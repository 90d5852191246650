"""What goes into the judge and what comes out of it.

In: readings, actions, and the passing of time, each with the stamps the collector gave it.
Out: what changed, for the alarm log, the verdict log and whoever must be told.

Time passes in the judge by itself: before an event at monotonic time *m* is handled, every tick
at a whole multiple of ``TICK_US`` up to *m* is worked through, at its own exact time. An
``Advance`` only says "nothing else happened until *m*". So ticks need no journal: the same
readings and actions give the same ticks, and a replay gives the same verdicts to the letter.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from service.judge.actions import Action, HeatPhase, Origin
from service.readings import Reading

TICK_US = 500_000
"""Judge's own pace [µs of shop time]."""

Verdict = Literal["ready", "wait", "stop", "unknown"]
AlarmState = Literal["normal", "unacknowledged", "acknowledged", "returned"]
AlarmKind = Literal[
    "below preheat",
    "above interpass",
    "cooling too fast",
    "purge lost",
    "room oxygen",
    "sensor fault",
    "no data",
    "not recording",
]


@dataclass(frozen=True, slots=True)
class Stamp:
    """When an action took its place in the order: sequence, monotonic and UTC [µs].

    ``origin``: What said so. A step that the judge found by itself has no place in the order
    (``seq`` 0), and its times are those at which it happened.
    """

    seq: int
    mono_us: int
    utc_us: int
    origin: Origin = "tap"


@dataclass(frozen=True, slots=True)
class Acted:
    """An action at its moment."""

    stamp: Stamp
    action: Action


@dataclass(frozen=True, slots=True)
class Advance:
    """Nothing else has happened up to these times [µs]."""

    mono_us: int
    utc_us: int


Event = Reading | Acted | Advance


class Refused(ValueError):
    """An action that cannot be done now; the message is one sentence for the operator."""


@dataclass(frozen=True, slots=True)
class AlarmChange:
    """One step in the life of an alarm.

    Attributes:
        alarm_id: Unique in the shop; one number per raised condition.
        kind: What is wrong.
        part_id: The part it concerns, if any.
        channel: The channel it concerns, if any.
        state: The state it has entered.
        since_us: When the condition was raised [µs UTC].
        at_us: When this change happened [µs UTC].
        mono_us: The same by the monotonic clock [µs].
        text: One sentence for a person.
        speak: A change that must be heard (raised or worsened), not only shown.
    """

    alarm_id: int
    kind: AlarmKind
    part_id: int | None
    channel: str | None
    state: AlarmState
    since_us: int
    at_us: int
    mono_us: int
    text: str
    speak: bool


@dataclass(frozen=True, slots=True)
class VerdictChange:
    """A heat's verdicts after they changed."""

    heat_id: int
    at_us: int
    mono_us: int
    phase: str
    verdict: Verdict
    heat: Verdict
    purge: Verdict
    text: str


TripKind = Literal[
    "move part",
    "begin pass",
    "end pass",
    "begin purge",
    "end purge",
    "undo step",
    "correct phase",
    "correct pass",
]


@dataclass(frozen=True, slots=True)
class TripChange:
    """One step of a part's trip, or what somebody said afterwards about one.

    Attributes:
        heat_id: The trip.
        number: The phase's place on the trip, or the number of the pass; 0 for the gas.
        kind: What was done.
        undone: For an undo, the kind of the step taken back.
        phase: The phase it leads to, or that was corrected; ``None`` for one that never was.
        origin: What said so.
        by: Who said so, where that was given.
        since_us: When it happened [µs UTC].
        arc_us: For the end of a pass: how long the arc burnt [µs], if a channel watched.
        at_us, mono_us: When it was noticed [µs UTC, shop time].
        text: One sentence for a person.
    """

    heat_id: int
    number: int
    kind: TripKind
    undone: TripKind | None
    phase: HeatPhase | None
    origin: Origin
    by: str | None
    since_us: int
    arc_us: int | None
    at_us: int
    mono_us: int
    text: str


@dataclass(slots=True)
class Outcome:
    """Everything one event changed, in order."""

    alarms: list[AlarmChange] = field(default_factory=list)
    verdicts: list[VerdictChange] = field(default_factory=list)
    trips: list[TripChange] = field(default_factory=list)

    @property
    def changed(self) -> bool:
        """Whether anything has."""
        return bool(self.alarms or self.verdicts or self.trips)

    def add(self, later: Outcome) -> None:
        """Take in what another event changed after this one."""
        self.alarms += later.alarms
        self.verdicts += later.verdicts
        self.trips += later.trips
