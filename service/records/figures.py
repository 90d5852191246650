"""What the readings of a heat come to: soak, rates in bands, gradients, time below preheat.

Bands and spans are common practice, no source; codes that limit rates do so above a temperature of
their own (ASME BPV VIII-1, UCS-56, above 425 °C), so each band of 100 K is told by itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from service.records.heat_record import (
    Figures,
    Gradient,
    PassRecord,
    PhaseRecord,
    Rate,
    Soak,
)
from service.records.series import Grid

BAND_K = 100.0
SPAN_S = {"oven": 300.0, "carry": 60.0, "bench": 60.0, "slow cool": 300.0}
"""How long a line through the readings is, by phase [s]: bare on the bench a casting changes by
25 K a minute, in the oven and under a cover by a few."""
LEAST_IN_BAND_S = 60.0
"""A band crossed in less is told with none of its rates."""


APART_S = 60.0
"""Readings further apart are not joined to a rate [s]."""


def work_out(
    grid: Grid,
    phases: Sequence[PhaseRecord],
    passes: Sequence[PassRecord],
    preheat_min_c: float | None,
    upper_c: float | None,
    *,
    soak_c: tuple[float | None, float | None] | None = None,
) -> Figures:
    """Every figure of a heat from its thermocouples.

    Args:
        grid: The part's thermocouples [°C].
        phases: In order of time.
        passes: In order of time.
        preheat_min_c: Least temperature before any pass; the lower end of the soak's band.
        upper_c: Upper end of the soak's band.
        soak_c: Both ends of the soak's band, where it has a band of its own.
    """
    below_s, unread_s = _below_preheat(grid, passes, preheat_min_c)
    return Figures(
        step_s=grid.step_s,
        soak=_soak(grid, phases, *(soak_c or (preheat_min_c, upper_c))),
        rates=_rates(grid, phases),
        gradients=_gradients(grid, phases),
        below_preheat_s=below_s,
        unread_s=unread_s,
        last_arc_to_cover_s=_arc_to_cover(phases, passes),
    )


def _soak(
    grid: Grid, phases: Sequence[PhaseRecord], low_c: float | None, high_c: float | None
) -> Soak | None:
    ovens = [each for each in phases if each.phase == "oven"]
    if low_c is None or not ovens or grid.length == 0:
        return None
    inside = grid.values >= low_c
    if high_c is not None:
        inside &= grid.values <= high_c
    everywhere: NDArray[np.bool_] = np.logical_and.reduce(inside, axis=0)
    longest, total, from_us = 0, 0, None
    for oven in ovens:
        stretch = grid.within(oven.from_us, oven.to_us)
        for first, count in _runs(everywhere[stretch]):
            total += count
            if count > longest:
                longest, from_us = count, grid.t_us(stretch.start + first)
    return Soak(low_c, high_c, longest * grid.step_s, total * grid.step_s, from_us)


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First place and length of every stretch of true ones."""
    edges = np.diff(np.concatenate(([0], flags.astype(np.int8), [0])))
    firsts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return [(int(first), int(end - first)) for first, end in zip(firsts, ends, strict=True)]


def _below_preheat(
    grid: Grid, passes: Sequence[PassRecord], low_c: float | None
) -> tuple[float | None, float | None]:
    ends_us = [each.ended_us for each in passes if each.ended_us is not None]
    if not passes or not ends_us or grid.length == 0:
        return None, None
    stretch = grid.within(passes[0].begun_us, max(ends_us))
    values = grid.values[:, stretch]
    unread = np.isnan(values).all(axis=0)
    unread_s = float(unread.sum()) * grid.step_s
    if low_c is None:
        return None, unread_s
    coldest = np.where(np.isnan(values), np.inf, values).min(axis=0)
    return float((coldest < low_c).sum()) * grid.step_s, unread_s


def _arc_to_cover(phases: Sequence[PhaseRecord], passes: Sequence[PassRecord]) -> float | None:
    ends_us = [each.ended_us for each in passes if each.ended_us is not None]
    if not ends_us:
        return None
    covers_us = [
        each.from_us
        for each in phases
        if each.phase == "slow cool" and each.from_us >= max(ends_us)
    ]
    return (min(covers_us) - max(ends_us)) / 1e6 if covers_us else None


