"""When the probe crosses a limit: from the hypotheses to 5 %, 50 % and 95 % points.

Draws from the hypotheses (a fixed table of random numbers, so the same state always gives the
same answer) are each integrated forward along their own cooling law.
"""

from __future__ import annotations

import numpy as np

from service.physics.cooldown_bank import AROUND, BULK, DECAY, DEPART, SCALE, SHARE, SIZE, Bank
from service.physics.heat_loss import convection_shape, radiation_shape
from service.physics.materials import Array, clipped

DRAWS = 256
_NODES = 40
_HALF = np.random.default_rng(20).standard_normal((DRAWS // 2, SIZE + 2))
_HALF = (_HALF - _HALF.mean(axis=0)) / _HALF.std(axis=0)
# Each draw is followed by its mirror image: means and medians come out without sampling error.
_NORMALS = np.stack([_HALF, -_HALF], axis=1).reshape(DRAWS, SIZE + 2)
LEAST_ERROR, ERROR_AHEAD = 0.008, 0.04
LEAST_ERROR_CHANGED, ERROR_AHEAD_CHANGED = 0.02, 0.10
ERROR_AHEAD_HEATED = 0.2
UNSEEN_LOSS, UNSEEN_LOSS_CHANGED, OVEN_STILL_WARMING = 0.05, 0.15, 0.35
YOUNG_ERROR, SETTLING_S = 0.20, 120.0
YOUNG_ERROR_FIRST, SETTLING_FIRST_S = 0.15, 40.0
"""See ``_model_error``; judged on the benchmark's training seeds, not on its evaluation."""
NEVER_S = 1e7
"""Longer than any heat: stands for "does not cross" [s]."""


def draw(bank: Bank) -> tuple[Array, np.ndarray]:
    """Draws from the bank.

    Returns:
        Values, shape (``DRAWS``, 6), and the hypothesis each came from, shape (``DRAWS``,).
    """
    cumulative = np.cumsum(bank.weights())
    places = (np.arange(DRAWS) + 0.5) / DRAWS
    chosen = np.minimum(np.searchsorted(cumulative, places), len(bank) - 1)
    used, index = np.unique(chosen, return_inverse=True)
    values, vectors = np.linalg.eigh(bank.cov[used])
    roots = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    spread = np.einsum("dij,dj->di", roots[index], _NORMALS[:, :SIZE])
    out = bank.mean[chosen] + spread
    out[:, SHARE] = clipped(out[:, SHARE], -0.7, 1.3)
    return out, chosen


def crossing_times_s(bank: Bank, limit_c: float, at_s: float, *, rising: bool = False) -> Array:
    """Seconds until the probe falls (or rises) through ``limit_c``, one per draw, sorted.

    0 where it is past the limit already, ``NEVER_S`` where it does not get there.
    """
    values, chosen = draw(bank)
    bulk, depart, scale, share, around = (
        values[:, i, None] for i in (BULK, DEPART, SCALE, SHARE, AROUND)
    )
    sign = -1.0 if rising else 1.0
    ref = bank.reference_c[chosen, None]
    tau = np.exp(clipped(values[:, DECAY, None], 0.0, 8.0))
    # The slow mode runs from where it is to where the probe must have crossed at the latest.
    end = limit_c - sign * np.maximum(sign * depart, 0.0)
    start = sign * np.maximum(sign * bulk, sign * end)
    nodes = start + (end - start) * np.linspace(0.0, 1.0, _NODES)[None, :]
    conv = convection_shape(nodes, around, ref)
    shape = conv + share * (radiation_shape(nodes, around, ref) - conv)
    shape /= bank.relative_capacity(nodes, ref)
    slow = 1.0 / np.maximum(sign * scale * shape, 1e-7)
    step = np.abs(start - end) / (_NODES - 1)
    times = np.zeros_like(nodes)
    # The mean of 1/rate over a step, by the trapezium; rates change slowly between nodes.
    times[:, 1:] = np.cumsum(0.5 * (slow[:, 1:] + slow[:, :-1]) * step, axis=1)
    probe = nodes + depart * np.exp(-times / tau)
    out = _first_below(times, sign * probe, sign * limit_c)
    q = bank.drift[chosen]
    drifted = q * np.sqrt(np.minimum(out, 3600.0) / 3)
    wrong = _model_error(bank, chosen, at_s, limit_c)
    luck = _NORMALS[:, SIZE + 1]
    # What goes unseen mostly adds loss (a leg on cold steel, a door, gas), or heat where an oven
    # is itself still warming up: the early side is wider, after a change the more so, whose whole
    # effect has seldom come through the casting yet.
    unseen = (
        np.full(DRAWS, OVEN_STILL_WARMING)
        if rising
        else np.where(bank.changed[chosen], UNSEEN_LOSS_CHANGED, UNSEEN_LOSS)
    )
    wrong = np.where(luck < 0, np.hypot(wrong, unseen), wrong)
    out = out * np.exp(_NORMALS[:, SIZE] * drifted + luck * wrong)
    return np.sort(np.minimum(out, NEVER_S))


def _model_error(bank: Bank, chosen: np.ndarray, at_s: float, limit_c: float) -> Array:
    """Relative standard deviation of the time left that no hypothesis of the bank accounts for.

    A casting is many nodes, the bank has two modes. What is left over grows with the share of
    the height above the surroundings still to be lost, and is large just after a change, while
    bench, blanket or skin still take up heat.
    """
    probe = bank.mean[:, BULK] + bank.mean[:, DEPART]
    height = np.maximum(np.abs(probe - bank.mean[:, AROUND]), 5.0)
    ahead = clipped(np.abs(probe - limit_c) / height, 0.0, 1.0)
    age = np.maximum(at_s - bank.born_s, 0.0)
    size = np.where(bank.changed, YOUNG_ERROR, YOUNG_ERROR_FIRST)
    settling_s = np.where(bank.changed, SETTLING_S, SETTLING_FIRST_S)
    young = size * np.exp(-age / settling_s)
    least = np.where(bank.changed, LEAST_ERROR_CHANGED, LEAST_ERROR)
    by_ahead = np.where(bank.changed, ERROR_AHEAD_CHANGED, ERROR_AHEAD)
    heated = bank.mean[:, AROUND] > probe
    by_ahead = np.where(heated, ERROR_AHEAD_HEATED, by_ahead)
    error = np.sqrt(least**2 + (by_ahead * ahead) ** 2 + young**2)
    return np.asarray(error[chosen])


def _first_below(times: Array, probe: Array, limit_c: float) -> Array:
    below = probe < limit_c - 1e-9
    below[:, -1] = True
    first = np.argmax(below, axis=1)
    rows = np.arange(len(first))
    before = np.maximum(first - 1, 0)
    high, low = probe[rows, before], probe[rows, first]
    span = np.where(high - low > 1e-9, high - low, 1.0)
    share = clipped((high - limit_c) / span, 0.0, 1.0)
    out = times[rows, before] + share * (times[rows, first] - times[rows, before])
    return np.where(first == 0, 0.0, out)
