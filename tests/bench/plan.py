"""Planned oven settings tried in an independent world of castings of many nodes.

Usage: ``python tests/bench/plan.py --seed N --parts N [--out FILE]``

Each part is planned without history, heated to the setting, carried, fitted up, purged and welded
in the many-node world, and the coldest of its joint's channels is followed. Three heats later it is
planned again with what those taught. The share of heats that keep the joint above its preheat
minimum is to be 85 to 95 % at 90 % confidence, and the settings are to come down. Once more it is
planned by what readings of the bench of those heats teach, as the records' lessons are made.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from cooling_world.network import BODY, NODES, Network, step
from cooling_world.scenarios import _part

from service.procedure.lessons import Lesson, learnt_from
from service.procedure.loss_law import Law, seen_in
from service.procedure.plan import plan_heat
from service.procedure.plan_ask import PastHeat, PlanAsk, Stage

DT = 0.25
JOINT = (6, 7)
"""Channels on the casting beside the joint; the tube itself needs no preheat."""
METALS = ("ductile iron", "carbon steel", "cast austenitic stainless")
TAUGHT_BY = 3
READ_EVERY_S, READ_SD_K = 2.0, 0.5


@dataclass
class Part:
    """One casting: where it stands in the network, and what the shop knows of it."""

    index: int
    metal: str
    mass_kg: float
    area_m2: float
    preheat_c: float
    stages: tuple[Stage, ...]


def network(rng: np.random.Generator, n: int) -> Network:
    """Bare castings of 4 to 16 mm wall, most with a tube."""
    net = Network(
        mass=np.full((n, NODES), 1.0),
        kind=np.zeros((n, NODES), dtype=int),
        area=np.zeros((n, NODES)),
        size=np.full((n, NODES), 0.1),
        emissivity=np.full((n, NODES), 0.7),
        emissivity_slope=np.zeros((n, NODES)),
        link=np.zeros((n, NODES, NODES)),
        link_slope=np.zeros(n),
        start=np.full((n, NODES), 20.0),
    )
    for i in range(n):
        _part(rng, rng.choice(["still", "heavy"]), net, i)
    return net


def stages(rng: np.random.Generator) -> tuple[Stage, ...]:
    """What a welder may do, in the times he plans for it."""
    flow = float(rng.uniform(5, 15))
    made = [
        Stage("carry", float(rng.uniform(0.5, 1.5))),
        Stage("fit-up", float(rng.uniform(1, 4))),
        Stage("purge", float(rng.uniform(1, 3)), flow),
    ]
    for number in range(int(rng.integers(1, 4))):
        if number:
            made.append(Stage("pause", float(rng.uniform(0.5, 1.5)), flow))
        made.append(Stage("pass", float(rng.uniform(0.7, 2)), flow, float(rng.uniform(500, 1200))))
    return tuple(made)


def parts(rng: np.random.Generator, net: Network, n: int) -> list[Part]:
    """What the shop knows: mass by scales, area by eye."""
    return [
        Part(
            i,
            METALS[int(net.kind[i, 0])],
            float(net.mass[i, BODY].sum() * rng.normal(1, 0.04)),
            float(net.area[i, BODY].sum() * rng.lognormal(0, 0.12)),
            float(rng.uniform(120, 220)),
            stages(rng),
        )
        for i in range(n)
    ]


def heat(
    rng: np.random.Generator, net: Network, todo: list[tuple[Part, float]]
) -> list[tuple[bool, PastHeat, Lesson | None]]:
    """One heat of each part from its setting: did the joint stay hot, and what was seen."""
    n = len(net.link_slope)
    air = rng.uniform(8, 33, n)
    t = np.repeat(air[:, None], NODES, axis=1)
    for part, set_point_c in todo:
        t[part.index, :12] = set_point_c + rng.normal(0, 2)
    lasts = {part.index: sum(s.minutes for s in part.stages) * 60 for part, _ in todo}
    contact, draught = rng.uniform(0.2, 1.0, n), rng.uniform(0.0, 3.0, n)
    carried = rng.uniform(2.0, 7.0, n)
    kept = np.empty((int(max(lasts.values()) / DT) + 2, n))
    for k in range(len(kept)):
        kept[k] = t[:, JOINT].min(axis=1)
        t = step(net, t, air, _extra(k * DT, n, todo, (contact, draught, carried)), DT)
    return [
        (
            *_seen(part, kept[:, part.index], float(air[part.index])),
            _lesson(rng, part, kept[:, part.index], float(air[part.index])),
        )
        for part, _ in todo
    ]


def _lesson(
    rng: np.random.Generator, part: Part, joint_c: np.ndarray, air_c: float
) -> Lesson | None:
    """What the probe's readings during the fit-up teach of the loss, the air measured."""
    begins_s = 0.0
    for stage in part.stages:
        if stage.kind == "fit-up":
            break
        begins_s += stage.minutes * 60
    times = np.arange(begins_s, begins_s + stage.minutes * 60, READ_EVERY_S)
    read_c = joint_c[(times / DT).astype(int)] + rng.normal(0, READ_SD_K, len(times))
    seen = seen_in(times, read_c, Law(part.metal, "bare", air_c), READ_SD_K)
    if seen is None:
        return None
    sd = float(np.hypot(0.03, seen.rel_sd))
    return Lesson(part.index, "loss bare", seen.rate_k_s, sd, seen.low_c, seen.high_c)


