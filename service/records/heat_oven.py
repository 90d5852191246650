"""What a heat shows of the oven with this part in it: how long, how far over, how far off."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from service.procedure.lessons import Lesson
from service.records.heat_losses import Curve
from service.records.heat_record import HeatRecord, PhaseRecord
from service.records.moments import joined

PLATEAU_S = 180.0
LEVEL_K_H = 60.0
"""Slower than this over the last minutes the part has come to rest."""
TIME_SD = 0.05
"""A part is put in within a minute or so of its tap."""
OFFSET_SD_K = 2.0
LEAST_OVER_K = 1.0
COLD_AT_BEGIN_K = 20.0
"""A time to temperature is told only if the part had at least so far to go."""


def door_c(record: HeatRecord, curve: Curve) -> float | None:
    """What the joint had when it left the oven for the bench first [°C]; ``None``: not read."""
    phase = _oven(record)
    if phase is None:
        return None
    _, values = curve.between(phase.to_us - round(PLATEAU_S * 1e6), phase.to_us)
    return float(np.median(values[-20:])) if len(values) else None


def oven(record: HeatRecord, curve: Curve, set_c: float | None) -> Iterator[Lesson]:
    """Every lesson of the oven.

    Args:
        set_c: What the oven was set to, as was said when the heat began [°C].
    """
    phase = _oven(record)
    if phase is None:
        return
    times, values = curve.between(phase.from_us, phase.to_us)
    if len(times) < 10:
        return
    begin_c, top_c = float(values[0]), float(values.max())
    seen = (round(begin_c, 1), round(top_c, 1))
    preheat_c = joined(record.limits[-1].limits)[0] if record.limits else None
    if preheat_c is not None and begin_c < preheat_c - COLD_AT_BEGIN_K and top_c >= preheat_c:
        hot = int(np.argmax(values >= preheat_c))
        minutes = float(times[hot] - times[0]) / 60.0
        if minutes > 0:
            yield Lesson(record.heat_id, "oven time", minutes, TIME_SD, seen[0], preheat_c)
    last = times >= times[-1] - PLATEAU_S
    if times[-1] - times[0] < 2 * PLATEAU_S or last.sum() < 5:
        return
    slope_k_h = float(np.polyfit(times[last], values[last], 1)[0]) * 3600.0
    if abs(slope_k_h) > LEVEL_K_H:
        return
    level_c = float(values[last].mean())
    if set_c is not None:
        off = level_c - set_c
        yield Lesson(record.heat_id, "oven above its setting", off, OFFSET_SD_K, seen[0], seen[1])
    over_k = top_c - level_c
    if over_k >= LEAST_OVER_K:
        yield Lesson(record.heat_id, "oven overshoot", over_k, OFFSET_SD_K, seen[0], seen[1])


def _oven(record: HeatRecord) -> PhaseRecord | None:
    """The stay in the oven that the first bench followed."""
    before: PhaseRecord | None = None
    for phase in record.phases:
        if phase.phase == "oven":
            before = phase
        elif phase.phase == "bench":
            break
    return before
