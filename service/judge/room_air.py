"""Oxygen in the air of the shop: who breathes there, not what is in the part.

Argon pushes the air out of a closed room or a pit without a smell. One fixed sensor sees the air
at one place only: what is said here is a supplement to ventilation, and no safety system.

Limits: an atmosphere below 19.5 % oxygen is deficient, above 23.5 % enriched (29 CFR 1910.146(b);
shipyard rules take 22 %). They are no shop's own setting and cannot be changed here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from service.judge.alarms import Condition
from service.judge.channel import ChannelTrack, Standing
from service.judge.shop import Shop
from service.readings import ChannelKind

LOW_PERCENT = 19.5
HIGH_PERCENT = 23.5
DEADBAND_PERCENT = 0.2
"""An alarm returns only this far inside the limits: a cell's own noise (common practice, no
source)."""
PPM_PER_PERCENT = 1e4

AirStanding = Literal["normal", "low", "high", "unknown"]


def oxygen_percent(track: ChannelTrack, now_us: int) -> float | None:
    """Oxygen [% by volume] by a live, believable reading; else ``None``."""
    if track.standing(now_us) is not Standing.GOOD or track.value is None:
        return None
    return track.value / PPM_PER_PERCENT


def air_standing(oxygen: float | None) -> AirStanding:
    """Where an oxygen share [%] stands to the limits; a missing one is never normal."""
    if oxygen is None:
        return "unknown"
    if oxygen < LOW_PERCENT:
        return "low"
    return "high" if oxygen > HIGH_PERCENT else "normal"


def room_channels(shop: Shop, tracks: dict[str, ChannelTrack]) -> list[ChannelTrack]:
    """The shop's room oxygen channels, by name."""
    kind = ChannelKind.ROOM_OXYGEN
    return [tracks[each.name] for _, each in sorted(shop.channels.items()) if each.kind is kind]


def room_conditions(
    shop: Shop, tracks: dict[str, ChannelTrack], now_us: int
) -> Iterator[tuple[ChannelTrack, Condition]]:
    """What could alarm about the room's air, with the channel; whether or not a heat is open."""
    for track in room_channels(shop, tracks):
        yield track, _condition(track, oxygen_percent(track, now_us))


def _condition(track: ChannelTrack, oxygen: float | None) -> Condition:
    if oxygen is None:
        return Condition("room oxygen", None, track.name, None, f"{track.name}: not known")
    low = oxygen < LOW_PERCENT
    return Condition(
        "room oxygen",
        None,
        track.name,
        air_standing(oxygen) != "normal",
        f"{track.name}: {_too_little(oxygen) if low else _too_much(oxygen)}",
        clears=LOW_PERCENT + DEADBAND_PERCENT <= oxygen <= HIGH_PERCENT - DEADBAND_PERCENT,
        severity=max(LOW_PERCENT - oxygen, oxygen - HIGH_PERCENT),
    )


def _too_little(oxygen: float) -> str:
    shown = math.floor(oxygen * 10) / 10
    return f"{shown:.1f} % oxygen, below {LOW_PERCENT:g} %: out into fresh air, ventilate"


def _too_much(oxygen: float) -> str:
    shown = math.ceil(oxygen * 10) / 10
    return (
        f"{shown:.1f} % oxygen, above {HIGH_PERCENT:g} %: "
        "everything burns faster: arc and flames out, ventilate"
    )