def _extra(now_s, n, todo, shop):
    contact, draught, carried = shop
    out = {
        "draught": draught.copy(), "cover": np.zeros(n), "contact": contact.copy(),
        "argon": np.zeros((n, NODES)), "torch": np.zeros((n, NODES)),
    }  # fmt: skip
    for part, _ in todo:
        i, stage = part.index, at(part.stages, now_s)
        if stage is None:
            continue
        if stage.kind == "carry":
            out["contact"][i], out["draught"][i] = 0.0, carried[i]
        out["argon"][i, 4:12] += stage.argon_flow_l_min / 60_000 * 1.66 * 521.6 * 0.8 / 8
        out["torch"][i, 7] += 0.6 * stage.arc_w
        out["torch"][i, 6] += 0.25 * stage.arc_w
    return out


def at(plan: tuple[Stage, ...], now_s: float) -> Stage | None:
    """The stage at a moment."""
    for stage in plan:
        now_s -= stage.minutes * 60
        if now_s < 0:
            return stage
    return None


def _seen(part: Part, joint_c: np.ndarray, air_c: float) -> tuple[bool, PastHeat]:
    begins_s, checks, fit_up = 0.0, [], (0.0, 0.0)
    for stage in part.stages:
        ends_s = begins_s + stage.minutes * 60
        if stage.kind == "pass":
            checks += [begins_s]
            last_s = ends_s
        if stage.kind == "fit-up":
            fit_up = begins_s, ends_s
        begins_s = ends_s
    checks.append(last_s)
    hot = all(joint_c[int(s / DT)] >= part.preheat_c for s in checks)
    a, b = int(fit_up[0] / DT), int(fit_up[1] / DT)
    rate_k_s = float(joint_c[a] - joint_c[b]) / (fit_up[1] - fit_up[0])
    return hot, PastHeat(rate_k_s, float(joint_c[a] + joint_c[b]) / 2, air_c)


def asked(
    part: Part,
    past: tuple[PastHeat, ...] = (),
    *,
    sized: bool = True,
    lessons: tuple[Lesson, ...] = (),
) -> PlanAsk:
    """The plan of a part as the shop asks it; the oven may be as hot as it likes."""
    return PlanAsk(
        part.metal,
        part.preheat_c,
        part.stages,
        part.mass_kg if sized else None,
        part.area_m2 if sized else None,
        oven_max_c=900.0,
        past=past,
        learnt=learnt_from(lessons),
    )


def campaign(seed: int, n: int) -> dict[str, object]:
    """Plan and weld; the counts."""
    rng = np.random.default_rng([seed, 20260303])
    net = network(rng, n)
    shop = parts(rng, net, n)
    first = [(part, plan_heat(asked(part)).set_point_c) for part in shop]
    possible = [(part, c) for part, c in first if c is not None]
    outcome = heat(rng, net, possible)
    past: dict[int, list[PastHeat]] = {part.index: [] for part, _ in possible}
    lessons: dict[int, list[Lesson]] = {part.index: [] for part, _ in possible}
    for _ in range(TAUGHT_BY):
        for (part, _), (_, seen, lesson) in zip(possible, heat(rng, net, possible), strict=True):
            past[part.index].append(seen)
            lessons[part.index] += [] if lesson is None else [lesson]
    again = [
        (part, plan_heat(asked(part, tuple(past[part.index]))).set_point_c) for part, _ in possible
    ]
    taught = [(part, c) for part, c in again if c is not None]
    outcome_again = heat(rng, net, taught)
    by_lessons = [
        (part, plan_heat(asked(part, lessons=tuple(lessons[part.index]))).set_point_c)
        for part, _ in possible
    ]
    by_lessons = [(part, c) for part, c in by_lessons if c is not None]
    outcome_lessons = heat(rng, net, by_lessons)
    before = {part.index: c for part, c in possible}
    return {
        "parts": n,
        "impossible without history": n - len(possible),
        "hot enough without history": float(np.mean([each[0] for each in outcome])),
        "hot enough after three heats": float(np.mean([each[0] for each in outcome_again])),
        "hot enough by the lessons of three heats": float(
            np.mean([each[0] for each in outcome_lessons])
        ),
        "median setting without history [°C]": float(np.median([c for _, c in possible])),
        "median setting after three heats [°C]": float(np.median([c for _, c in taught])),
        "median setting by their lessons [°C]": float(np.median([c for _, c in by_lessons])),
        "median change [K]": float(np.median([c - before[p.index] for p, c in taught])),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--parts", type=int, default=100)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    ).stdout.strip()
    found = {"commit": commit, "seed": given.seed, **campaign(given.seed, given.parts)}
    text = json.dumps(found, indent=1, ensure_ascii=False)
    sys.stdout.write(text + "\n")
    if given.out is not None:
        given.out.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
