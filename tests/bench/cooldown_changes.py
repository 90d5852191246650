"""How soon a change is noticed: ``python tests/bench/cooldown_changes.py --seed N --cases N``.

Every part is run twice, with the change and without it, same air and noise, one reading a second
with 0.5 K of white noise, nothing told. For each change that matters (it moves the true time left
by a tenth or more) the forecast is asked every second:

noticed   its interval is half as wide again as that of the part without the change, or its median
          lies outside that one's interval
honest    its 90 % interval holds the truth and goes on holding it for ten seconds
could be  how many an observer could tell within 30 s who knew the unchanged curve exactly, the
          shape of this very change and its moment: sqrt(sum of (difference / 0.5 K)²) of at least
          2.45, so that the readings (e³ = 20 to 1) outweigh one change in 600 s coming in these 30.
          Nobody does better; ``of those`` is our share of them
good      its median is within a tenth of the truth, and stays so for ten seconds
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent.parent)]

from cooling_world.scenarios import Case, make  # noqa: E402

from service.physics.cooldown import Cooldown, CooldownPrior  # noqa: E402

KINDS = ("bench", "purge", "torch", "blanket", "draught")
WATCHED_S = 120
LASTS_S = 10
MATTERS = 0.10
LEAST_SIGNAL = 2.45


@dataclass
class Found:
    """One change: seconds after it, ``None`` when not within ``WATCHED_S``."""

    kind: str
    visible: bool
    noticed_s: int | None
    honest_s: int | None
    good_s: int | None
    holds: dict[int, bool]


def answers(case: Case, begin_s: float) -> list:
    """The forecast for every second from ``begin_s`` on."""
    fit, place, out = Cooldown(CooldownPrior()), 0, []
    for at in begin_s + np.arange(0, WATCHED_S + 1):
        while place < len(case.t) and case.t[place] <= at:
            if np.isfinite(case.y[place]):
                fit.observe(float(case.t[place]), float(case.y[place]), case.ambient_c)
            place += 1
        answer = fit.until_below(case.limit_c, float(at))
        out.append(None if answer.reason == "already below" else answer.time_left_s)
    return out


def _first(marks: list[bool], lasts: int) -> int | None:
    for second in range(len(marks) - lasts + 1):
        if all(marks[second : second + lasts]):
            return second
    return None


def _noticed(now, calm) -> bool:
    if now is None or calm is None:
        return now is not calm
    wide = np.inf if now.p95 is None else now.p95 - now.p05
    calm_high = np.inf if calm.p95 is None else calm.p95
    return wide > 1.5 * (calm_high - calm.p05) or not calm.p05 <= now.p50 <= calm_high


def look(kind: str, case: Case, calm: Case, when: float) -> Found | None:
    """Measure one change at ``when``; ``None`` if it makes no difference that matters."""
    left, stale = case.left_s(when), calm.left_s(when)
    if left is None or stale is None or left < WATCHED_S + 30:
        return None
    if abs(left / stale - 1) < MATTERS:
        return None
    with_it, without = answers(case, when), answers(calm, when)
    true = [case.left_s(when + s) for s in range(WATCHED_S + 1)]
    noticed = [_noticed(a, b) for a, b in zip(with_it, without, strict=True)]
    holds, good = [], []
    for answer, left in zip(with_it, true, strict=True):
        said = answer is not None and left is not None
        # "Cannot predict" is honest, but it is not good.
        holds.append(
            not said or answer.p05 <= left <= (np.inf if answer.p95 is None else answer.p95)
        )
        good.append(said and abs(answer.p50 / left - 1) <= 0.1)
    return Found(
        kind, _visible(case, calm, when),
        _first(noticed[:], 1), _first(holds, LASTS_S), _first(good, LASTS_S),
        {s: holds[s] for s in (15, 30, 60, 90)},
    )  # fmt: skip


def _visible(case: Case, calm: Case, when: float) -> bool:
    """Could anybody tell within 30 s? See the module."""
    t = case.t[(case.t > when) & (case.t <= when + 30)]
    apart = np.interp(t, case.truth_t, case.truth) - np.interp(t, calm.truth_t, calm.truth)
    return bool(np.sqrt(np.sum((apart / case.noise_k) ** 2)) >= LEAST_SIGNAL)


def _seconds(values: list[int | None], share: float) -> str:
    ranked = sorted(np.inf if v is None else v for v in values)
    value = ranked[min(len(ranked) - 1, int(share * len(ranked)))]
    return f"> {WATCHED_S}" if np.isinf(value) else f"{value:.0f}"


def table(found: list[Found]) -> list[str]:
    """One line for each kind of change."""
    heads = (
        "changes",
        "in 30 s %",
        "could be %",
        "of those %",
        "noticed",
        "9 in 10",
        "honest",
        "9 in 10",
        "good",
        "9 in 10",
    )
    lines = [f"{'seconds after it':18s}" + "".join(f"{h:>11s}" for h in heads)
             + "   holds % at 15, 30, 60, 90 s"]  # fmt: skip
    for kind in (*KINDS, "all"):
        them = [f for f in found if kind in (f.kind, "all")]
        if not them:
            continue
        within = 100 * np.mean([f.noticed_s is not None and f.noticed_s <= 30 for f in them])
        seen = [f.noticed_s is not None and f.noticed_s <= 30 for f in them if f.visible]
        could = 100 * len(seen) / len(them)
        cells = [str(len(them)), f"{within:.0f}", f"{could:.0f}"]
        cells.append(f"{100 * np.mean(seen):.0f}" if seen else "-")
        for name in ("noticed_s", "honest_s", "good_s"):
            values = [getattr(f, name) for f in them]
            cells += [_seconds(values, 0.5), _seconds(values, 0.9)]
        holds = "  ".join(
            f"{100 * np.mean([f.holds[s] for f in them]):3.0f}" for s in (15, 30, 60, 90)
        )
        lines.append(f"{kind:18s}" + "".join(f"{c:>11s}" for c in cells) + "   " + holds)
    return lines


def measure(seed: int, rounds: int, families: list[str]) -> list[Found]:
    """Every change of ``rounds`` seeds."""
    found = []
    for number in range(seed, seed + rounds):
        happened = make(number, families, plain=True)
        calm = make(number, families, plain=True, without_events=True)
        for case, twin in zip(happened, calm, strict=True):
            when = min(t for t, _ in case.events)
            one = look(case.family, case, twin, when)
            if one is not None:
                found.append(one)
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=100)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS))
    args = parser.parse_args()
    rounds = -(-args.cases // (2 * len(args.kinds)))
    found = measure(args.seed, rounds, list(args.kinds) * 2)
    print(f"seeds {args.seed}-{args.seed + rounds - 1}, {len(found)} changes that matter")
    print("\n".join(table(found)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
