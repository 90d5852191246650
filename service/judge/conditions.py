"""Which alarm conditions hold now: every possible alarm of every open heat and of the room's
air, named each tick.

A condition whose limit does not apply now (another phase, no such limit) is not named, which
withdraws it. One that applies but cannot be seen has ``holds`` = ``None``: nothing is known.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import log

from service.judge.alarms import Condition
from service.judge.channel import ChannelTrack, Standing
from service.judge.heat_track import HeatTrack
from service.judge.heat_verdict import ProbeView, beside, cools_too_fast
from service.judge.joint_limits import in_force
from service.judge.lead import arc_channels
from service.judge.room_air import room_conditions
from service.judge.root import Root
from service.judge.shop import Heat, Part
from service.judge.state import JudgeState
from service.judge.words import degrees
from service.readings import ChannelKind

DEADBAND_K = 2.0
"""A temperature alarm returns only this far inside the limit [K]; noise and the welder's draught
stay below it (practice)."""
DEADBAND_RATE = 0.9
"""A cooling alarm returns only below this share of the limit."""
OVEN_FAULT_ON_US = 30_000_000
"""In the oven an unplugged probe is mostly the carry begun before its tap: hands are full."""


def conditions(state: JudgeState, now_us: int) -> list[Condition]:
    """Everything that could alarm at ``now_us`` and what is known of it."""
    shop = state.shop
    detail = f": {shop.recording_detail}" if shop.recording_detail else ""
    text = f"readings are not being recorded{detail}"
    found = [Condition("not recording", None, None, not shop.recording, text)]
    for track in state.heats.values():
        heat, part = shop.heats[track.heat_id], shop.parts[track.part_id]
        found += _of_temperature(track, heat, part, state, now_us)
        found += _of_purge(track, heat, part, now_us)
        found += _of_channels(track, state, heat.phase == "oven", now_us)
    found += _of_room(state, now_us)
    return found


def _of_room(state: JudgeState, now_us: int) -> Iterator[Condition]:
    """The air is watched with no heat open too; a sensor that says nothing is an alarm itself."""
    for track, condition in room_conditions(state.shop, state.channels, now_us):
        yield condition
        yield _fault(track, None, False, now_us)
        faulty = state.book.active("sensor fault", None, track.name)
        silence = _silence(track, None, faulty, now_us)
        yield replace(silence, text=f"{silence.text}; the room's oxygen is unknown")


def _of_temperature(
    track: HeatTrack, heat: Heat, part: Part, state: JudgeState, now_us: int
) -> Iterator[Condition]:
    probes = track.views(now_us, state.shop, state.channels)
    blind = all(probe.temperature_c is None for probe in probes)
    if heat.phase == "bench":
        limits = in_force(part)
        if limits.preheat_min_c is not None and (track.was_hot or heat.pass_running):
            yield _below_preheat(part, heat, probes, limits.preheat_min_c)
        if limits.interpass_max_c is not None:
            told = heat.pass_running or track.spreading
            yield _above_interpass(part, [] if told else probes, limits.interpass_max_c)
    if heat.phase == "slow cool" and part.cooling_max_c_per_h is not None:
        yield _cooling(track, part, blind, part.cooling_max_c_per_h)


def _below_preheat(
    part: Part, heat: Heat, probes: Sequence[ProbeView], limit_c: float
) -> Condition:
    coldest_c = min((p.least_c for p in probes if p.least_c is not None), default=None)
    if coldest_c is None:
        return Condition("below preheat", part.id, None, None, f"{part.name}: temperature unknown")
    doubt = any(p.temperature_c is None for p in probes)
    below = coldest_c < limit_c
    return Condition(
        "below preheat",
        part.id,
        None,
        True if below else (None if doubt else False),
        f"{part.name}: {degrees(coldest_c)} is below preheat {degrees(limit_c)}",
        advice="finish the bead, fill the crater, re-heat" if heat.pass_running else "re-heat",
        clears=coldest_c >= limit_c + DEADBAND_K,
        severity=limit_c - coldest_c,
    )


def _above_interpass(part: Part, probes: Sequence[ProbeView], limit_c: float) -> Condition:
    """``probes`` is empty while interpass cannot be judged: the arc is on or the heat spreads."""
    judged = beside(probes)
    hottest_c = max((p.most_c for p in judged if p.most_c is not None), default=None)
    if hottest_c is None:
        return Condition("above interpass", part.id, None, None, f"{part.name}: not judged now")
    doubt = any(p.temperature_c is None for p in probes)
    above = hottest_c > limit_c
    return Condition(
        "above interpass",
        part.id,
        None,
        True if above else (None if doubt else False),
        f"{part.name}: {degrees(hottest_c)} is above interpass {degrees(limit_c)}",
        advice="let it cool",
        clears=hottest_c <= limit_c - DEADBAND_K,
        severity=hottest_c - limit_c,
    )


def _cooling(track: HeatTrack, part: Part, blind: bool, limit_c_per_h: float) -> Condition:
    rate = track.rate
    if blind or rate is None:
        return Condition("cooling too fast", part.id, None, None, f"{part.name}: not measured yet")
    return Condition(
        "cooling too fast",
        part.id,
        None,
        cools_too_fast(rate, limit_c_per_h),
        f"{part.name}: {track.rate_channel} cools {-rate.c_per_h:.0f} °C/h, "
        f"limit {limit_c_per_h:.0f}",
        advice="cover it better",
        clears=-rate.c_per_h < DEADBAND_RATE * limit_c_per_h,
        severity=log(max(-rate.c_per_h / limit_c_per_h, 0.01), 1.5),
    )


def _of_purge(track: HeatTrack, heat: Heat, part: Part, now_us: int) -> Iterator[Condition]:
    purging, root = track.purging, track.root
    if purging is None:
        if heat.purge_ended_us is not None and part.oxygen_max_ppm is not None and root.needs_gas:
            yield _gas_off_early(root, part)
        return
    gone = heat.pass_running and purging.gone(part.oxygen_max_ppm)
    holds: bool | None = purging.lost(now_us) or gone
    if purging.doubt is not None and not purging.lost(now_us):
        holds = None
    yield Condition(
        "purge lost", part.id, None, holds, f"{part.name}: purge lost",
        advice="the root is open to air, stop" if heat.pass_running else "look at bottle and hose",
        severity=1.0 if heat.pass_running else 0.0,
    )  # fmt: skip


def _gas_off_early(root: Root, part: Part) -> Condition:
    if root.temperature_c is None:
        return Condition("purge lost", part.id, None, None, f"{part.name}: root not measured")
    return Condition(
        "purge lost", part.id, None, True,
        f"{part.name}: gas off while the root is at {degrees(root.temperature_c)}",
        advice=f"on again until it is below {degrees(root.gas_off_below_c or 0.0)}",
    )  # fmt: skip


def _of_channels(
    track: HeatTrack, state: JudgeState, in_oven: bool, now_us: int
) -> Iterator[Condition]:
    phase = state.shop.heats[track.heat_id].phase
    watched = [(name, track.gap_expected(now_us, name)) for name in track.present(phase)]
    watched += [(name, False) for name in arc_channels(state, state.shop.heats[track.heat_id])]
    if track.purging is not None:
        for kind in (ChannelKind.GAS_FLOW, ChannelKind.OXYGEN):
            watched += [(c.name, False) for c in state.shop.channels_of(track.part_id, kind)]
    for name, expected in watched:
        channel = state.channels[name]
        fault = _fault(channel, track.part_id, expected, now_us)
        yield replace(fault, on_us=OVEN_FAULT_ON_US) if in_oven else fault
        faulty = state.book.active("sensor fault", track.part_id, name)
        yield _silence(channel, track.part_id, expected or faulty, now_us)


def _fault(track: ChannelTrack, part_id: int | None, expected: bool, now_us: int) -> Condition:
    standing = track.standing(now_us)
    faulty = standing in (Standing.BAD, Standing.SUSPECT) or track.lastingly_noisy(now_us)
    unseen = standing is Standing.STALE and not expected
    holds = None if unseen else faulty and not expected
    why = track.why(now_us) or "in doubt" if holds else "no fault"
    return Condition("sensor fault", part_id, track.name, holds, f"{track.name}: {why}")


def _silence(track: ChannelTrack, part_id: int | None, expected: bool, now_us: int) -> Condition:
    """Silence; expected on the carry, and no news of a probe that was faulty before."""
    holds = track.standing(now_us) is Standing.STALE and not expected
    why = track.why(now_us) or "silent" if holds else "heard"
    return Condition("no data", part_id, track.name, holds, f"no data from {track.name}: {why}")
