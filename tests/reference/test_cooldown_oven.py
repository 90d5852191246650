"""The forecast on a real oven that cools from 392 °C, type K, whole degrees: see its SOURCE.md.

Open data from outside. The truth is the log itself: the first reading below the limit, good to
about 2 s (1 K steps at 0.5 K/s). The channel is the air of an oven, not a casting: its first
minutes (heaters still hot) follow no casting's law, so bars hold from the second minute on.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from service.commands.forecast import forecast_log
from service.physics.cooldown import Cooldown, CooldownPrior

LOG = Path(__file__).parent / "data" / "oven_thermocouple_392c" / "natural_cooling.csv"
AMBIENT_C = 26.0  # start of the heating run before it


def rows() -> list[tuple[float, float]]:
    with LOG.open(encoding="utf-8", newline="") as file:
        return [(float(r["t_s"]), float(r["temp_c"])) for r in csv.DictReader(file)]


def test_real_cooling_is_held_by_its_interval() -> None:
    log = rows()
    crossings = {
        limit: next(t for t, temperature in log if temperature < limit)
        for limit in (250, 200, 150, 120, 100, 80, 60)
    }
    asked = sorted((share * whole, limit) for limit, whole in crossings.items()
                   for share in (0.5, 0.75, 0.9))  # fmt: skip
    fit, place = Cooldown(CooldownPrior()), 0
    held, early, errors = 0, 0, []
    for at, limit in asked:
        while log[place][0] <= at:
            fit.observe(*log[place], AMBIENT_C)
            place += 1
        answer = fit.until_below(limit, at).time_left_s
        assert answer is not None, (limit, at)
        left = crossings[limit] - at
        held += answer.p05 <= left + 2 and left - 2 <= (answer.p95 or np.inf)
        early += answer.p05 > left + 2
        errors.append(abs(answer.p50 - left) / left)
    assert held >= 0.8 * len(asked)
    assert early <= 0.1 * len(asked)
    assert float(np.median(errors)) < 0.10


@pytest.mark.parametrize("limit", [250.0, 150.0])
def test_answers_use_only_the_rows_before_them(limit: float) -> None:
    moments = [60.0, 120.0, 180.0]
    together = forecast_log(LOG, limit, moments, ambient_c=AMBIENT_C)
    alone = [forecast_log(LOG, limit, [at], ambient_c=AMBIENT_C)[0] for at in moments]
    assert together == alone
