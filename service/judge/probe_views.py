"""The probes of a part as its verdict sees them: wired ones, and readings by hand."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from service.judge.by_hand import FADES_K_PER_S, HOLDS_US, hand_channels
from service.judge.channel import ChannelTrack, Standing
from service.judge.heat_verdict import ProbeView
from service.judge.shop import Shop
from service.judge.words import duration
from service.readings import ChannelKind


def probe_view(track: ChannelTrack, now_us: int, from_joint_mm: float | None = None) -> ProbeView:
    """A probe as the verdict sees it: a temperature only when it is live, good and settled."""
    standing = track.standing(now_us)
    return ProbeView(
        track.name,
        standing,
        track.value if standing is Standing.GOOD else None,
        track.why(now_us),
        from_joint_mm=from_joint_mm,
    )


def hand_views(shop: Shop, part_id: int, now_us: int, since_us: int) -> Iterator[ProbeView]:
    """The part's temperatures by hand that were taken in this heat, as the verdict sees them."""
    for channel in hand_channels(shop, part_id, ChannelKind.THERMOCOUPLE):
        entry = channel.by_hand
        if entry is None or entry.at_us < since_us:
            continue
        age_us = now_us - entry.at_us
        live = age_us <= HOLDS_US
        yield ProbeView(
            channel.name,
            Standing.GOOD if live else Standing.STALE,
            entry.value if live else None,
            None if live else f"{duration(age_us / 1e6)} old, measure again",
            margin_k=entry.off + FADES_K_PER_S * age_us / 1e6,
            at_least=entry.method != "crayon not melted",
            at_most=entry.method != "crayon melted",
            from_joint_mm=channel.from_joint_mm,
        )


def the_one(
    shop: Shop, tracks: Mapping[str, ChannelTrack], part_id: int, kind: ChannelKind
) -> ChannelTrack | None:
    """The part's channel of a kind of which it has one at most."""
    found = shop.channels_of(part_id, kind)
    return tracks[found[0].name] if found else None
