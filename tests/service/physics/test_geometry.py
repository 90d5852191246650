"""Volume help: limits, refusals, and a volume recovered from noisy weighings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from service.physics import geometry


def test_limits() -> None:
    pipe = geometry.Pipe(60.0, 2.0)
    assert geometry.straight_l(pipe, 0.0) == 0.0
    assert geometry.cone_l(56.0, 56.0, 100.0) == pytest.approx(geometry.straight_l(pipe, 100.0))
    point = geometry.cone_l(56.0, 0.0, 100.0)
    assert point == pytest.approx(geometry.straight_l(pipe, 100.0) / 3)
    # Four elbows of 90° are a torus: 2·π²·R·r².
    torus_l = 2 * math.pi**2 * 100.0 * 28.0**2 / 1e6
    assert 4 * geometry.elbow_l(pipe, 100.0) == pytest.approx(torus_l)


def test_volume_recovered_from_noisy_weighings() -> None:
    random = np.random.default_rng(7)
    true_l = 2.4
    found = [
        geometry.water_fill_l(
            6.0 + true_l * geometry.water_density_kg_l(18.0) + 0.005 * random.standard_normal(),
            6.0 + 0.005 * random.standard_normal(),
            18.0,
        )
        for _ in range(200)
    ]
    # 5 g scales twice: 7 ml a weighing, 0.5 ml for the mean of 200.
    assert np.mean(found) == pytest.approx(true_l, abs=0.002)
    assert np.std(found) == pytest.approx(0.0071, rel=0.2)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: geometry.Pipe(0.0, 1.0), "outside diameter 0"),
        (lambda: geometry.Pipe(50.0, 25.0), "no bore"),
        (lambda: geometry.schedule_10s("7"), "'7' is not one of 1/2, 3/4"),
        (lambda: geometry.tube(50.0, 30), "gauge 30 is not one of 10 to 22"),
        (lambda: geometry.straight_l(geometry.Pipe(50, 2), -1.0), "length -1"),
        (lambda: geometry.elbow_l(geometry.Pipe(50, 2), 10.0), "half the bore"),
        (lambda: geometry.elbow_l(geometry.Pipe(50, 2), 75.0, 0.0), "angle 0"),
        (lambda: geometry.cone_l(-1.0, 5.0, 5.0), "bore -1"),
        (lambda: geometry.water_density_kg_l(99.0), "99 °C"),
        (lambda: geometry.water_fill_l(4.0, 4.0), "must be more than empty"),
    ],
)
def test_refused_outside_range(call, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
