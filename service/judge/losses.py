"""Where a part's heat goes now, and how uneven it is: for the page, beside the verdict."""

from __future__ import annotations

from service.judge.channel import ROOM_C
from service.judge.heat_track import HeatTrack
from service.judge.outlook import LossesJson
from service.judge.shop import Part
from service.physics.heat_paths import gradient, heat_paths

LEAST_EXCESS_K = 25.0
"""Nearer to the air than this the shares mean nothing [K]."""
LEAST_FALL_C_PER_H = 30.0
"""Slower, heat is going in, or the rate is mostly noise."""


def losses_json(part: Part, track: HeatTrack, temperature_c: float | None) -> LossesJson | None:
    """Heat lost by path [W]; ``None`` without a mass, a sure rate of cooling, or much excess.

    Args:
        part: With its mass, and perhaps its area.
        track: Of its running heat.
        temperature_c: Of the channel that governs [°C].

    Source: see ``service.physics.heat_paths``; contact is what the others leave over.
    """
    rate = track.rate
    around_c = ROOM_C if track.ambient_c is None else track.ambient_c
    if part.mass_kg is None or temperature_c is None or rate is None:
        return None
    if rate.c_per_h > -max(LEAST_FALL_C_PER_H, 2.0 * rate.sd_c_per_h):
        return None
    if temperature_c < around_c + LEAST_EXCESS_K:
        return None
    purging = track.purging
    flow_l_min = 0.0 if purging is None else max(0.0, purging.flow_l_min or 0.0)
    paths = heat_paths(
        part.metal,
        part.mass_kg,
        part.area_m2,
        part_c=temperature_c,
        rate=rate,
        around_c=around_c,
        argon_flow_l_min=flow_l_min,
    )
    return {
        "total_w": float(round(paths.total_w)),
        "air_w": float(round(paths.air_w)),
        "radiation_w": float(round(paths.radiation_w)),
        "argon_w": float(round(paths.argon_w)),
        "contact_w": None if part.area_m2 is None else float(round(paths.contact_w)),
    }


def gradient_k(track: HeatTrack) -> float | None:
    """Hottest probe minus coldest, noise taken off [K]; ``None`` with fewer than two."""
    levels = {
        name: cooling.level for name, cooling in track.cooling.items() if cooling.level is not None
    }
    found = gradient(levels)
    return None if found is None else round(found.temperature_c, 1)
