"""Benchmark of the cooldown forecast: ``python tests/bench/cooldown.py --seed N --cases N``.

Truth comes from ``cooling_world``, a many-node model that shares no equations with the estimator.
Prints one table and writes it, with commit, seed and counts, where ``--out`` says.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent.parent)]

from baselines import BASELINES  # noqa: E402
from bound import time_left_sd_s  # noqa: E402
from cooling_world.scenarios import FAMILIES, Case, make  # noqa: E402

from service.physics.cooldown import Cooldown, CooldownPrior  # noqa: E402

OURS = "heatwindow"


@dataclass
class Row:
    """One question and its answers."""

    seed: int
    case: int
    family: str
    kind: str
    at_s: float
    left_s: float
    to_come: bool
    since_event_s: float | None
    p05: float | None
    p50: float | None
    p95: float | None
    reason: str | None
    others: dict[str, float | None]
    bound_s: float | None
    rate_off: float | None


def moments(case: Case) -> list[tuple[str, float]]:
    """When to ask: parts of the way, and after the last event."""
    whole = case.left_s(0.0)
    if whole is None:
        return []
    asked = [(f"{share:.0%}", share * whole) for share in (0.1, 0.25, 0.5, 0.75)]
    before = [when for when, what in case.events if when < whole and what != "gap"]
    for when in sorted(before)[-1:]:
        asked += [(f"+{d} s", when + d) for d in (15, 30, 60, 75, 90)]
    return [(kind, at) for kind, at in asked if at < whole - 10]


def ask(
    seed: int, number: int, case: Case, *, ambient: bool, others: bool, told: bool
) -> list[Row]:
    """Run one case through the estimator and put the questions."""
    fit = Cooldown(CooldownPrior())
    rows: list[Row] = []
    good = np.isfinite(case.y)
    place = 0
    changes = [e for e in case.events if told and e[1] in KNOWN]
    for kind, at in sorted(moments(case), key=lambda m: m[1]):
        while place < len(case.t) and case.t[place] <= at:
            while changes and changes[0][0] <= case.t[place]:
                when, what = changes.pop(0)
                fit.known_change(when, KNOWN[what])
            if good[place]:
                fit.observe(
                    float(case.t[place]), float(case.y[place]), case.ambient_c if ambient else None
                )
            place += 1
        left = case.left_s(at)
        now, soon = np.interp([at, at + 2.0], case.truth_t, case.truth)
        # Below already, or still rising: "no number" is then the right answer.
        if left is None or now < case.limit_c or soon - now > 0.1:
            continue
        rows.append(_row(fit, seed, number, case, kind, at, left, ambient, others))
    return rows


KNOWN = {
    "landed": "landed", "purge on": "purge on", "purge off": "purge off", "arc on": "arc on",
    "torch off": "arc off", "cover on": "cover on", "probe back": "probe back",
}  # fmt: skip


def _row(fit, seed, number, case, kind, at, left, ambient, others) -> Row:
    answer = fit.until_below(case.limit_c, at)
    spread = answer.time_left_s
    if answer.reason == "already below":
        spread = None
    past = [when for when, what in case.events if when <= at]
    silent = any(what == "gap" for when, what in case.events if when == max(past, default=None))
    known = (case.t <= at) & np.isfinite(case.y)
    around = case.ambient_c if ambient else 20.0
    return Row(
        seed, number, case.family, kind, at, left,
        any(at < when < at + left for when, _ in case.events),
        at - max(past) if past and not silent else (None if not past else -1.0),
        spread.p05 if spread else None, spread.p50 if spread else None,
        spread.p95 if spread else None, answer.reason,
        {
            name: rule(case.t[known], case.y[known], at, case.limit_c, around)
            for name, rule in BASELINES.items()
        } if others else {},
        time_left_sd_s(case.lumped, case.ambient_c, case.noise_k, case.t, at, case.limit_c)
        if case.family == "lumped" and kind in {"25%", "50%", "75%"} else None,
        _rate_off(fit, case, at),
    )  # fmt: skip


def _rate_off(fit, case, at) -> float | None:
    """Error of the rate in its own standard deviations."""
    rate = fit.rate()
    if rate is None:
        return None
    before, after = np.interp([at - 1.0, at + 1.0], case.truth_t, case.truth)
    return float((rate.c_per_h - 1800.0 * (after - before)) / rate.sd_c_per_h)


def run_seed(job) -> list[Row]:
    """All rows of one seed: one case of every chosen family (and more)."""
    seed, families, options = job
    rows: list[Row] = []
    for number, case in enumerate(make(seed, families)):
        rows += ask(seed, number, case, **options)
    return rows


def share(values) -> float:
    values = list(values)
    return float(np.mean(values)) if values else float("nan")


def median(values) -> float:
    values = list(values)
    return float(np.median(values)) if values else float("nan")


def _error(row: Row) -> float:
    return abs(row.p50 / row.left_s - 1)


def _width(row: Row) -> float:
    """Width of the interval in times the true time left; without an upper end: to ten times."""
    return ((10 * row.left_s if row.p95 is None else row.p95) - row.p05) / row.left_s


def _held(row: Row) -> bool:
    return row.p05 <= row.left_s <= (np.inf if row.p95 is None else row.p95)


def _too_late(row: Row) -> bool:
    return row.p05 > row.left_s


def _late(row: Row) -> bool:
    return row.since_event_s is not None and 59 <= row.since_event_s <= 91


def figures(rows: list[Row]) -> dict[str, tuple[float, str]]:
    """Each bar: the measured figure and what is asked."""
    quiet = [r for r in rows if not r.to_come]
    said = [r for r in quiet if r.p50 is not None]
    calm = [r for r in said if r.since_event_s is None]
    half = [r for r in calm if r.kind == "50%"]
    late = [r for r in said if _late(r) and r.left_s > 20]
    after = [r for r in said if r.since_event_s is not None]
    answered = [r for r in rows if r.p50 is not None]
    out = {
        "half way, no events: median |error|": (100 * median(map(_error, half)), "<= 2 %"),
        "half way, no events: median width of 90 %": (median(map(_width, half)), "<= 0.30"),
        "60-90 s after the last event: median |error|": (
            100 * median(map(_error, late)), "<= 10 %"),
        "90 % interval holds": (100 * share(map(_held, said)), "85-95 %"),
        "90 % interval holds, no events": (100 * share(map(_held, calm)), "85-95 %"),
        "90 % interval holds, after events": (100 * share(map(_held, after)), "85-95 %"),
        "p05 beyond the truth": (100 * share(map(_too_late, said)), "< 5 %"),
        "p05 beyond the truth, no events": (100 * share(map(_too_late, calm)), "< 5 %"),
        "p05 beyond the truth, events to come too": (
            100 * share(map(_too_late, answered)), "(no bar)"),
        "no answer": (100 * share(r.p50 is None for r in quiet), "< 10 %"),
    }  # fmt: skip
    rates = [r.rate_off for r in rows if r.rate_off is not None]
    out["rate of cooling within its 90 % band"] = (
        100 * share(abs(off) < 1.645 for off in rates),
        "85-95 %",
    )
    for part in ("25%", "50%", "75%"):
        them = [r for r in said if r.bound_s is not None and r.kind == part]
        if them:
            ratio = np.sqrt(np.mean([((r.p50 - r.left_s) / r.bound_s) ** 2 for r in them]))
            out[f"lumped, {part} of the way: RMS error / bound"] = (float(ratio), "<= 2")
    return out


def compare(rows: list[Row]) -> list[str]:
    """Median errors of ours and of the simple rules on the same rows."""
    kinds = ("10%", "25%", "50%", "75%", "60-90 s")
    lines = [f"{'median |error| of time left, %':44s}" + "".join(f"{k:>9s}" for k in kinds)]
    for name in [OURS, *BASELINES]:
        cells = []
        for kind in kinds:
            them = [
                r for r in rows if not r.to_come
                and (_late(r) and r.left_s > 20 if kind == kinds[-1]
                     else r.kind == kind and r.since_event_s is None)
            ]  # fmt: skip
            said = [(r.p50 if name == OURS else r.others.get(name), r.left_s) for r in them]
            cells.append(100 * median(abs(s / left - 1) for s, left in said if s is not None))
        lines.append(f"{name:44s}" + "".join(f"{c:9.1f}" for c in cells))
    return lines


def by_family(rows: list[Row]) -> list[str]:
    """The same figures for each kind of case."""
    heads = ("rows", "none %", "|err| %", "half %", "late %", "width", "holds %", "p05 late %")
    lines = [f"{'family':12s}" + "".join(f"{head:>11s}" for head in heads)]
    for family in FAMILIES:
        quiet = [r for r in rows if r.family == family and not r.to_come]
        said = [r for r in quiet if r.p50 is not None]
        if not said:
            continue
        cells = (
            100 * share(r.p50 is None for r in quiet),
            100 * median(map(_error, said)),
            100 * median(_error(r) for r in said if r.kind == "50%"),
            100 * median(_error(r) for r in said if _late(r)),
            median(map(_width, said)),
            100 * share(map(_held, said)),
            100 * share(map(_too_late, said)),
        )
        lines.append(f"{family:12s}{len(quiet):11d}" + "".join(f"{c:11.2f}" for c in cells))
    return lines


def cost_ms() -> float:
    """Mean processor time of one update at 1 Hz with an event, on this machine [ms]."""
    case = make(99, ["draught"])[0]
    fit = Cooldown(CooldownPrior())
    readings = list(zip(case.t[:1500].tolist(), case.y[:1500].tolist(), strict=True))
    begin = time.process_time()
    for t, y in readings:
        fit.observe(t, y, case.ambient_c)
    return 1e3 * (time.process_time() - begin) / len(readings)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="first seed")
    parser.add_argument("--cases", type=int, default=160, help="how many cases")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--no-ambient", action="store_true", help="ambient is not measured")
    parser.add_argument("--told", action="store_true", help="the estimator is told of events")
    parser.add_argument("--quick", action="store_true", help="leave the simple rules out")
    parser.add_argument("--families", nargs="*", default=list(FAMILIES))
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    options = {"ambient": not args.no_ambient, "others": not args.quick, "told": args.told}
    rounds = -(-args.cases // (2 * len(args.families)))
    jobs = [(args.seed + i, args.families * 2, options) for i in range(rounds)]
    begin = time.perf_counter()
    if args.jobs > 1:
        with multiprocessing.Pool(args.jobs) as pool:
            rows = [row for rows in pool.map(run_seed, jobs) for row in rows]
    else:
        rows = [row for job in jobs for row in run_seed(job)]
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"],
        capture_output=True,
        text=True,
        cwd=HERE,
        check=False,
    ).stdout.strip()
    text = [
        f"commit {commit or 'unknown'}, seeds {args.seed}-{args.seed + rounds - 1}, "
        f"{rounds * 2 * len(args.families)} cases, {len(rows)} rows, options {options}",
        *(f"{name:48s}{value:9.2f}   {bar}" for name, (value, bar) in figures(rows).items()),
        f"{'cost of one update, processor time [ms]':48s}{cost_ms():9.3f}   < 0.4",
        "", *(compare(rows) if not args.quick else []), "", *by_family(rows),
        f"took {time.perf_counter() - begin:.0f} s",
    ]  # fmt: skip
    print("\n".join(text))
    if args.out is not None:
        args.out.write_text("\n".join(text) + "\n", encoding="utf-8")
        with args.out.with_suffix(".json").open("w", encoding="utf-8") as file:
            json.dump([vars(r) for r in rows], file, default=float)
    return 0


if __name__ == "__main__":
    sys.exit(main())
