"""The gate: how far one arriving reading can be believed.

Runs once for every reading, before it gets its place in the order, so that the quality decided
here is stored with the raw value. It looks at one channel's own numbers only; what needs time
(silence, a frozen probe, settling) is judged later, in ``channel.py``. Nothing is ever altered.

The limits are common practice, no source, except where a line says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from service.readings import ChannelKind, Quality

RANGES: dict[str, tuple[float, float]] = {
    "Cel": (-60.0, 1400.0),  # a workshop's winter to above any casting here; melts beyond it
    "l/min": (-1.0, 300.0),  # meters drift a little below zero
    "ppm": (-5.0, 250_000.0),  # air is 209,500; an uncalibrated cell reads below 0 or far above air
    "Pa": (-20_000.0, 40e6),  # to 400 bar
    "A": (-2000.0, 2000.0),
    "mV": (-12.0, 80.0),  # every letter type of ITS-90 lies within
    "on/off": (0.0, 1.0),
}
"""What a number can be, by its unit inside the service."""

KIND_RANGES: dict[ChannelKind, tuple[float, float]] = {ChannelKind.AMBIENT: (-50.0, 80.0)}
"""Tighter ranges once somebody has said what the channel measures."""

JUMP_K = 10.0
"""A probe on a casting may differ by this much from its last good reading [K] ..."""
JUMP_K_PER_S = 10.0
"""... and by this much more for every second between them [K/s]: a torch beside the probe."""
JUMP_MEMORY_S = 30.0
"""After so long without a good reading anything may have happened; nothing is impossible."""

MARKERS_C = (0.0, 85.0, -1.0, -127.0)
"""Numbers that sensors send instead of a temperature: an all-zero frame, the power-up value of a
common digital sensor, and "no reading" marks of loggers. They are also real temperatures, so they
are believed when the reading passes through them smoothly and only then."""
MARKER_K = 2.0
MARKER_K_PER_S = 2.0
MARKERS_UNTIL_BAD = 5
"""So many equal markers on end are no glitch any more but a dead chip or a broken wire."""
AGREEING = 2
"""A jump is believed once so many further readings in a row agree with it."""

_FAULT_WORDS = {
    "open-circuit": "open circuit: probe unplugged or broken",
    "short-to-ground": "short to ground",
    "short-to-supply": "short to supply",
    "out-of-range": "out of range at the sensor",
}


@dataclass(slots=True)
class SenseTrack:
    """What the gate remembers of one temperature channel; times are shop time [µs]."""

    good_c: float | None = None
    good_us: int = 0
    doubtful_c: float | None = None
    doubtful_us: int = 0
    agreeing: int = 0
    markers: int = 0


@dataclass(slots=True)
class SenseState:
    """The gate's whole memory; independent of the rest of the judge."""

    tracks: dict[str, SenseTrack] = field(default_factory=dict)
    kinds: dict[str, ChannelKind] = field(default_factory=dict)


def classify(
    state: SenseState,
    channel: str,
    unit: str | None,
    value: float | None,
    reason: str | None,
    *,
    mono_us: int,
) -> tuple[Quality, str | None]:
    """Decide the quality of one arriving value and remember it.

    Args:
        state: The gate's memory, changed in place.
        channel: Channel name.
        unit: Unit inside the service, or ``None`` when only a fault came.
        value: The number as measured, or ``None``.
        reason: A fault the source or the decoder named, or ``None``.
        mono_us: Arrival, shop time [µs].

    Returns:
        Quality and, unless good, the reason in words.
    """
    fault = _fault(state.kinds.get(channel), unit, value, reason)
    if fault is not None or value is None:
        track = state.tracks.get(channel)
        if track is not None:
            track.doubtful_c, track.agreeing = None, 0
        return Quality.BAD, fault
    if unit != "Cel":
        return Quality.GOOD, None
    track = state.tracks.get(channel)
    if track is None:
        track = state.tracks[channel] = SenseTrack()
    return _classify_temperature(track, value, mono_us)


def _fault(
    kind: ChannelKind | None, unit: str | None, value: float | None, reason: str | None
) -> str | None:
    if reason is not None:
        return _FAULT_WORDS.get(reason, reason)
    if value is None:
        return "no value"
    if not math.isfinite(value):
        return "not a number"
    if unit is None:
        return "a number without a unit"
    low, high = RANGES.get(unit, (-math.inf, math.inf))
    if kind in KIND_RANGES:
        low, high = KIND_RANGES[kind]
    if not low <= value <= high:
        return f"out of range: {value:g} {unit} is not between {low:g} and {high:g}"
    return None


def _classify_temperature(
    track: SenseTrack, value_c: float, mono_us: int
) -> tuple[Quality, str | None]:
    marker = value_c in MARKERS_C
    track.markers = track.markers + 1 if marker else 0
    if _near(value_c, track.good_c, mono_us - track.good_us, marker):
        return _believe(track, value_c, mono_us)
    if marker:
        return _doubt_marker(track, value_c, mono_us)
    age_s = (mono_us - track.good_us) / 1e6
    if track.good_c is None or age_s > JUMP_MEMORY_S:
        return _believe(track, value_c, mono_us)
    if _near(value_c, track.doubtful_c, mono_us - track.doubtful_us, False):
        track.agreeing += 1
        if track.agreeing >= AGREEING:
            return _believe(track, value_c, mono_us)
    else:
        track.agreeing = 0
    track.doubtful_c, track.doubtful_us = value_c, mono_us
    return Quality.SUSPECT, f"impossible jump: {value_c:.1f} °C after {track.good_c:.1f} °C"


def _near(value_c: float, before_c: float | None, after_us: int, marker: bool) -> bool:
    if before_c is None or after_us > JUMP_MEMORY_S * 1e6:
        return False
    base_k, rate_k_per_s = (MARKER_K, MARKER_K_PER_S) if marker else (JUMP_K, JUMP_K_PER_S)
    return abs(value_c - before_c) <= base_k + rate_k_per_s * min(5.0, max(0.0, after_us / 1e6))


def _believe(track: SenseTrack, value_c: float, mono_us: int) -> tuple[Quality, str | None]:
    track.good_c, track.good_us = value_c, mono_us
    track.doubtful_c, track.agreeing, track.markers = None, 0, 0
    return Quality.GOOD, None


def _doubt_marker(track: SenseTrack, value_c: float, mono_us: int) -> tuple[Quality, str | None]:
    """An exact repeat is no second witness: it never makes a marker believable."""
    if track.doubtful_c != value_c:
        track.doubtful_c, track.doubtful_us, track.agreeing = value_c, mono_us, 0
    if track.markers >= MARKERS_UNTIL_BAD:
        return (
            Quality.BAD,
            f"reads exactly {value_c:g} °C again and again: dead chip or broken wire",
        )
    return (
        Quality.SUSPECT,
        f"exactly {value_c:g} °C out of nowhere: sensors send this for no reading",
    )
