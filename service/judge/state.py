"""Everything the judge knows at one moment; plain values, so that it can be kept and loaded."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from service.judge.alarms import AlarmBook
from service.judge.arc import ArcTrack
from service.judge.argon import Bottle
from service.judge.channel import ChannelTrack
from service.judge.events import Outcome
from service.judge.heat_track import HeatTrack
from service.judge.press import Press
from service.judge.shop import Shop
from service.judge.turns import Turns


@dataclass(slots=True)
class Question:
    """Which part is meant, asked because the readings or the button do not say.

    Attributes:
        kind: An arc burns, or somebody has pressed "next".
        channel: What brought it up.
        since_us: When (shop time [µs]).
        heat_ids: The heats that it may be.
        spans: Passes seen meanwhile: when each arc began and ended, and how long it burnt [µs].
    """

    id: int
    kind: Literal["arc", "next"]
    channel: str
    since_us: int
    heat_ids: list[int] = field(default_factory=list)
    spans: list[tuple[int, int | None, int]] = field(default_factory=list)


@dataclass(slots=True)
class JudgeState:
    """The judge's whole state.

    Attributes:
        heats: The open heats by their id.
        arcs, presses: What the arc channels and the buttons have shown, by channel.
        bottle: The argon bottle that is on.
        questions: What waits for an answer, by its id; ``last_question``: the newest id.
        turns: Whose turn it is among several castings.
        tick_us: The last tick worked through (shop time [µs]); ``None`` before the first event.
        now_us: Shop time of the last event or tick [µs].
        looked_us: Shop time of the last look at verdicts and alarms [µs].
        active_us: Shop time of the last live reading or action [µs].
        owed: What ticks before a refused action changed; handed over with the next event.
    """

    shop: Shop = field(default_factory=Shop)
    channels: dict[str, ChannelTrack] = field(default_factory=dict)
    heats: dict[int, HeatTrack] = field(default_factory=dict)
    book: AlarmBook = field(default_factory=AlarmBook)
    arcs: dict[str, ArcTrack] = field(default_factory=dict)
    presses: dict[str, Press] = field(default_factory=dict)
    bottle: Bottle = field(default_factory=Bottle)
    questions: dict[int, Question] = field(default_factory=dict)
    last_question: int = 0
    turns: Turns = field(default_factory=Turns)
    tick_us: int | None = None
    now_us: int = 0
    looked_us: int = 0
    active_us: int = 0
    owed: Outcome = field(default_factory=Outcome)
