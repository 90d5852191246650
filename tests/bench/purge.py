"""How good are the purge answers? ``python tests/bench/purge.py [--seed N] [--cases N]``.

Seeded cases of an independent simulated cavity (``purge_cavity.py``) are fed to ``Purge`` once with
the flow alone and once with the oxygen sensor. Printed for each kind of case: false clears (rows
said to be clear while the joint is above the limit, and the cases they fall in), the time of the
first clear over the true one, and how often the stated 90 % interval holds the truth.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from purge_cavity import DT_S, Cavity, Cell

from service.physics.purge import Purge, PurgeSetup

Flow = Callable[[float], float]


@dataclass
class Case:
    cavity: Cavity
    cell: Cell
    stated_l: float
    flow: Flow
    limit_ppm: float
    seconds: int
    interval_s: float
    blind: tuple[float, float] | None = None
    """The meter is silent between these times [s]."""
    gas_c: float | None = None
    """A junction in the gas [°C]."""
    wall_c: float | None = None
    """The casting, hot throughout [°C]."""
    event_s: float | None = None
    """When the flow or the meter first misbehaves [s]; none before is a first clearing."""
    opened_s: float | None = None
    """When a leak opened that only the sensor can show, and only after its delay and lag [s]."""


@dataclass
class Tally:
    cases: int = 0
    rows: int = 0
    false_rows: int = 0
    false_cases: int = 0
    never: int = 0
    truly_clear: int = 0
    ratios: list[float] = field(default_factory=list)
    first_ratios: list[float] = field(default_factory=list)
    hot_first_ratios: list[float] = field(default_factory=list)
    oven_first_ratios: list[float] = field(default_factory=list)
    inside: int = 0
    above: int = 0
    judged: int = 0
    widths: list[float] = field(default_factory=list)
    update_us: list[float] = field(default_factory=list)


def base(random: np.random.Generator, dead: bool = False) -> Case:
    true_l = float(np.exp(random.uniform(np.log(0.5), np.log(6.0))))
    rooms = int(random.integers(1, 4))
    per_minute = random.uniform(1.5, 6.0)
    flow = float(np.clip(true_l * per_minute, 3.0, 20.0))
    size = float(np.clip(np.sqrt(true_l / 2.4), 0.5, 1.5))
    cavity = Cavity(
        volume_l=true_l,
        rooms=rooms,
        back_mixing=random.uniform(0.5, 4.0),
        bypass=random.uniform(0.0, 0.2),
        joint_room=int(random.integers(0, rooms)),
        hose_l=random.uniform(0.05, 0.5),
        feed=random.uniform(0.5e-6, 5e-6),
        gap_low_cm2=size * random.uniform(0.0, 0.15),
        gap_high_cm2=size * random.uniform(0.1, 0.5),
        height_m=random.uniform(0.05, 0.3),
        draught_l_min=size * random.uniform(0.05, 2.0),
        entrained=0.0,
        meter=random.normal(1.0, 0.02),
    )
    if dead:
        cavity.dead_l = true_l * random.uniform(0.05, 0.2)
        cavity.dead_exchange_l_min = cavity.dead_l * 60.0 * random.uniform(0.004, 0.03)
        cavity.joint_in_dead_leg = bool(random.uniform() < 0.5)
    cell = Cell(
        lag_s=random.uniform(3.0, 14.0),
        delay_s=random.uniform(0.0, 3.0),
        gain=random.normal(1.0, 0.04),
        zero_ppm=random.normal(0.0, 1.5),
    )
    stated = true_l * float(np.clip(random.normal(1.0, 0.05), 0.88, 1.12))
    limit = float(random.choice([20.0, 50.0, 100.0, 500.0, 1000.0]))
    interval = float(random.choice([0.5, 1.0, 2.0, 5.0]))
    seconds = int(min(18 * true_l / flow * 60 + 120, 1500))
    return Case(cavity, cell, stated, lambda _: flow, limit, seconds, interval)


def steady(random: np.random.Generator) -> Case:
    return base(random)


def stall(random: np.random.Generator) -> Case:
    case = base(random)
    full, start = case.flow(0.0), case.seconds * random.uniform(0.2, 0.6)
    end = start + random.uniform(2.0, 120.0)
    case.event_s = start
    case.flow = lambda t: 0.0 if start < t < end else full
    case.seconds += int(end - start)
    return case


def kink(random: np.random.Generator) -> Case:
    case = base(random)
    full, start = case.flow(0.0), case.seconds * random.uniform(0.1, 0.6)
    left = random.uniform(0.0, 0.3)
    case.event_s = start
    case.flow = lambda t: full * left if t > start else full
    case.cavity.gap_low_cm2 *= random.uniform(1.0, 6.0)
    return case


def emptying(random: np.random.Generator) -> Case:
    case = base(random)
    full, start = case.flow(0.0), case.seconds * random.uniform(0.1, 0.7)
    case.event_s = start
    case.flow = lambda t: full * float(np.exp(-max(t - start, 0.0) / 90.0))
    case.cavity.gap_low_cm2 *= random.uniform(1.0, 6.0)
    return case


def meter_gap(random: np.random.Generator) -> Case:
    case = base(random)
    full, start = case.flow(0.0), case.seconds * random.uniform(0.2, 0.7)
    long = random.uniform(5.0, 60.0) + 3 * case.interval_s
    case.blind = (start, start + long)
    case.event_s = start
    stopped = random.uniform() < 0.6
    case.flow = lambda t: 0.0 if stopped and start < t < start + long else full
    return case


def hot(random: np.random.Generator) -> Case:
    case = base(random)
    case.cavity.gas_c = case.gas_c = random.uniform(150.0, 400.0)
    case.cavity.gap_low_cm2 = random.uniform(0.0, 0.5)
    return case


def out_of_oven(random: np.random.Generator) -> Case:
    """The casting is hot throughout and its gas is what the walls make of the argon."""
    case = base(random)
    wall_c = case.wall_c = random.uniform(150.0, 450.0)
    metres3 = case.cavity.volume_l / 1000.0
    walls_w_k = random.uniform(4.0, 9.0) * random.uniform(5.5, 10.0) * metres3 ** (2.0 / 3.0)
    gas_w_k = 1.66 * case.flow(0.0) / 60_000.0 * 521.0
    case.cavity.gas_c = 20.0 + walls_w_k / (walls_w_k + gas_w_k) * (wall_c - 20.0)
    case.cavity.gap_low_cm2 = random.uniform(0.0, 0.5)
    return case


def hot_low_flow(random: np.random.Generator) -> Case:
    case = hot(random)
    slow = random.uniform(0.5, 3.0)
    case.flow = lambda _: slow
    case.cavity.gap_low_cm2 = random.uniform(0.3, 1.0) * case.cavity.gap_high_cm2 / 0.5
    case.cavity.gap_high_cm2 *= random.uniform(1.0, 2.0)
    case.seconds = 1200
    return case


def dead_leg(random: np.random.Generator) -> Case:
    return base(random, dead=True)


def leaky_hose(random: np.random.Generator) -> Case:
    case = base(random)
    case.cavity.entrained = float(np.exp(random.uniform(np.log(1e-4), np.log(2e-2))))
    return case


def opens(random: np.random.Generator) -> Case:
    """The tape comes off when welding starts: a leak that the meter cannot show."""
    case = base(random)
    full = case.flow(0.0)
    start = case.seconds * random.uniform(0.5, 0.7)
    leak = random.uniform(1e-3, 1e-1)

    def flow(t: float) -> float:
        case.cavity.entrained = leak if t > start else 0.0
        return full

    case.flow = flow
    case.opened_s = start
    return case


KINDS: dict[str, tuple[Callable[[np.random.Generator], Case], bool]] = {
    "steady": (steady, True),
    "stall": (stall, True),
    "kinked hose": (kink, True),
    "bottle runs out": (emptying, True),
    "meter silent": (meter_gap, True),
    "hot cavity": (hot, True),
    "hot, low flow": (hot_low_flow, True),
    "out of the oven": (out_of_oven, True),
    "dead leg": (dead_leg, False),
    "leaky hose": (leaky_hose, False),
    "leak opens": (opens, False),
}
"""Kinds of case, and whether the flow (and gas temperature) can show what is going on."""


def run(case: Case, random: np.random.Generator, tallies: tuple[Tally, Tally]) -> None:
    models = [
        Purge(PurgeSetup(case.stated_l, case.cavity.hose_l, case.limit_ppm), 0.0) for _ in range(2)
    ]
    first: list[float | None] = [None, None]
    wrong = [0, 0]
    truly_since: float | None = None
    next_s = 0.0
    started = 0.0
    for index in range(int(case.seconds / DT_S)):
        t_s = index * DT_S
        true_flow = case.flow(t_s)
        case.cavity.step(true_flow)
        case.cell.step(case.cavity.outlet_ppm)
        if truly_since is None and case.cavity.joint_ppm < case.limit_ppm:
            truly_since = t_s
        if t_s + 1e-9 < next_s:
            continue
        next_s += case.interval_s
        shown = max(true_flow / case.cavity.meter + 0.03 * random.standard_normal(), 0.0)
        silent = case.blind is not None and case.blind[0] < t_s < case.blind[1]
        oxygen = case.cell.read(random)
        for which, purge in enumerate(models):
            started = time.perf_counter()
            if case.gas_c is not None:
                purge.observe_gas_temperature(t_s, case.gas_c + 2 * random.standard_normal())
            if case.wall_c is not None:
                wall_c = case.wall_c + 2 * random.standard_normal()
                purge.observe_wall_temperature(t_s, wall_c, throughout=True)
            if not silent:
                purge.observe_flow(t_s, shown)
            if which == 1:
                purge.observe_oxygen(t_s, oxygen)
            purge.advance(t_s)
            clear = purge.clear(case.limit_ppm)
            tally = tallies[which]
            tally.update_us.append(1e6 * (time.perf_counter() - started) / case.interval_s)
            spread = purge.oxygen()
            tally.rows += 1
            # Before a reading is overdue nobody can know that the meter has gone silent.
            overdue_s = case.blind[0] + max(3.0, 3 * case.interval_s) if case.blind else 0.0
            unknowable = silent and t_s <= overdue_s + case.interval_s
            if case.opened_s is not None and which == 1:
                seen_s = case.cell.delay_s + 2 * case.cell.lag_s + 3 * case.interval_s
                unknowable = case.opened_s < t_s <= case.opened_s + seen_s
            if clear and case.cavity.joint_ppm >= case.limit_ppm and not unknowable:
                tally.false_rows += 1
                wrong[which] += 1
            if clear and first[which] is None:
                first[which] = t_s
            if spread is not None and spread.p95 is not None and case.cavity.joint_ppm < 2.0e5:
                tally.judged += 1
                tally.inside += spread.p05 <= case.cavity.joint_ppm <= spread.p95
                tally.above += case.cavity.joint_ppm > spread.p95
                tally.widths.append(spread.p95 / max(spread.p05, 1e-3))
    for which, tally in enumerate(tallies):
        tally.cases += 1
        tally.false_cases += wrong[which] > 0
        if truly_since is not None and truly_since > 5:
            tally.truly_clear += 1
            moment = first[which]
            if moment is None:
                tally.never += 1
            else:
                tally.ratios.append(moment / truly_since)
                if case.event_s is None or moment < case.event_s:
                    kept = tally.first_ratios
                    if case.gas_c is not None:
                        kept = tally.hot_first_ratios
                    elif case.wall_c is not None:
                        kept = tally.oven_first_ratios
                    kept.append(moment / truly_since)


def line(name: str, tally: Tally) -> str:
    ratio = f"{statistics.median(tally.ratios):.2f}" if tally.ratios else "-"
    widths = f"{statistics.median(tally.widths):.1f}" if tally.widths else "-"
    judged = max(tally.judged, 1)
    return (
        f"{name:<26}{tally.cases:>6}{tally.rows:>8}{tally.false_rows:>8}{tally.false_cases:>7}"
        f"{ratio:>8}{tally.never:>5}/{tally.truly_clear:<4}{100 * tally.inside / judged:>7.1f}"
        f"{100 * tally.above / judged:>8.1f}{widths:>8}{statistics.median(tally.update_us):>8.0f}"
    )


def commit() -> str:
    found = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    )
    return found.stdout.strip() or "unknown"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=30, help="cases of each kind")
    parser.add_argument("--kind", choices=sorted(KINDS), action="append")
    given = parser.parse_args()
    print(f"purge benchmark: commit {commit()}, seed {given.seed}, {given.cases} cases a kind")
    print(
        f"{'case, basis':<26}{'cases':>6}{'rows':>8}{'false':>8}{'in':>7}{'ratio':>8}"
        f"{'never':>10}{'in 90%':>7}{'above%':>8}{'width':>8}{'us/s':>8}"
    )
    seen = (Tally(), Tally(), Tally())
    for kind, (make, shown) in KINDS.items():
        if given.kind and kind not in given.kind:
            continue
        random = np.random.default_rng([given.seed, sorted(KINDS).index(kind)])
        tallies = (Tally(), Tally())
        for _ in range(given.cases):
            run(make(random), random, tallies)
        print(line(f"{kind}, flow", tallies[0]))
        print(line(f"{kind}, sensor", tallies[1]), flush=True)
        add(seen[0 if shown else 2], tallies[0])
        add(seen[1], tallies[1])
    for name, total in zip(
        ("ALL flow, can show", "ALL sensor", "ALL flow, cannot show"), seen, strict=True
    ):
        if total.cases:
            print(line(name, total))
    for name, total in (("flow", seen[0]), ("sensor", seen[1])):
        kinds = (
            ("all", total.first_ratios + total.hot_first_ratios + total.oven_first_ratios),
            ("cold gas", total.first_ratios),
            ("hot gas, by a junction in it", total.hot_first_ratios),
            ("casting out of the oven", total.oven_first_ratios),
        )
        for gas, ratios in kinds:
            if ratios:
                print(
                    f"first clearing by {name}, {gas}, nothing amiss before: median "
                    f"{statistics.median(ratios):.2f} times the true time ({len(ratios)} cases)"
                )
    return 0


def add(total: Tally, part: Tally) -> None:
    for name, value in vars(part).items():
        setattr(total, name, getattr(total, name) + value)


if __name__ == "__main__":
    sys.exit(main())
