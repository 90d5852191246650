"""What a shop would do without the product: three simple forecasts to compare with."""

from __future__ import annotations

import numpy as np
from scipy.optimize import least_squares


def straight_line_s(t, y, at_s, limit_c, ambient_c):
    """A straight line through the last 60 s."""
    recent = t > at_s - 60
    if recent.sum() < 2:
        return None
    slope, level = np.polyfit(t[recent] - at_s, y[recent], 1)
    if slope >= 0:
        return None
    return max(0.0, (limit_c - level) / slope)


def newton_s(t, y, at_s, limit_c, ambient_c):
    """Newton's law, ambient fixed, least squares over everything so far."""
    if len(t) < 3 or limit_c <= ambient_c:
        return None

    def off(p):
        return ambient_c + p[0] * np.exp(-np.exp(p[1]) * t) - y

    fit = least_squares(off, [y[0] - ambient_c, np.log(1e-3)], method="lm")
    left = np.log(fit.x[0] / (limit_c - ambient_c)) / np.exp(fit.x[1]) - at_s
    return max(0.0, float(left))


def curve(start_c, conv, rad, ambient_c, low_c):
    """Times at which a lump passes temperatures from ``start_c`` down; c constant."""
    grid = np.linspace(start_c, max(low_c, ambient_c + 1.0), 300)
    k, ka = grid + 273.15, ambient_c + 273.15
    rate = conv * (np.maximum(grid - ambient_c, 0) / 300) ** 1.25
    rate += rad * (k**4 - ka**4) / (573.15**4 - ka**4)
    slow = 1 / np.maximum(rate, 1e-9)
    times = np.concatenate([[0], np.cumsum(0.5 * (slow[1:] + slow[:-1]) * -np.diff(grid))])
    return grid, times


def convection_radiation_s(t, y, at_s, limit_c, ambient_c):
    """Convection and radiation amplitudes and the start, least squares over everything so far."""
    if len(t) < 4 or limit_c <= ambient_c + 1:
        return None
    low = min(limit_c, float(y.min())) - 10
    t0 = t[0]

    def off(p):
        grid, times = curve(p[0], np.exp(p[1]), np.exp(p[2]), ambient_c, low)
        return np.interp(t - t0, times, grid) - y

    fit = least_squares(off, [y[0], np.log(0.1), np.log(0.2)], max_nfev=60)
    grid, times = curve(fit.x[0], np.exp(fit.x[1]), np.exp(fit.x[2]), ambient_c, low)
    return max(0.0, float(np.interp(-limit_c, -grid, times)) - (at_s - t0))


BASELINES = {
    "straight line, 60 s": straight_line_s,
    "Newton, ambient fixed": newton_s,
    "least squares, conv. + rad.": convection_radiation_s,
}
