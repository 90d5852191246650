"""The lines of a heat's chart for the page: every channel of the part, whole or a stretch of it.

A page that looks closer asks again for the stretch it shows, and gets it in finer steps. Peaks are
kept (a step tells its lowest and its highest reading), and a line breaks where nothing was read.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from service.judge.utc import utc_text
from service.readings import ChannelKind
from service.records.heat_record import DatedLimits, HeatRecord
from service.records.moments import joined
from service.records.traces import Traces, lettered, stretches

PANELS = {
    ChannelKind.THERMOCOUPLE: "temperature",
    ChannelKind.OXYGEN: "oxygen",
    ChannelKind.GAS_FLOW: "flow",
}
"""Which part of the chart a channel is drawn in."""
DIGITS = 5
"""Of a value: finer than a line can be drawn or a meter reads."""


def lines_json(record: HeatRecord, traces: Traces, within_us: tuple[int, int]) -> dict[str, Any]:
    """``HeatLines`` in openapi.json.

    Args:
        record: The heat.
        traces: Its channels over the stretch.
        within_us: The stretch [µs UTC].
    """
    start_us, end_us = within_us
    letters = lettered(record)
    step_us = max((history.step_us for _, history in traces.all), default=0)
    return {
        "heat_id": record.heat_id,
        "start": utc_text(start_us),
        "end": utc_text(end_us),
        "step_s": step_us / 1e6,
        "limits": _limits(record),
        "lines": [
            {
                "channel": of.name,
                "letter": letters[of.name],
                "panel": PANELS[ChannelKind(of.kind)],
                **_points(stretches(of, history), start_us),
            }
            for of, history in traces.all
            if of.kind is not None
        ],
    }


def _points(runs: Sequence[Sequence[tuple[float, float]]], start_us: int) -> dict[str, Any]:
    """Seconds from the start and values; ``None`` for both between two runs."""
    at_s: list[float | None] = []
    values: list[float | None] = []
    for run in runs:
        if at_s:
            at_s.append(None)
            values.append(None)
        at_s += [round((t_us - start_us) / 1e6, 3) for t_us, _ in run]
        values += [float(f"{value:.{DIGITS}g}") for _, value in run]
    return {"at_s": at_s, "values": values}


def _limits(record: HeatRecord) -> list[dict[str, Any]]:
    """Every version with the stretch in which it held."""
    held = [each for each in record.limits if each.from_us < record.to_us]
    ends_us = [after.from_us for _, after in pairwise(held)] + [record.to_us]
    return [_limit(record, each, to_us) for each, to_us in zip(held, ends_us, strict=True)]


def _limit(record: HeatRecord, dated: DatedLimits, to_us: int) -> dict[str, Any]:
    low_c, high_c = joined(dated.limits)
    return {
        "from": utc_text(max(dated.from_us, record.begun_us)),
        "to": utc_text(max(to_us, record.begun_us)),
        "preheat_min_c": low_c,
        "upper_c": high_c,
        "oxygen_max_ppm": dated.limits.oxygen_max_ppm,
    }
