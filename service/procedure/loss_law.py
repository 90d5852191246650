"""How a part's loss goes with its temperature, and the loss that a stretch of readings shows.

A law is one number, the cooling rate at a reference temperature; the shape of the rest is physics:
bare, natural convection (~ΔT^1.25) and radiation (T⁴); under a cover or in an oven that is off,
the difference itself; both over c(T). Along a law the time since a temperature is a function u of
temperature alone, so that readings of one loss lie on a straight line in u, whatever the casting.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from service.physics.heat_loss import convection_shape
from service.physics.materials import Array, emissivity, specific_heat_table
from service.units import ZERO_C_IN_K

BARE_AT_C = 350.0
COVERED_AT_C = 200.0
AIR_C = 20.0
LEAST_ABOVE_AIR_K = 10.0
HOTTEST_C = 1300.0
STEP_K = 1.0

Shape = Literal["bare", "covered"]


@dataclass(frozen=True, slots=True)
class Law:
    """A part's loss but for its size; ``around_c``: the air [°C]."""

    metal: str
    shape: Shape
    around_c: float = AIR_C


@dataclass(frozen=True, slots=True)
class Seen:
    """A loss that was seen.

    Attributes:
        rate_k_s: At the shape's reference temperature, in air of 20 °C [K/s].
        rel_sd: Its relative standard deviation.
        low_c, high_c: Between which temperatures it was seen [°C].
        seconds: For how long.
    """

    rate_k_s: float
    rel_sd: float
    low_c: float
    high_c: float
    seconds: float


def reference_c(shape: Shape) -> float:
    """Where a law's rate is told [°C]."""
    return BARE_AT_C if shape == "bare" else COVERED_AT_C


def usual_radiative_share(metal: str) -> float:
    """Radiative share of a bare part's loss at ``BARE_AT_C`` (0.68 at an emissivity of 0.8)."""
    likely, _ = emissivity(metal)
    return 0.68 * likely / 0.8


def relative_rate(temperature_c: Array, metal: str, shape: Shape, around_c: float = AIR_C) -> Array:
    """The rate at a temperature over that at the reference in air of 20 °C [1]."""
    around, reference = np.array(around_c), np.array(reference_c(shape))
    usual = np.array(AIR_C)
    at = np.maximum(np.asarray(temperature_c, dtype=float), around_c)
    if shape == "bare":
        share = usual_radiative_share(metal)
        # In other air the reference itself loses more or less.
        above = (reference - around) / (reference - usual)
        convected = convection_shape(at, around, reference) * above**1.25
        radiated = _beyond_k4(at, around) / _beyond_k4(reference, usual)
        loss = convected + share * (radiated - convected)
    else:
        loss = (at - around) / (reference - usual)
    grid, c = specific_heat_table(metal)
    return np.asarray(loss * np.interp(reference, grid, c) / np.interp(at, grid, c))


def _beyond_k4(part_c: Array, around_c: Array) -> Array:
    return np.asarray((part_c + ZERO_C_IN_K) ** 4 - (around_c + ZERO_C_IN_K) ** 4)


def seen_in(t_s: Array, temperature_c: Array, law: Law, reads_within_k: float) -> Seen | None:
    """The loss that a stretch of readings shows; ``None`` where it shows none.

    Args:
        t_s: Times [s], rising.
        temperature_c: Readings of one probe, one for each time [°C].
        law: Whose size is asked.
        reads_within_k: Noise of one reading [K].
    """
    metal, shape, around_c = law.metal, law.shape, law.around_c
    temperature = np.asarray(temperature_c, dtype=float)
    times = np.asarray(t_s, dtype=float)
    if len(times) < 5 or float(temperature.min()) < around_c + LEAST_ABOVE_AIR_K:
        return None
    u = _clock_s(temperature, metal, shape, around_c)
    away = times - times.mean()
    square = float((away**2).sum())
    rate = float((away * (u - u.mean())).sum()) / square
    if rate <= 0:
        return None
    # Neighbouring readings share their errors: the line's is told by what its thirds say.
    thirds = [
        float(np.polyfit(times[part], u[part], 1)[0])
        for part in np.array_split(np.arange(len(times)), 3)
        if len(part) >= 3
    ]
    scatter = float(np.std(thirds, ddof=1)) / rate / np.sqrt(3) if len(thirds) == 3 else 0.1
    per_k = 1.0 / float(relative_rate(np.array(temperature.mean()), metal, shape, around_c))
    noise = reads_within_k * per_k / (rate * np.sqrt(square))
    return Seen(
        rate, float(np.hypot(scatter, noise)), float(temperature.min()), float(temperature.max()),
        float(times[-1] - times[0]),
    )  # fmt: skip


def _clock_s(temperature_c: Array, metal: str, shape: Shape, around_c: float) -> Array:
    """Time since the hottest, for a rate of 1 K/s at the reference [s]."""
    grid = np.arange(around_c + LEAST_ABOVE_AIR_K / 2, HOTTEST_C + STEP_K, STEP_K)
    slowness = 1.0 / relative_rate(grid, metal, shape, around_c)
    passed = np.concatenate(([0.0], np.cumsum((slowness[1:] + slowness[:-1]) / 2) * STEP_K))
    return np.asarray(passed[-1] - np.interp(temperature_c, grid, passed))
