"""Closed forms of a purge: how the share of air falls as argon comes in.

Two ideals bound a real cavity: *plug flow* pushes the air out in front of it and is done after
one volume; *well mixed* halves the oxygen every 0.69 volumes. Dead legs are slower than both.
"""

from __future__ import annotations

import math

from service.physics.gas import AIR_OXYGEN_PPM


def well_mixed_ppm(
    volume_changes: float,
    start_ppm: float = AIR_OXYGEN_PPM,
    feed_ppm: float = 0.0,
    mixing: float = 1.0,
) -> float:
    """Oxygen after a number of volume changes [ppm]: C = Cf + (C0 − Cf)·exp(−K·n).

    Args:
        volume_changes: n = gas passed / cavity volume, both cold [1], 0 or more.
        start_ppm: Oxygen at the start C0 [ppm].
        feed_ppm: Oxygen in the argon Cf [ppm].
        mixing: Mixing factor K [1], above 0 and at most 1; 1 is well mixed.

    Raises:
        ValueError: An argument outside its range.

    Source: dilution equation of industrial ventilation, extended by feed impurity.
    """
    if volume_changes < 0:
        raise ValueError(f"volume changes {volume_changes:g} must not be negative")
    _check(start_ppm, feed_ppm, mixing)
    return feed_ppm + (start_ppm - feed_ppm) * math.exp(-mixing * volume_changes)


def volume_changes_to(
    target_ppm: float,
    start_ppm: float = AIR_OXYGEN_PPM,
    feed_ppm: float = 0.0,
    mixing: float = 1.0,
) -> float:
    """Volume changes needed to bring the oxygen down [1]: n = ln[(C0−Cf)/(C−Cf)] / K.

    Args:
        target_ppm: Oxygen wanted [ppm]: above ``feed_ppm``, at most ``start_ppm``.
        start_ppm: Oxygen at the start [ppm].
        feed_ppm: Oxygen in the argon [ppm].
        mixing: Mixing factor K [1], above 0 and at most 1.

    Raises:
        ValueError: An argument outside its range; a target the feed gas cannot reach.

    Source: dilution equation solved for n.
    """
    _check(start_ppm, feed_ppm, mixing)
    if target_ppm <= feed_ppm:
        raise ValueError(
            f"{target_ppm:g} ppm cannot be reached with argon that carries {feed_ppm:g} ppm"
        )
    if target_ppm > start_ppm:
        raise ValueError(f"target {target_ppm:g} ppm is above the start, {start_ppm:g} ppm")
    return math.log((start_ppm - feed_ppm) / (target_ppm - feed_ppm)) / mixing


def plug_flow_ppm(
    volume_changes: float, start_ppm: float = AIR_OXYGEN_PPM, feed_ppm: float = 0.0
) -> float:
    """Oxygen at the outlet of a cavity purged without any mixing [ppm]: clear at n = 1.

    Raises:
        ValueError: Negative ``volume_changes`` or a concentration outside 0 to 1 000 000 ppm.
    """
    if volume_changes < 0:
        raise ValueError(f"volume changes {volume_changes:g} must not be negative")
    _check(start_ppm, feed_ppm, 1.0)
    return start_ppm if volume_changes < 1.0 else feed_ppm


def rooms_in_row_ppm(
    volume_changes: float,
    rooms: int,
    start_ppm: float = AIR_OXYGEN_PPM,
    feed_ppm: float = 0.0,
) -> float:
    """Oxygen leaving equal well-mixed rooms in a row [ppm]: between well mixed and plug flow.

    C = Cf + (C0 − Cf)·exp(−N·n)·Σ (N·n)^k / k!, k from 0 to N−1

    Args:
        volume_changes: n = gas passed / whole volume, both cold [1], 0 or more.
        rooms: N, 1 to 100; 1 is well mixed.
        start_ppm: Oxygen at the start C0 [ppm].
        feed_ppm: Oxygen in the gas that comes in [ppm].

    Raises:
        ValueError: An argument outside its range.

    Source: tanks-in-series model of residence times (its washout), as in any text on chemical
        reactors; from memory, checked against scipy's gamma distribution.
    """
    if volume_changes < 0 or not 1 <= rooms <= 100:
        raise ValueError(
            f"volume changes {volume_changes:g} must not be negative, rooms {rooms} be 1 to 100"
        )
    _check(start_ppm, feed_ppm, 1.0)
    passed = rooms * volume_changes
    term = left = math.exp(-passed)
    for k in range(1, rooms):
        term *= passed / k
        left += term
    return feed_ppm + (start_ppm - feed_ppm) * left


def _check(start_ppm: float, feed_ppm: float, mixing: float) -> None:
    for name, value in (("start", start_ppm), ("feed", feed_ppm)):
        if not 0 <= value <= 1e6:
            raise ValueError(f"{name} oxygen {value:g} ppm is outside 0 to 1 000 000 ppm")
    if not 0 < mixing <= 1:
        raise ValueError(f"mixing factor {mixing:g} must be above 0 and at most 1")
