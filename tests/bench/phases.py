"""How often phases are found in the readings, and how often wrongly.

    python tests/bench/phases.py [--seed 7] [--cases 320]

The parts, probes, noise and events are those of the many-node world that the forecasts are tried
against (``tests/bench/cooling_world``); oven scenes (cycling, doors opened, a probe that breaks)
are made from the same networks here. The watch sees what the judge would give it and nothing else.
Not a test: nothing is asserted.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from cooling_world.network import NODES, Network, step
from cooling_world.scenarios import FAMILIES, Case, _part, make

from service.judge.channel import ChannelTrack
from service.judge.phases import Around, PhaseWatch, Seen
from service.judge.sense import SenseState, classify
from service.readings import ChannelKind, Reading

OVEN_S = 120
PREHEAT_C = 150.0
NEAR_S = 30.0
"""A step dated this near to the truth counts as dated rightly [s]."""


@dataclass
class Watched:
    """One probe before the watch: readings in, phases out."""

    phase: str
    watch: PhaseWatch = field(default_factory=PhaseWatch)
    track: ChannelTrack = field(default_factory=lambda: ChannelTrack("tc", 0))
    gate: SenseState = field(default_factory=SenseState)
    passes: int = 0
    arc_out_us: int | None = None
    running: bool = False

    def __post_init__(self) -> None:
        self.track.adopted(ChannelKind.THERMOCOUPLE)
        self.track.in_oven = self.phase == "oven"

    def read(self, at_us: int, value: float) -> None:
        """One reading; NaN is an unplugged probe."""
        missing = np.isnan(value)
        number, fault = (None, "open-circuit") if missing else (float(value), None)
        quality, why = classify(self.gate, "tc", "Cel", number, fault, mono_us=at_us)
        self.track.take(Reading("tc", "Cel", number, quality, why, at_us, at_us, at_us, 1))

    def second(self, now_us: int, ambient_c: float) -> Seen | None:
        """The whole second; a phase that is found is taken."""
        out_us = None if self.running else self.arc_out_us
        around = Around(self.phase, self.running, self.passes, out_us, PREHEAT_C, ambient_c)
        seen = self.watch.second(now_us, {"tc": self.track}, ["tc"], around)
        if seen is not None:
            self.phase = seen.phase
            self.track.in_oven = False
            self.watch.moved(seen.phase, now_us, by_person=False)
        return seen


def follow(watched: Watched, case: Case, from_s: float, weld: list[tuple[float, float]]) -> list:
    """A case from its first reading on; every phase found: (phase, dated [s], noticed [s])."""
    found, i = [], 0
    for second in range(int(from_s), int(case.t[-1])):
        now_us = int((second + OVEN_S + 1000) * 1e6)
        while i < len(case.t) and case.t[i] <= second:
            watched.read(int((case.t[i] + OVEN_S + 1000) * 1e6), case.y[i])
            i += 1
        watched.running = any(begin <= second < end for begin, end in weld)
        ended = [end for _, end in weld if end <= second]
        watched.passes = len(ended)
        if ended:
            watched.arc_out_us = int((max(ended) + OVEN_S + 1000) * 1e6)
        seen = watched.second(now_us, case.ambient_c)
        if seen is not None:
            found.append((seen.phase, seen.at_us / 1e6 - OVEN_S - 1000, second))
    return found


def on_the_bench(case: Case, counts: Counter) -> None:
    """Begun on the bench and welded at once; only a blanket is a cover."""
    name, events = case.family, {what: at for at, what in case.events}
    weld = [(1.0, 8.0)]
    if "arc on" in events:
        weld.append((events["arc on"], events.get("torch off", events["arc on"] + 60)))
    found = [each for each in follow(Watched("bench"), case, 0, weld) if each[0] == "slow cool"]
    covered_s = events.get("cover on")
    if covered_s is None:
        counts[name, "no cover", "right" if not found else "WRONG"] += 1
        return
    early = [dated for _, dated, _ in found if dated < covered_s - NEAR_S]
    what = "WRONG (too early)" if early else ("found" if found else "missed")
    counts[name, "cover", what] += 1
    if found and not early:
        counts[name, "cover", "delay_s"] += found[0][2] - covered_s


def through_the_carry(case: Case, counts: Counter) -> None:
    """In the oven at the case's first temperature, out at 0, unplugged as the case says."""
    watched, name = Watched("oven"), case.family
    first_c = float(case.y[np.flatnonzero(~np.isnan(case.y))[0]])
    rng = np.random.default_rng(int(case.limit_c * 1000))
    for second in range(OVEN_S):
        at_us = int((second + 1000) * 1e6)
        watched.read(at_us, first_c + rng.normal(0, 0.3))
        if watched.second(at_us, case.ambient_c):
            counts[name, "oven", "WRONG"] += 1
            return
    found = follow(watched, case, 0, [])
    back_s = next((at for at, what in case.events if what == "probe back"), None)
    moves = [phase for phase, _, _ in found]
    counts[name, "out of the oven", "found" if "carry" in moves else "missed"] += 1
    lands = [dated for phase, dated, _ in found if phase == "bench"]
    if back_s is None:
        counts[name, "no landing", "WRONG" if lands else "right"] += 1
    elif not lands:
        counts[name, "landing", "missed"] += 1
    else:
        near = abs(lands[0] - back_s) <= NEAR_S
        counts[name, "landing", "found" if near else "WRONG date"] += 1