def _gradients(grid: Grid, phases: Sequence[PhaseRecord]) -> tuple[Gradient, ...]:
    if len(grid.names) < 2:
        return ()
    found: dict[str, Gradient] = {}
    for phase in phases:
        stretch = grid.within(phase.from_us, phase.to_us)
        values = grid.values[:, stretch]
        spoken = (~np.isnan(values)).sum(axis=0) >= 2
        if not spoken.any():
            continue
        low = np.where(np.isnan(values), np.inf, values)
        high = np.where(np.isnan(values), -np.inf, values)
        spread = np.where(spoken, high.max(axis=0) - low.min(axis=0), -np.inf)
        place = int(spread.argmax())
        gradient = Gradient(
            phase.phase,
            grid.t_us(stretch.start + place),
            float(spread[place]),
            grid.names[int(low[:, place].argmin())],
            grid.names[int(high[:, place].argmax())],
        )
        before = found.get(phase.phase)
        if before is None or gradient.difference_k > before.difference_k:
            found[phase.phase] = gradient
    return tuple(found.values())


def _rates(grid: Grid, phases: Sequence[PhaseRecord]) -> tuple[Rate, ...]:
    rates: list[Rate] = []
    for row, name in enumerate(grid.names):
        for kind in dict.fromkeys(each.phase for each in phases):
            stretches = [
                grid.within(each.from_us, each.to_us) for each in phases if each.phase == kind
            ]
            rates += _rates_of(grid, row, name, kind, stretches)
    return tuple(rates)


def _rates_of(
    grid: Grid, row: int, name: str, phase: str, stretches: Sequence[slice]
) -> list[Rate]:
    span_s = SPAN_S[phase]
    times_s: list[float] = []
    changes: list[tuple[float, float, float]] = []
    slopes: list[tuple[float, float]] = []
    for stretch in stretches:
        places = np.flatnonzero(grid.known[row, stretch]) + stretch.start
        at_s = places * grid.step_s
        values = grid.values[row, places]
        for part in np.split(np.arange(len(places)), _breaks(at_s)):
            part_s, part_c = at_s[part], values[part]
            changes += _changes(part_s, part_c)
            slopes += _slopes(part_s, part_c, span_s)
            times_s.extend(part_s)
    bands = sorted({_band(middle_c) for middle_c, _, _ in changes})
    return [
        rate for band in bands if (rate := _rate(name, phase, band, changes, slopes)) is not None
    ]


def _breaks(at_s: NDArray[np.float64]) -> NDArray[np.intp]:
    return np.flatnonzero(np.diff(at_s) > APART_S) + 1


def _changes(
    at_s: NDArray[np.float64], values: NDArray[np.float64]
) -> list[tuple[float, float, float]]:
    """Middle, change and time of each pair of neighbours."""
    if len(at_s) < 2:
        return []
    middles = (values[1:] + values[:-1]) / 2
    return list(
        zip(middles.tolist(), np.diff(values).tolist(), np.diff(at_s).tolist(), strict=True)
    )


def _slopes(
    at_s: NDArray[np.float64], values: NDArray[np.float64], span_s: float
) -> list[tuple[float, float]]:
    """Mean and slope [°C, °C/h] of lines through ``span_s`` of readings, a fifth of it apart."""
    found: list[tuple[float, float]] = []
    if len(at_s) < 3 or at_s[-1] - at_s[0] < span_s:
        return found
    for first_s in np.arange(at_s[0], at_s[-1] - span_s + 1e-9, span_s / 5):
        low, high = np.searchsorted(at_s, (first_s, first_s + span_s + 1e-9))
        times, temperatures = at_s[low:high], values[low:high]
        if len(times) < 3 or times[-1] - times[0] < span_s / 2:
            continue
        away_s = times - times.mean()
        slope = float((away_s * temperatures).sum() / (away_s**2).sum())
        found.append((float(temperatures.mean()), slope * 3600))
    return found


def _band(value_c: float) -> float:
    return float(np.floor(value_c / BAND_K)) * BAND_K


def _rate(
    name: str,
    phase: str,
    band: float,
    changes: Sequence[tuple[float, float, float]],
    slopes: Sequence[tuple[float, float]],
) -> Rate | None:
    here = [(change, time_s) for middle, change, time_s in changes if _band(middle) == band]
    time_s = sum(each for _, each in here)
    if time_s < LEAST_IN_BAND_S:
        return None
    steep = [slope for middle, slope in slopes if _band(middle) == band]
    up, down = [each for each in steep if each > 0], [each for each in steep if each < 0]
    return Rate(
        channel=name,
        phase=phase,
        low_c=band,
        high_c=band + BAND_K,
        minutes=time_s / 60,
        mean_c_per_h=sum(change for change, _ in here) / time_s * 3600,
        fastest_up_c_per_h=max(up, default=None),
        fastest_down_c_per_h=min(down, default=None),
        span_s=SPAN_S[phase],
    )
