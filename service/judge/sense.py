"""The gate: how far one arriving reading can be believed.

Runs once for every reading, before it gets its place in the order, so that the quality decided
here is stored with the raw value. It looks at one channel's own numbers only; what needs time
(silence, a frozen probe, settling) is judged later, in ``channel.py``. Nothing is ever altered.

The limits are common practice, no source, except where a line says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from service.judge.cold_junction import GATE_AGE_US, UNIT, Junction
from service.judge.room import make_room
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

CELSIUS = RANGES["Cel"]
PLAIN = (Quality.GOOD, None)
"""The answer for nearly every reading."""

KIND_RANGES: dict[ChannelKind, tuple[float, float]] = {
    ChannelKind.AMBIENT: (-50.0, 80.0),
    ChannelKind.COLD_JUNCTION: (-50.0, 125.0),  # what the chips that measure it can stand
    ChannelKind.ROOM_OXYGEN: (-5_000.0, 1e6),  # ppm; enriched air is no fault of the sensor
}
"""Ranges once somebody has said what the channel measures."""

JUMP_K = 10.0
"""A probe on a casting may differ by this much from its last good reading [K] ..."""
JUMP_K_PER_S = 10.0
"""... and by this much more for every second between them [K/s]: a torch beside the probe."""
JUMP_GROWS_S = 5.0
"""... up to so long."""
JUMP_MEMORY_US = 30_000_000
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

HISTORY_US = 60_000_000
"""Source times that stay in the past for longer than this are a clock set back, not a few late
readings among live ones [µs]."""

_FAULT_WORDS = {
    "open-circuit": "open circuit: probe unplugged or broken",
    "short-to-ground": "short to ground",
    "short-to-supply": "short to supply",
    "out-of-range": "out of range at the sensor",
}


@dataclass(slots=True)
class SenseTrack:
    """What the gate remembers of one temperature channel.

    Each reading has its arrival (shop time [µs]) and its source time (``_t_us``, UTC [µs], or the
    arrival where the source sends none); the greater of the two distances counts, so that a pack
    of readings arriving together is judged by when they were measured.
    """

    good_c: float | None = None
    good_us: int = 0
    doubtful_c: float | None = None
    doubtful_us: int = 0
    agreeing: int = 0
    markers: int = 0
    good_t_us: int = 0
    doubtful_t_us: int = 0
    newest_us: int = 0
    newest_arrived_us: int = 0


@dataclass(slots=True)
class SenseState:
    """The gate's whole memory; independent of the rest of the judge."""

    tracks: dict[str, SenseTrack] = field(default_factory=dict)
    kinds: dict[str, ChannelKind] = field(default_factory=dict)
    junctions: dict[str, Junction] = field(default_factory=dict)
    """How the channels that send voltages become temperatures."""

    def terminals_c(self, channel: str, mono_us: int) -> float | None:
        """Last good temperature of a cold-junction channel [°C]; ``None`` if it is too old."""
        track = self.tracks.get(channel)
        if track is None or mono_us - track.good_us > GATE_AGE_US:
            return None
        return track.good_c


def classify(
    state: SenseState,
    channel: str,
    unit: str | None,
    value: float | None,
    reason: str | None,
    *,
    mono_us: int,
    t_us: int | None = None,
) -> tuple[Quality, str | None]:
    """Decide the quality of one arriving value and remember it.

    Args:
        state: The gate's memory, changed in place.
        channel: Channel name.
        unit: Unit inside the service, or ``None`` when only a fault came.
        value: The number as measured, or ``None``.
        reason: A fault the source or the decoder named, or ``None``.
        mono_us: Arrival, shop time [µs].
        t_us: The source's own time [µs UTC], where it sent one: readings that come late and out
            of order are history, and no neighbours of what is measured now.

    Returns:
        Quality and, unless good, the reason in words.
    """
    if reason is None and unit == "Cel" and _follows(state, channel, value, mono_us, t_us):
        return PLAIN
    fault = _fault(state.kinds.get(channel), unit, value, reason)
    if fault is None and unit == UNIT and value is not None and channel in state.junctions:
        junction = state.junctions[channel]
        found = junction.temperature_c(value, state.terminals_c(junction.channel, mono_us))
        if isinstance(found, str):
            fault = found
        else:
            value, unit = found, "Cel"
            fault = _fault(state.kinds.get(channel), unit, value, None)
    if fault is not None or value is None:
        track = state.tracks.get(channel)
        if track is not None:
            track.doubtful_c, track.agreeing = None, 0
        return Quality.BAD, fault
    if unit != "Cel":
        return Quality.GOOD, None
    track = state.tracks.get(channel)
    if track is None:
        make_room(state.tracks, state.kinds, lambda each: max(each.good_us, each.doubtful_us))
        track = state.tracks[channel] = SenseTrack()
    if t_us is None:
        return _classify_temperature(track, value, mono_us, mono_us)
    if t_us <= track.newest_us and mono_us - track.newest_arrived_us < HISTORY_US:
        return Quality.GOOD, None
    track.newest_us, track.newest_arrived_us = t_us, mono_us
    return _classify_temperature(track, value, mono_us, t_us)


