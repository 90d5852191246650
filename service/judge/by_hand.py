"""Readings by hand in the judge: believed for a minute, less and less, and marked as what they are.

A part can be welded by crayon alone, as it always has been: what a melted crayon or a handheld
probe says counts at its pessimistic end, which moves away as fast as a bare casting cools. After a
minute it must be taken again. A flow that was typed in is an estimate and clears no purge.
"""

from __future__ import annotations

from service.judge.cooling import CoolingTrack
from service.judge.hand_actions import EnterReading
from service.judge.shop import Channel, HandEntry, Shop
from service.readings import ChannelKind, Quality, Reading

HOLDS_US = 60_000_000
"""A reading by hand is taken again after so long (common practice, no source)."""
FADES_K_PER_S = 0.41
"""A bare casting at 350 °C loses 24.5 K/min (own calculation)."""
SD_OF_95 = 1.96
"""Half the width of a 95 % interval in standard deviations."""


def entry_of(action: EnterReading, mono_us: int) -> HandEntry:
    """What is remembered of it."""
    return HandEntry(action.method, action.place, action.value, action.off, mono_us)


def as_reading(action: EnterReading, seq: int, mono_us: int, utc_us: int) -> Reading:
    """The reading that the entry is."""
    return Reading(
        action.channel, action.unit, action.value, Quality.GOOD, action.words, utc_us, utc_us,
        mono_us, seq,
    )  # fmt: skip


def hand_channels(shop: Shop, part_id: int, kind: ChannelKind) -> list[Channel]:
    """The part's channels of readings by hand, by name."""
    found = [
        channel
        for channel in shop.channels.values()
        if channel.by_hand is not None and channel.part_id == part_id and channel.kind is kind
    ]
    return sorted(found, key=lambda channel: channel.name)


def hand_flow_l_min(shop: Shop, part_id: int, since_us: int) -> float | None:
    """The flow as last typed in during this heat [l/min]."""
    for channel in hand_channels(shop, part_id, ChannelKind.GAS_FLOW):
        if channel.by_hand is not None and channel.by_hand.at_us >= since_us:
            return channel.by_hand.value
    return None


def tell_model(cooling: CoolingTrack, action: EnterReading, mono_us: int) -> None:
    """Hand the entry to the place's own cooldown model, with its uncertainty."""
    t_s = max(cooling.told_s, mono_us / 1e6)
    for at_s, change in cooling.changes:
        cooling.model.known_change(max(cooling.told_s, at_s), change)
    cooling.changes = []
    if action.method in ("contact probe", "infrared"):
        cooling.told_s = t_s
        cooling.model.observe(t_s, action.value, sd_k=action.off / SD_OF_95)
    elif cooling.model.level(t_s) is not None:  # from a mark alone no forecast can begin
        cooling.told_s = t_s
        cooling.model.observe_mark(t_s, action.value, melted=action.method == "crayon melted")
