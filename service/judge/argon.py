"""Argon: what purge and torch have used of the bottle, what is left in it, and for how long.

Left by the pressure where the bottle has a gauge that speaks; else by the pressure somebody read
off and typed in, less what the meters have counted since. Litres are at 20 °C, 1 atm; a bottle
gives them down to the pressure of the air.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from service.judge.channel import ChannelTrack, Standing
from service.judge.shop import Shop
from service.physics.gas import bottle_litres, bottle_minutes
from service.readings import ChannelKind, Spread

Tracks = Mapping[str, ChannelTrack]
ArgonBasis = Literal["bottle pressure", "counted", "unknown"]

UNWATCHED = "the service was restarted: read the bottle's gauge again and say what it shows"
NOT_SAID = "the size of the bottle has not been said"
NO_PRESSURE = "neither a bottle pressure channel nor a typed pressure says what is in it"
SHORT_MIN = 10.0
"""A bottle with less than this for the present flow is remarked on [min] (common practice, no
source): a second bottle must be at hand."""


@dataclass(slots=True)
class Bottle:
    """The bottle that is on.

    Attributes:
        water_volume_l: Its own volume [l], stamped on its shoulder; ``None``: not said.
        said_pressure_pa: Gauge pressure somebody read off when it was set [Pa]; ``None``: nobody,
            or no longer worth anything.
        torch_flow_l_min: What the torch is set to [l/min], counted while the arc is on where no
            torch flow channel measures it.
        since_us: Since when its argon is counted (shop time [µs]); ``None``: not yet.
        used_purge_l, used_torch_l: Counted since then [l].
        purge_l_min, torch_l_min: Flowing now [l/min].
        unwatched: The count has a gap, so that a typed pressure says nothing any more.
    """

    water_volume_l: float | None = None
    said_pressure_pa: float | None = None
    torch_flow_l_min: float | None = None
    since_us: int | None = None
    used_purge_l: float = 0.0
    used_torch_l: float = 0.0
    purge_l_min: float = 0.0
    torch_l_min: float = 0.0
    unwatched: bool = False

    def second(self, now_us: int, shop: Shop, tracks: Tracks) -> None:
        """Count the second that ends at ``now_us``."""
        if self.since_us is None:
            self.since_us = now_us
        purge = _flowing(shop, tracks, ChannelKind.GAS_FLOW, now_us)
        torch = _flowing(shop, tracks, ChannelKind.TORCH_FLOW, now_us)
        if torch is None:
            welding = any(heat.pass_running for heat in shop.open_heats())
            torch = (self.torch_flow_l_min or 0.0) if welding else 0.0
        self.purge_l_min, self.torch_l_min = purge or 0.0, torch
        self.used_purge_l += self.purge_l_min / 60.0
        self.used_torch_l += self.torch_l_min / 60.0

    def left(self, shop: Shop, tracks: Tracks, now_us: int) -> ArgonLeft:
        """What is left in it now."""
        if self.water_volume_l is None:
            return ArgonLeft(None, None, "unknown", NOT_SAID)
        pressure_pa = _pressure_pa(shop, tracks, now_us)
        if pressure_pa is not None:
            return self._left(bottle_litres(self.water_volume_l, pressure_pa), "bottle pressure")
        if self.unwatched:
            return ArgonLeft(None, None, "unknown", UNWATCHED)
        if self.said_pressure_pa is None:
            return ArgonLeft(None, None, "unknown", NO_PRESSURE)
        full_l = bottle_litres(self.water_volume_l, self.said_pressure_pa)
        return self._left(max(full_l - self.used_purge_l - self.used_torch_l, 0.0), "counted")

    def _left(self, litres: float, basis: ArgonBasis) -> ArgonLeft:
        minutes = bottle_minutes(litres, self.purge_l_min + self.torch_l_min)
        reason = None if minutes is not None else "no argon is flowing"
        return ArgonLeft(litres, minutes, basis, reason)


@dataclass(frozen=True, slots=True)
class ArgonLeft:
    """Litres and minutes left; ``None`` with a reason where they cannot be said."""

    litres: float | None
    minutes: float | None
    basis: ArgonBasis
    reason: str | None

    def remark(self, clear_in_s: Spread | None) -> str | None:
        """A word when it will not do: for the clearing that is going on, or at all."""
        if self.minutes is None:
            return None
        left = f"argon for about {self.minutes:.0f} min at the present flow"
        wanted_s = None if clear_in_s is None else clear_in_s.p95
        if wanted_s is not None and self.minutes * 60.0 < wanted_s:
            return f"{left}, and clear may take {wanted_s / 60.0:.0f} min: another bottle first"
        return f"{left}: have another bottle at hand" if self.minutes < SHORT_MIN else None


def _flowing(shop: Shop, tracks: Tracks, kind: ChannelKind, now_us: int) -> float | None:
    """Sum of the flows of a kind that speak [l/min]; ``None``: there is no such channel."""
    channels = [each for each in shop.channels.values() if each.kind is kind]
    if not channels:
        return None
    good = [tracks[c.name] for c in channels if tracks[c.name].standing(now_us) is Standing.GOOD]
    return sum(max(track.value or 0.0, 0.0) for track in good)


def _pressure_pa(shop: Shop, tracks: Tracks, now_us: int) -> float | None:
    """The one live bottle gauge [Pa]; with several nobody can say which bottle is on."""
    gauges = [c for c in shop.channels.values() if c.kind is ChannelKind.BOTTLE_PRESSURE]
    if len(gauges) != 1:
        return None
    track = tracks[gauges[0].name]
    if track.standing(now_us) is not Standing.GOOD or track.value is None:
        return None
    return min(max(track.value, 0.0), 35e6)