def _follows(
    state: SenseState, channel: str, value: float | None, mono_us: int, t_us: int | None
) -> bool:
    """The short way for nearly every temperature: one near the good one before it is believed.

    Whatever is not quite usual is left to the long way, which says the same of these (a property
    test holds the two against each other).
    """
    track = state.tracks.get(channel)
    if track is None or track.good_c is None or value is None or value in MARKERS_C:
        return False
    kind = state.kinds.get(channel)
    low, high = CELSIUS if kind is None else KIND_RANGES.get(kind, CELSIUS)
    source_us = mono_us if t_us is None else t_us
    if not low <= value <= high or (t_us is not None and t_us <= track.newest_us):
        return False
    after_us = max(mono_us - track.good_us, source_us - track.good_t_us)
    if after_us > JUMP_MEMORY_US or not -JUMP_K <= value - track.good_c <= JUMP_K:
        return False
    if t_us is not None:
        track.newest_us, track.newest_arrived_us = t_us, mono_us
    track.good_c, track.good_us, track.good_t_us = value, mono_us, source_us
    track.doubtful_c, track.agreeing, track.markers = None, 0, 0
    return True


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
    return _out_of_range(kind, unit, value)


def _out_of_range(kind: ChannelKind | None, unit: str, value: float) -> str | None:
    low, high = RANGES.get(unit, (-math.inf, math.inf))
    if kind in KIND_RANGES:
        low, high = KIND_RANGES[kind]
    if low <= value <= high:
        return None
    text = f"out of range: {value:g} {unit} is not between {low:g} and {high:g}"
    # With its leads swapped a thermocouple on a hot part reads as far below the terminals'
    # temperature as the part is above it.
    if unit == "Cel" and value < low and kind in (None, ChannelKind.THERMOCOUPLE):
        return f"{text}: leads reversed?"
    return text


def _classify_temperature(
    track: SenseTrack, value_c: float, mono_us: int, t_us: int
) -> tuple[Quality, str | None]:
    marker = value_c in MARKERS_C
    track.markers = track.markers + 1 if marker else 0
    after_us = max(mono_us - track.good_us, t_us - track.good_t_us)
    if _near(value_c, track.good_c, after_us, marker):
        return _believe(track, value_c, mono_us, t_us)
    if marker:
        return _doubt_marker(track, value_c)
    if track.good_c is None or after_us > JUMP_MEMORY_US:
        return _believe(track, value_c, mono_us, t_us)
    since_us = max(mono_us - track.doubtful_us, t_us - track.doubtful_t_us)
    agrees = _near(value_c, track.doubtful_c, since_us, False)
    track.agreeing = track.agreeing + 1 if agrees else 0
    if track.agreeing >= AGREEING:
        return _believe(track, value_c, mono_us, t_us)
    track.doubtful_c, track.doubtful_us, track.doubtful_t_us = value_c, mono_us, t_us
    return Quality.SUSPECT, f"impossible jump: {value_c:.1f} °C after {track.good_c:.1f} °C"


def _near(value_c: float, before_c: float | None, after_us: int, marker: bool) -> bool:
    if before_c is None or after_us > JUMP_MEMORY_US:
        return False
    base_k, rate_k_per_s = (MARKER_K, MARKER_K_PER_S) if marker else (JUMP_K, JUMP_K_PER_S)
    elapsed_s = min(JUMP_GROWS_S, max(0.0, after_us / 1e6))
    return abs(value_c - before_c) <= base_k + rate_k_per_s * elapsed_s


def _believe(
    track: SenseTrack, value_c: float, mono_us: int, t_us: int
) -> tuple[Quality, str | None]:
    track.good_c, track.good_us, track.good_t_us = value_c, mono_us, t_us
    track.doubtful_c, track.agreeing, track.markers = None, 0, 0
    return Quality.GOOD, None


def _doubt_marker(track: SenseTrack, value_c: float) -> tuple[Quality, str | None]:
    """An exact repeat is no second witness: it never makes a marker believable."""
    track.doubtful_c, track.agreeing = None, 0
    if track.markers >= MARKERS_UNTIL_BAD:
        why = f"reads exactly {value_c:g} °C again and again: dead chip or broken wire"
        return Quality.BAD, why
    return (
        Quality.SUSPECT,
        f"exactly {value_c:g} °C out of nowhere: sensors send this for no reading",
    )
