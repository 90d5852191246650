"""What a heat's purges show of the cavity: what it behaves as, how it mixes, how it leaks."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from service.physics.purge import Purge, PurgeSetup
from service.procedure.lessons import SIGMAS_OF_90, Lesson, Quantity
from service.records.heat_record import HeatRecord, PurgeRecord
from service.records.series import Grid

AIR_PPM = 209_500.0
"""Oxygen in dry air (CIPM-2007: 0.20939 and a little; 20.95 % is usual)."""
FALLING_PPM = (300.0, 100_000.0)
"""Between these the oxygen falls as in a stirred vessel; below, leak and feed show."""
LEAST_FALL = 10.0
LEAST_POINTS = 8
STANDS_S = 90.0
"""Of a purge whose oxygen stands still for so long the level is the leak's."""
STANDS_WITHIN = 0.10
LEAST_FLOW_L_MIN = 1.0
MIXING_SD, LEAK_SD = 0.10, 0.15
"""Meter and cell: 5 to 10 % each; judgement."""


def cavity(record: HeatRecord, flow: Grid, oxygen: Grid) -> Iterator[Lesson]:
    """Every lesson of the cavity; only an oxygen sensor teaches any."""
    if not flow.length or not oxygen.length:
        return
    done: set[Quantity] = set()
    for purge in record.purges:
        l_min, ppm, known = _both(purge, record.to_us, flow, oxygen)
        if known.sum() < LEAST_POINTS:
            continue
        for lesson in _of_purge(record, l_min, ppm, known, flow.step_s):
            if lesson.quantity not in done:
                done.add(lesson.quantity)
                yield lesson


def _both(
    purge: PurgeRecord, to_us: int, flow: Grid, oxygen: Grid
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Flow [l/min], oxygen [ppm] and whether the cell spoke, step by step through a purge."""
    stretch = flow.within(purge.begun_us, purge.ended_us or to_us)
    l_min, ppm = flow.values[0, stretch], oxygen.values[0, stretch]
    steps = min(len(l_min), len(ppm))
    return l_min[:steps], ppm[:steps], oxygen.known[0, stretch][:steps]


def _of_purge(
    record: HeatRecord,
    l_min: NDArray[np.float64],
    ppm: NDArray[np.float64],
    known: NDArray[np.bool_],
    step_s: float,
) -> Iterator[Lesson]:
    flowing = l_min[~np.isnan(l_min) & (l_min > LEAST_FLOW_L_MIN)]
    if not len(flowing):
        return
    at_l_min = (round(float(flowing.min()), 1), round(float(flowing.max()), 1))
    facts = record.facts
    model = Purge(PurgeSetup(facts.cavity_volume_l, facts.hose_volume_l), 0.0)
    for place in range(len(l_min)):
        t_s = place * step_s
        model.observe_flow(t_s, None if math.isnan(l_min[place]) else float(l_min[place]))
        if known[place]:
            model.observe_oxygen(t_s, float(ppm[place]))
        model.advance(t_s)
    volume = model.learnt_volume_l()
    if volume is not None and volume.p95 is not None and volume.p05 > 0:
        sd = math.log(volume.p95 / volume.p05) / (2 * SIGMAS_OF_90)
        yield Lesson(record.heat_id, "cavity volume", volume.p50, max(sd, 0.05), *at_l_min)
    litres = np.cumsum(np.nan_to_num(l_min)) * step_s / 60.0
    acts_as_l = _stirred_l(litres, ppm, known)
    if acts_as_l is not None and facts.cavity_volume_l is not None:
        mixing = facts.cavity_volume_l / acts_as_l
        yield Lesson(record.heat_id, "cavity mixing", mixing, MIXING_SD, *at_l_min)
    leak = _leak_l_min(l_min, ppm, known, step_s)
    if leak is not None:
        yield Lesson(record.heat_id, "cavity leak", leak, LEAK_SD, *at_l_min)


def _stirred_l(
    litres: NDArray[np.float64], ppm: NDArray[np.float64], known: NDArray[np.bool_]
) -> float | None:
    """The stirred vessel that would fall as the cell did [l]: ln(ppm) falls by 1 a volume."""
    low, high = FALLING_PPM
    places = np.flatnonzero(known & (ppm > low) & (ppm < high))
    if len(places) < LEAST_POINTS or ppm[places[0]] / ppm[places[-1]] < LEAST_FALL:
        return None
    slope = float(np.polyfit(litres[places], np.log(ppm[places]), 1)[0])
    return -1.0 / slope if slope < 0 else None


def _leak_l_min(
    l_min: NDArray[np.float64], ppm: NDArray[np.float64], known: NDArray[np.bool_], step_s: float
) -> float | None:
    """Air that comes in while the oxygen stands: flow x share / (air's share - share) [l/min].

    The balance of a cavity at rest: argon and air in, mixture out. The cell's own zero and the
    gas's own oxygen are in it, so it is the most that can leak.
    """
    steps = round(STANDS_S / step_s)
    tail = slice(max(len(ppm) - steps, 0), len(ppm))
    said, flow = ppm[tail][known[tail]], l_min[tail]
    if steps < 2 or len(ppm) < 2 * steps or len(said) < LEAST_POINTS or np.isnan(flow).any():
        return None
    early, late = np.array_split(said, 2)
    stands = abs(float(early.mean() - late.mean())) <= STANDS_WITHIN * float(said.mean())
    if not stands or float(flow.min()) < LEAST_FLOW_L_MIN or float(said.mean()) <= 0:
        return None
    level = float(said.mean())
    return float(flow.mean()) * level / (AIR_PPM - level) if level < 0.5 * AIR_PPM else None