def oven_scenes(seed: int, cases: int, counts: Counter) -> None:
    """Parts that stay in the oven: it cycles, its door is opened, a probe breaks when cold."""
    rng = np.random.default_rng([seed, 99])
    net = Network(
        mass=np.full((cases, NODES), 1.0), kind=np.zeros((cases, NODES), dtype=int),
        area=np.zeros((cases, NODES)), size=np.full((cases, NODES), 0.1),
        emissivity=np.full((cases, NODES), 0.7), emissivity_slope=np.zeros((cases, NODES)),
        link=np.zeros((cases, NODES, NODES)), link_slope=np.zeros(cases),
        start=np.full((cases, NODES), 20.0),
    )  # fmt: skip
    families = [str(rng.choice(["still", "thin tube", "heavy"])) for _ in range(cases)]
    start = np.array([_part(rng, family, net, i) for i, family in enumerate(families)])
    doors = [sorted(rng.uniform(200, 1700, 3)) for _ in families]
    open_s = rng.uniform(10, 60, (cases, 3))
    left = rng.uniform(0.15, 0.6, (cases, 3))
    breaks = np.where(rng.random(cases) < 0.3, rng.uniform(200, 1700, cases), np.inf)
    cold = rng.random(cases) < 0.5
    start = np.where(cold, PREHEAT_C - 40, start)
    t = np.repeat(start[:, None], NODES, axis=1)
    watched = [Watched("oven") for _ in families]
    wrong: list[str | None] = [None] * cases
    still = {
        "draught": np.zeros(cases), "cover": np.zeros(cases), "contact": np.zeros(cases),
        "argon": np.zeros((cases, NODES)), "torch": np.zeros((cases, NODES)),
    }  # fmt: skip
    for second in range(1800):
        air = start + 8.0 * np.sin(second / 300 * 2 * np.pi)
        for k in range(3):
            opened = np.array([doors[i][k] <= second < doors[i][k] + open_s[i, k]
                               for i in range(cases)])  # fmt: skip
            air = np.where(opened, 20 + (start - 20) * left[:, k], air)
        for _ in range(4):
            t = step(net, t, air, still, 0.25)
        at_us = int((second + 1000) * 1e6)
        for i, each in enumerate(watched):
            if wrong[i] is not None:
                continue
            broken = second >= breaks[i]
            each.read(at_us, np.nan if broken else t[i, 3] + rng.normal(0, 0.3))
            if each.second(at_us, 20.0) is not None:
                wrong[i] = "one broken probe, hot" if broken else "a door"
    for i, family in enumerate(families):
        scene = "broken probe" if np.isfinite(breaks[i]) else "doors"
        heat = "below preheat" if cold[i] else "hot"
        counts[f"oven: {scene}, {heat}, {family}", "no carry", wrong[i] or "right"] += 1


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--cases", type=int, default=320)
    given = parser.parse_args()
    counts: Counter = Counter()
    families = [FAMILIES[n % len(FAMILIES)] for n in range(given.cases)]
    for case in make(given.seed, families):
        if case.family in ("carry", "cold probe"):
            through_the_carry(case, counts)
        elif not np.isnan(case.y).any():
            on_the_bench(case, counts)
            through_the_carry(case, counts)
    oven_scenes(given.seed, max(8, given.cases // 4), counts)
    for (family, what, how), number in sorted(counts.items()):
        print(f"{family:40} {what:18} {how:22} {number:8.0f}")
    total = Counter()
    for (_, what, how), number in counts.items():
        total[what, how] += number
    print("all")
    for (what, how), number in sorted(total.items()):
        print(f"{'':40} {what:18} {how:22} {number:8.0f}")


if __name__ == "__main__":
    main()
