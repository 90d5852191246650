"""What a heat's thermocouples show of the part's loss: carried, bare, on steel, covered, oven off.

The joint's coldest probe is followed, as the planner reckons with it. Stretches under the arc, and
a minute after it while the bead's heat spreads, show no loss; with the gas on, the gas's share is
taken off where the mass is known, else the stretch is left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from service.judge.heat_verdict import BESIDE_MM
from service.physics.gas import gas_heat_w
from service.physics.materials import specific_heat_table
from service.procedure.lessons import Lesson, Quantity
from service.procedure.loss_law import Law, Seen, relative_rate, seen_in
from service.readings import ChannelKind
from service.records.heat_record import HeatRecord, PhaseRecord
from service.records.series import Grid

ARC_SPREADS_S = 60.0
LANDED_S = 20.0
"""A probe put back on, or a part set down, is left to settle."""
STEEL_S = (20.0, 110.0)
"""While the bench under the part warms up; common practice, no source."""
LEAST_S = 40.0
COVER_WARMS_S = 180.0
LEAST_COVERED_S = 240.0
LEAST_OFF_S, LEAST_OFF_K = 600.0, 20.0
LEAST_CARRIED_S, LEAST_CARRIED_K = 20.0, 5.0
CARRY_READ_SD_K = 2.0
"""The two ends of a carry: a probe that was out and is put back reads so well."""
GAS_TAKES, GAS_TAKES_SD = 0.55, 0.2
"""Of the gas's greatest possible heat (``plan_losses.GAS_TAKES``)."""
LEAST_SD = 0.03
"""Nothing here is known better: probes, c(T), the shape of the law."""
AIR_UNKNOWN_SD_K = 5.0
NOISE_K = 0.5


