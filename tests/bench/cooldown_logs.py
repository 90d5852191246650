"""The forecast on real logs, and heating: ``python tests/bench/cooldown_logs.py [--seed N]``.

Real: an oven cooling from 392 °C and the same oven heating (whole degrees), and the falls of drum
roasters' logs, where fans and doors change unannounced and nothing of a casting holds. Every log
is asked at 25, 50 and 75 % of the way to limits spread over its fall (or rise); the truth is the
log's own first crossing. Rising is asked of simulated parts too: a lump of 3 to 20 kg in an oven
that itself warms up with a time constant of 1 to 10 minutes.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent.parent)]

from service.physics.cooldown import Cooldown, CooldownPrior  # noqa: E402

DATA = HERE.parent / "reference" / "data"
Series = tuple[np.ndarray, np.ndarray]
Asked = tuple[float, float | None, float | None, float | None]


def read(path: Path) -> Series:
    """Times and readings; the recorders' marks for "no reading" (-1, full scale) left out."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = [(float(r["t_s"]), float(r["temp_c"])) for r in csv.DictReader(file)]
    log = np.array([row for row in rows if -1 < row[1] < 1000])
    return log[:, 0] - log[0, 0], log[:, 1]


def falls(log: Series) -> Iterator[Series]:
    """The longest fall: from the highest reading to the lowest after it."""
    t, y = log
    top = int(np.argmax(y))
    low = top + int(np.argmin(y[top:]))
    if y[top] - y[low] > 40 and low - top > 40:
        yield t[top:low] - t[top], y[top:low]


def ask(log: Series, ambient_c: float | None, *, rising: bool) -> list[Asked]:
    """(true time left, p05, p50, p95) for every limit and moment, in order of time."""
    t, y = log
    spans = np.linspace(y[0], y[-1], 7)[2:-1]
    moments = []
    for limit_c in spans:
        past = y > limit_c if rising else y < limit_c
        crossing = float(t[int(np.argmax(past))])
        moments += [(share * crossing, float(limit_c), crossing) for share in (0.25, 0.5, 0.75)]
    fit, place, out = Cooldown(CooldownPrior()), 0, []
    for at, limit_c, crossing in sorted(moments):
        while place < len(t) and t[place] <= at:
            fit.observe(float(t[place]), float(y[place]), ambient_c)
            place += 1
        if crossing - at < 10:
            continue
        answer = fit.until_above(limit_c, at) if rising else fit.until_below(limit_c, at)
        said = answer.time_left_s
        if said is None or answer.reason is not None:
            out.append((crossing - at, None, None, None))
        else:
            out.append((crossing - at, said.p05, said.p50, said.p95))
    return out


def ovens(seed: int, cases: int) -> Iterator[Series]:
    """Lumps in ovens: convection with a fan and radiation, the oven itself warming up."""
    random = np.random.default_rng(seed)
    for _ in range(cases):
        kg_m2, h, eps = random.uniform(20, 80), random.uniform(10, 30), random.uniform(0.5, 0.9)
        hot, tau = random.uniform(320, 600), random.uniform(60, 600)
        part, values = 20.0, []
        while len(values) < 7200 and part < 0.8 * hot:
            values.append(part)
            oven = hot - (hot - 20) * np.exp(-len(values) / tau)
            into = h * (oven - part)
            into += eps * 5.67e-8 * ((oven + 273.15) ** 4 - (part + 273.15) ** 4)
            part += into / (kg_m2 * 540)
        noise = random.normal(0, 0.5, len(values))
        yield np.arange(len(values), dtype=float), np.array(values) + noise


def line(name: str, asked: list[Asked]) -> str:
    """One line of the table."""
    said = [a for a in asked if a[2] is not None]
    if not said:
        return f"{name:34s}{len(asked):6d}   no answer"
    left, low, middle = (np.array([a[i] for a in said]) for i in range(3))
    high = np.array([np.inf if a[3] is None else a[3] for a in said])
    cells = (
        100 * (1 - len(said) / len(asked)),
        100 * np.median(abs(middle / left - 1)),
        100 * np.mean((low <= left + 2) & (left - 2 <= high)),
        100 * np.mean(low > left + 2),
    )
    return f"{name:34s}{len(asked):6d}" + "".join(f"{c:12.1f}" for c in cells)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=30)
    args = parser.parse_args()
    heads = ("rows", "no answer %", "|err| %", "holds %", "p05 late %")
    print(f"{'log':34s}{heads[0]:>6s}" + "".join(f"{h:>12s}" for h in heads[1:]))
    oven = DATA / "oven_thermocouple_392c"
    print(line("oven cooling", ask(read(oven / "natural_cooling.csv"), 26.0, rising=False)))
    print(line("oven heating", ask(read(oven / "full_power_heating.csv"), None, rising=True)))
    for kind in ("bean", "air"):
        asked = []
        for path in sorted((DATA / "roaster_thermocouple_faults").glob(f"*_{kind}.csv")):
            for fall in falls(read(path)):
                asked += ask(fall, None, rising=False)
        print(line(f"roaster, {kind}, unannounced changes", asked))
    asked = [row for part in ovens(args.seed, args.cases) for row in ask(part, None, rising=True)]
    print(line("simulated parts heating", asked))
    return 0


if __name__ == "__main__":
    sys.exit(main())
