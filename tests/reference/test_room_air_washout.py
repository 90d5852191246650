"""The dilution equation against measured washout: carbon dioxide in an office after people left.

A stand-in for oxygen washed out of a cavity: six evenings, one reading a minute, a background that
is not known exactly and air leakage that is not quite constant. Data: L. M. Candanedo and
V. Feldheim, Energy and Buildings 112 (2016) 28-39, CC BY 4.0; see data/co2_decay_office/SOURCE.md.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit

from service.physics.purge_dilution import volume_changes_to, well_mixed_ppm

FOLDER = Path(__file__).parent / "data" / "co2_decay_office"
EVENINGS = sorted(FOLDER.glob("*.csv"))
BACKGROUND_PPM = 440.0
"""Outdoor air; the source gives 430 to 450."""


def washout(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Hours since the highest reading, and readings [ppm]."""
    rows = np.loadtxt(path, delimiter=",", skiprows=1)
    highest = int(np.argmax(rows[:, 1]))
    return (rows[highest:, 0] - rows[highest, 0]) / 3600.0, rows[highest:, 1]


def predicted(hours: np.ndarray, feed: float, start: float, changes_per_h: float) -> np.ndarray:
    return np.array([well_mixed_ppm(changes_per_h * h, start, feed) for h in hours])


def test_there_are_six_evenings() -> None:
    assert len(EVENINGS) == 6


@pytest.mark.parametrize("path", EVENINGS, ids=lambda p: p.stem)
def test_the_equation_describes_the_washout(path: Path) -> None:
    hours, co2_ppm = washout(path)
    night = hours < 8
    found, _ = curve_fit(
        predicted,
        hours[night],
        co2_ppm[night],
        p0=(BACKGROUND_PPM, co2_ppm[0], 0.5),
        bounds=([300, 500, 0.05], [600, 3000, 5]),
    )
    feed, start, _ = found
    off = co2_ppm[night] - predicted(hours[night], *found)
    # One exponential over eight hours: leakage changes with wind, which leaves 1 to 4 %.
    assert off.std() < 0.05 * (start - feed)
    assert 400 < feed < 530


@pytest.mark.parametrize("path", EVENINGS, ids=lambda p: p.stem)
def test_the_time_to_clear_is_predicted_from_the_first_hour(path: Path) -> None:
    hours, co2_ppm = washout(path)
    early = hours < 1
    (start, changes_per_h), _ = curve_fit(
        lambda h, c0, rate: predicted(h, BACKGROUND_PPM, c0, rate),
        hours[early],
        co2_ppm[early],
        p0=(co2_ppm[0], 0.5),
    )
    target_ppm = BACKGROUND_PPM + 0.5 * (co2_ppm[0] - BACKGROUND_PPM)
    measured_h = hours[np.argmax(co2_ppm < target_ppm)]
    needed = volume_changes_to(target_ppm, start, BACKGROUND_PPM)
    # A room leaks as the wind blows: half of the rise is gone within a third of the forecast.
    assert needed / changes_per_h == pytest.approx(measured_h, rel=0.35)
