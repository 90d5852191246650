"""The Cramér-Rao bound of the time left, for a lump with three unknowns.

Unknown: start temperature, the convective and the radiative loss. Known: the surroundings, c(T),
white noise. No unbiased forecaster does better with the same readings.
"""

from __future__ import annotations

import numpy as np
from cooling_world.network import SIGMA, convection, heat_capacity


def _times(p, lump, ambient_c, grid_end):
    """Temperatures and the times at which they are passed, for the parameters ``p``."""
    grid = np.linspace(p[0], grid_end, 3000)
    h = p[1] * convection(lump["size"], grid, np.full_like(grid, ambient_c))
    eps = p[2] * lump["emissivity"]
    loss = h * (grid - ambient_c) + eps * SIGMA * ((grid + 273.15) ** 4 - (ambient_c + 273.15) ** 4)
    slow = lump["mass"] * heat_capacity(lump["kind"], grid) / (lump["area"] * loss)
    return grid, np.concatenate([[0], np.cumsum(0.5 * (slow[1:] + slow[:-1]) * -np.diff(grid))])


def time_left_sd_s(lump, ambient_c, noise_k, t, at_s, limit_c):
    """Least standard deviation of an unbiased forecast at ``at_s`` from readings at ``t``."""
    t = t[t <= at_s]
    best = np.array([lump["start"], 1.0, 1.0])
    steps = np.array([0.05, 1e-3, 1e-3])

    def model(p):
        grid, times = _times(p, lump, ambient_c, limit_c - 15)
        return np.interp(t, times, grid), np.interp(-limit_c, -grid, times)

    rows, slopes = [], []
    for k in range(3):
        up, down = best.copy(), best.copy()
        up[k] += steps[k]
        down[k] -= steps[k]
        (yu, cu), (yd, cd) = model(up), model(down)
        rows.append((yu - yd) / (2 * steps[k]))
        slopes.append((cu - cd) / (2 * steps[k]))
    jac, slope = np.array(rows), np.array(slopes)
    information = jac @ jac.T / noise_k**2
    return float(np.sqrt(slope @ np.linalg.solve(information, slope)))