@dataclass(frozen=True, slots=True)
class Curve:
    """The joint's coldest probe."""

    grid: Grid
    row: int

    def between(self, from_us: int, to_us: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Times [s] and readings [°C] within a stretch, where the probe itself spoke."""
        stretch = self.grid.within(from_us, to_us)
        places = np.flatnonzero(self.grid.known[self.row, stretch]) + stretch.start
        return places * self.grid.step_s, self.grid.values[self.row, places]


def joint_curve(record: HeatRecord, temps: Grid) -> Curve | None:
    """The coldest of the joint's probes, by its mean out of the oven; ``None`` without any."""
    probes = [
        each
        for each in record.channels
        if each.of_part and each.kind == ChannelKind.THERMOCOUPLE and each.name in temps.names
    ]
    said = [each for each in probes if each.from_joint_mm is not None]
    near = [each for each in said if (each.from_joint_mm or 0.0) <= BESIDE_MM]
    wanted = [temps.names.index(each.name) for each in near or said or probes]
    out = [each for each in record.phases if each.phase == "bench"] or list(record.phases)
    means: list[tuple[float, int]] = []
    for row in wanted:
        curve = Curve(temps, row)
        values = [curve.between(each.from_us, each.to_us)[1] for each in out]
        told = np.concatenate(values) if values else np.empty(0)
        if len(told):
            means.append((float(told.mean()), row))
    return Curve(temps, min(means)[1]) if means else None


def losses(record: HeatRecord, curve: Curve, flow: Grid, air_c: float | None) -> Iterator[Lesson]:
    """Every loss that a heat shows."""
    around_c = 20.0 if air_c is None else air_c
    air_sd_k = AIR_UNKNOWN_SD_K if air_c is None else 1.0
    metal = record.facts.metal

    def told(quantity: Quantity, seen: Sequence[Seen]) -> Iterator[Lesson]:
        if not seen:
            return
        seconds = np.array([each.seconds for each in seen])
        logs = np.log([each.rate_k_s for each in seen])
        mean = float((seconds * logs).sum() / seconds.sum())
        own = float(np.sqrt((seconds**2 * [each.rel_sd**2 for each in seen]).sum()) / seconds.sum())
        apart = float(np.std(logs, ddof=1) / math.sqrt(len(seen))) if len(seen) > 1 else 0.0
        low, high = min(each.low_c for each in seen), max(each.high_c for each in seen)
        air = 1.25 * air_sd_k / max((low + high) / 2 - around_c, 20.0)
        sd = math.sqrt(LEAST_SD**2 + max(own, apart) ** 2 + air**2)
        yield Lesson(record.heat_id, quantity, math.exp(mean), sd, round(low, 1), round(high, 1))

    yield from told("loss carried", list(_carried(record, curve, around_c)))
    bare = list(_bare(record, curve, flow, around_c))
    yield from told("loss bare", bare)
    yield from _on_steel(record, curve, flow, around_c)
    covered = [each for each in record.phases if each.phase == "slow cool"]
    under = [
        _seen(curve, each.from_us + _us(COVER_WARMS_S), each.to_us, Law(metal, "covered", around_c))
        for each in covered
        if each.to_us - each.from_us >= _us(COVER_WARMS_S + LEAST_COVERED_S)
    ]
    yield from told("loss under cover", [each for each in under if each is not None])
    yield from told("loss in the oven off", list(_oven_off(record, curve, around_c)))


def _us(seconds: float) -> int:
    return round(seconds * 1e6)


def _seen(curve: Curve, from_us: int, to_us: int, law: Law) -> Seen | None:
    times, values = curve.between(from_us, to_us)
    if len(times) and law.shape == "covered":  # the last tens of kelvin say nothing of the loss
        warm = values > law.around_c + 30.0
        times, values = times[warm], values[warm]
    return seen_in(times, values, law, NOISE_K)


def _carried(record: HeatRecord, curve: Curve, around_c: float) -> Iterator[Seen]:
    """Between the last reading in the oven and the first settled one on the bench."""
    for before, carry in pairwise(record.phases):
        if before.phase != "oven" or carry.phase != "carry":
            continue
        t_in, in_c = curve.between(carry.from_us - _us(60), carry.from_us)
        landed_us = carry.to_us + _us(LANDED_S)
        t_out, out_c = curve.between(landed_us, landed_us + _us(30))
        if not len(t_in) or not len(t_out) or _arc_within(record, carry.from_us, landed_us):
            continue
        fell_k, seconds = float(in_c[-1] - out_c[0]), float(t_out[0] - t_in[-1])
        if seconds < LEAST_CARRIED_S or fell_k < LEAST_CARRIED_K:
            continue
        middle = np.array((in_c[-1] + out_c[0]) / 2)
        shape = float(relative_rate(middle, record.facts.metal, "bare", around_c))
        yield Seen(
            fell_k / seconds / shape, math.sqrt(2) * CARRY_READ_SD_K / fell_k,
            float(out_c[0]), float(in_c[-1]), seconds,
        )  # fmt: skip


def _arc_within(record: HeatRecord, from_us: int, to_us: int) -> bool:
    return any(
        each.begun_us < to_us and from_us < (each.ended_us or each.begun_us) + _us(ARC_SPREADS_S)
        for each in record.passes
    )


def _quiet(record: HeatRecord) -> Iterator[tuple[int, int]]:
    """Stretches on the bench without arc, cut where the gas comes or goes [µs]."""
    for phase in record.phases:
        if phase.phase != "bench":
            continue
        cuts = {phase.from_us + _us(LANDED_S), phase.to_us}
        for each in record.passes:
            cuts |= {each.begun_us, (each.ended_us or each.begun_us) + _us(ARC_SPREADS_S)}
        for purge in record.purges:
            cuts |= {purge.begun_us, purge.ended_us or phase.to_us}
        inside = sorted(at for at in cuts if phase.from_us + _us(LANDED_S) <= at <= phase.to_us)
        for from_us, to_us in pairwise(inside):
            if to_us - from_us >= _us(LEAST_S) and not _arc_within(record, from_us, to_us):
                yield from_us, to_us


def _bare(record: HeatRecord, curve: Curve, flow: Grid, around_c: float) -> Iterator[Seen]:
    for from_us, to_us in _quiet(record):
        seen = _seen(curve, from_us, to_us, Law(record.facts.metal, "bare", around_c))
        if seen is None:
            continue
        gas = _gas_l_min(record, flow, from_us, to_us)
        if gas == 0.0:
            yield seen
        elif gas is not None and record.facts.mass_kg is not None:
            less = _without_gas(seen, gas, record.facts.mass_kg, record.facts.metal, around_c)
            if less is not None:
                yield less


def _gas_l_min(record: HeatRecord, flow: Grid, from_us: int, to_us: int) -> float | None:
    """Gas through the part; ``None``: it is on, and nobody knows how much."""
    on = any(
        each.begun_us < to_us and (each.ended_us is None or from_us < each.ended_us)
        for each in record.purges
    )
    values = flow.values[:, flow.within(from_us, to_us)] if flow.length else np.empty((0, 0))
    values = values[~np.isnan(values)]
    if values.size:
        mean = float(values.mean())
        return 0.0 if mean < 0.2 else mean
    return None if on else 0.0


def _without_gas(
    seen: Seen, gas_l_min: float, mass_kg: float, metal: str, around_c: float
) -> Seen | None:
    middle_c = (seen.low_c + seen.high_c) / 2
    grid, c = specific_heat_table(metal)
    capacity_j_k = mass_kg * float(np.interp(middle_c, grid, c))
    per_k = gas_heat_w(gas_l_min, 20.0, 120.0) / 100.0
    at_most = per_k * (middle_c - around_c) / capacity_j_k
    at_most /= float(relative_rate(np.array(middle_c), metal, "bare", around_c))
    left = seen.rate_k_s - GAS_TAKES * at_most
    if left <= 0.3 * seen.rate_k_s:  # the gas rules: what is left of the bare loss is a guess
        return None
    sd = math.hypot(seen.rel_sd * seen.rate_k_s, GAS_TAKES_SD * at_most) / left
    return Seen(left, sd, seen.low_c, seen.high_c, seen.seconds)


def _on_steel(record: HeatRecord, curve: Curve, flow: Grid, around_c: float) -> Iterator[Lesson]:
    """The loss just after landing over the loss later, bare and without gas."""
    law = Law(record.facts.metal, "bare", around_c)
    for before, phase in pairwise(record.phases):
        if phase.phase != "bench" or before.phase == "slow cool":
            continue
        first_us, turn_us = (phase.from_us + _us(each) for each in STEEL_S)
        quiet = [each for each in _quiet(record) if each[0] <= first_us and each[1] > turn_us]
        if not quiet or _gas_l_min(record, flow, *quiet[0]) != 0.0:
            continue
        early = _seen(curve, first_us, turn_us, law)
        late = _seen(curve, turn_us, quiet[0][1], law)
        if early is None or late is None or late.seconds < LEAST_S:
            continue
        sd = math.sqrt(LEAST_SD**2 + early.rel_sd**2 + late.rel_sd**2)
        yield Lesson(
            record.heat_id, "loss on cold steel", early.rate_k_s / late.rate_k_s, sd,
            round(early.low_c, 1), round(early.high_c, 1),
        )  # fmt: skip
        return


def _oven_off(record: HeatRecord, curve: Curve, around_c: float) -> Iterator[Seen]:
    """The part cools in an oven that is off: it falls from its highest to the phase's end."""
    for phase in record.phases:
        if phase.phase != "oven":
            continue
        times, values = curve.between(phase.from_us, phase.to_us)
        if len(times) < 10:
            continue
        top = int(values.argmax())
        fell = float(values[top] - values[-1])
        if times[-1] - times[top] < LEAST_OFF_S or fell < LEAST_OFF_K:
            continue
        from_us = curve.grid.t_us(round(times[top] / curve.grid.step_s)) + _us(COVER_WARMS_S)
        seen = _seen(curve, from_us, phase.to_us, Law(record.facts.metal, "covered", around_c))
        if seen is not None:
            yield seen


def oven_phase(record: HeatRecord) -> PhaseRecord | None:
    """The first stay in the oven; ``None``: the heat had none."""
    return next((each for each in record.phases if each.phase == "oven"), None)
