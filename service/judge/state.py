"""Everything the judge knows at one moment; plain values, so that it can be kept and loaded."""

from __future__ import annotations

from dataclasses import dataclass, field

from service.judge.alarms import AlarmBook
from service.judge.channel import ChannelTrack
from service.judge.events import Outcome
from service.judge.heat_track import HeatTrack
from service.judge.shop import Shop


@dataclass(slots=True)
class JudgeState:
    """The judge's whole state.

    Attributes:
        heats: The open heats by their id.
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
    tick_us: int | None = None
    now_us: int = 0
    looked_us: int = 0
    active_us: int = 0
    owed: Outcome = field(default_factory=Outcome)
