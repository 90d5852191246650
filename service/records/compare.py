"""Heats side by side: brought to one zero, their coldest probe as a line, their figures in a row.

A heat whose zero cannot be told (it has no pass, or was in no oven) is listed with the reason and
not drawn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal, get_args
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from service.judge.utc import utc_text
from service.records.heat_record import HeatRecord
from service.records.local_time import local
from service.records.series import Grid, lay_out
from service.records.traces import Traces
from service.store.database import History

Alignment = Literal["oven exit", "first pass", "clock"]
ALIGNMENTS: tuple[Alignment, ...] = get_args(Alignment)
MOST_HEATS = 6
"""More lines than that are not told apart in one chart."""

Run = list[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Compared:
    """One heat among others.

    Attributes:
        zero_us: Its moment that is laid on the others' [µs UTC]; ``None``: see ``why``.
        temperature, oxygen, flow: Unbroken stretches of (seconds from zero, value): the coldest
            of the part's thermocouples [°C], oxygen [ppm], argon [l/min].
    """

    record: HeatRecord
    zero_us: int | None
    why: str | None
    temperature: tuple[Run, ...] = ()
    oxygen: tuple[Run, ...] = ()
    flow: tuple[Run, ...] = ()


def compared(
    record: HeatRecord, traces: Traces, align: Alignment, zone: ZoneInfo | None
) -> Compared:
    """Bring a heat to its zero.

    Args:
        record: The heat.
        traces: Its lines.
        align: ``oven exit``: it last left the oven before its first pass, or at all; ``first
            pass``: its arc was first lit; ``clock``: midnight on the wall before its begin.
        zone: Of that wall; ``None``: this machine's.
    """
    zero_us, why = _zero(record, align, zone)
    if zero_us is None:
        return Compared(record, None, why)
    return Compared(
        record,
        zero_us,
        None,
        _runs(_grid(traces.temperatures, record), zero_us),
        _runs(_grid(traces.oxygen[:1], record), zero_us),
        _runs(_grid(traces.flow[:1], record), zero_us),
    )


def _zero(
    record: HeatRecord, align: Alignment, zone: ZoneInfo | None
) -> tuple[int | None, str | None]:
    if align == "clock":
        begun = local(record.begun_us, zone)
        # With its own offset: on the day a clock is put forward midnight has another one.
        midnight = begun.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=zone)
        return round(midnight.timestamp()) * 1_000_000, None
    if align == "first pass":
        if not record.passes:
            return None, "no pass was welded in it"
        return record.passes[0].begun_us, None
    exit_us = oven_exit_us(record)
    return exit_us, None if exit_us is not None else "it was not seen leaving an oven"


def oven_exit_us(record: HeatRecord) -> int | None:
    """When the part last left the oven before its first pass, or at all if none was before.

    Going into the oven to cool after the last pass is no exit; ``None``: it never left one.
    """
    exits = [
        before.to_us for before, after in pairwise(record.phases)
        if before.phase == "oven" and after.phase != "oven"
    ]  # fmt: skip
    first_arc_us = record.passes[0].begun_us if record.passes else None
    in_time = [each for each in exits if first_arc_us is None or each <= first_arc_us]
    return in_time[-1] if in_time else next(iter(exits), None)


def _grid(traced: Sequence[tuple[Any, History]], record: HeatRecord) -> Grid:
    return lay_out(
        [history for _, history in traced], [of.spells for of, _ in traced], record.to_us
    )


def _coldest(grid: Grid) -> NDArray[np.float64]:
    if grid.length == 0:
        return np.empty(0)
    lowest: NDArray[np.float64] = np.where(np.isnan(grid.values), np.inf, grid.values).min(axis=0)
    return np.where(np.isfinite(lowest), lowest, np.nan)


def _runs(grid: Grid, zero_us: int) -> tuple[Run, ...]:
    """The lowest of the grid's rows as points in the middle of their steps, broken at gaps."""
    runs: list[Run] = []
    open_run = False
    for place, value in enumerate(_coldest(grid).tolist()):
        if math.isnan(value):
            open_run = False
            continue
        if not open_run:
            runs.append([])
            open_run = True
        at_s = (grid.t_us(place) + grid.step_us / 2 - zero_us) / 1e6
        runs[-1].append((round(at_s, 3), round(value, 3)))
    return tuple(runs)


def compared_json(each: Compared) -> dict[str, Any]:
    """``ComparedHeat`` in openapi.json."""
    record = each.record
    return {
        "heat_id": record.heat_id,
        "part": record.facts.name,
        "began_at": utc_text(record.begun_us),
        "zero_at": None if each.zero_us is None else utc_text(each.zero_us),
        "why": each.why,
        "figures": figures(each),
    }


def figures(each: Compared) -> dict[str, float | int | None]:
    """What is laid side by side; ``None``: not known, or it did not come to it."""
    record = each.record
    told, work = record.figures, record.work
    exit_us = oven_exit_us(record)
    first = record.passes[0] if record.passes else None
    lit_s = None if exit_us is None or first is None else (first.begun_us - exit_us) / 1e6
    return {
        "oven_s": None if work is None else work.oven_s,
        "exit_to_first_pass_s": lit_s,
        "first_pass_coldest_c": None if first is None else first.coldest_c,
        "interpass_hottest_c": _most(run.hottest_c for run in record.passes[1:]),
        "first_pass_oxygen_ppm": None if first is None else first.oxygen_ppm,
        "oxygen_high_ppm": _most(run.oxygen_high_ppm for run in record.passes),
        "passes": len(record.passes),
        "arc_s": None if work is None else work.arc_s,
        "argon_l": None if work is None else work.purge_l,
        "below_preheat_s": told.below_preheat_s,
        "last_arc_to_cover_s": told.last_arc_to_cover_s,
        "bare_c_per_h": _fastest_down(record, ("carry", "bench")),
        "covered_c_per_h": _fastest_down(record, ("slow cool",)),
        "difference_k": _most(gradient.difference_k for gradient in told.gradients),
        "deviations": len(record.deviations),
    }


def _fastest_down(record: HeatRecord, phases: tuple[str, ...]) -> float | None:
    rates = [
        rate.fastest_down_c_per_h for rate in record.figures.rates
        if rate.phase in phases and rate.fastest_down_c_per_h is not None
    ]  # fmt: skip
    return min(rates, default=None)


def _most(values: Any) -> float | None:
    return max((each for each in values if each is not None), default=None)
