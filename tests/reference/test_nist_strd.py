"""The least-squares routine behind the benchmark's rivals, against certified values of NIST.

The product holds no least-squares code; its benchmark compares it with fits by SciPy's
``least_squares``. Those must not lose for want of a fitter that converges: from the starting
points of NIST's StRD nonlinear sets Misra1a and BoxBOD (both y = b1·(1 − exp(−b2·x)), the shape of
Newton's law) the certified values are reached to four digits. See data/nist_strd/SOURCE.md. As in
the benchmark, the logarithm of the rate is fitted, which keeps it positive.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares

DATA = Path(__file__).parent / "data" / "nist_strd"
BENCH = Path(__file__).parents[1] / "bench"


def read(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("start", ["start1", "start2"])
@pytest.mark.parametrize("name", ["Misra1a", "BoxBOD"])
def test_certified_values_are_reached(name: str, start: str) -> None:
    rows = read(f"{name}.csv")
    x, y = (np.array([float(r[c]) for r in rows]) for c in ("x", "value"))
    asked = [r for r in read("certified.csv") if r["dataset"] == name and r[start]]
    certified = [float(r["certified"]) for r in asked]
    first = [float(r[start]) for r in asked]
    fit = least_squares(
        lambda b: b[0] * (1 - np.exp(-np.exp(b[1]) * x)) - y, [first[0], np.log(first[1])],
        method="trf", x_scale="jac", xtol=1e-14, ftol=1e-14, gtol=1e-14, max_nfev=2000,
    )  # fmt: skip
    found = [fit.x[0], np.exp(fit.x[1])]
    assert found == pytest.approx(certified, rel=1e-4)


def test_the_rival_of_the_benchmark_recovers_newtons_law(monkeypatch: pytest.MonkeyPatch) -> None:
    """Exact exponential readings: the time left by the benchmark's own rule is the closed form."""
    monkeypatch.syspath_prepend(str(BENCH))
    from baselines import newton_s

    t = np.arange(0.0, 300.0)
    left = newton_s(t, 20 + 330 * np.exp(-t / 700), 299.0, 200.0, 20.0)
    assert left == pytest.approx(700 * np.log(330 / 180) - 299, rel=1e-4)
    sys.modules.pop("baselines", None)
