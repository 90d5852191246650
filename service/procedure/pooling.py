"""Several heats' answers to one question made one: a random-effects mean, with the spread between.

Each heat i says y_i with its own error s_i; the heats themselves differ by tau (the part stood
elsewhere, in other air). y_i ~ N(mu, s_i² + tau²), mu flat, tau half-normal: the Bayesian form of
the random-effects model of meta-analysis (DerSimonian and Laird 1986; Gelman 2006 on priors for
tau; both from memory). With mu integrated out by hand only tau is left, on a fixed grid: no random
numbers, so the same heats give the same answer to the letter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

GRID = 400
HALF_NORMAL_MEDIAN = 0.6745
"""Median of a half-normal variable over its scale."""
GRID_TO = 6.0
"""The grid ends at so many scales of the prior, or at the values' own range if that is wider."""


@dataclass(frozen=True, slots=True)
class Pooled:
    """What several heats say together.

    Attributes:
        mean: Of the mean over all heats that could be.
        sd: Of that mean.
        between: From heat to heat (root mean square of tau).
        heats: How many said something.
    """

    mean: float
    sd: float
    between: float
    heats: int

    @property
    def next_sd(self) -> float:
        """Of what the next heat will show."""
        return math.hypot(self.sd, self.between)


def pool(values: Sequence[float], sds: Sequence[float], usual_between: float) -> Pooled:
    """Pool the heats' values.

    Args:
        values: One of each heat, in any unit (the logarithm, for what is a factor).
        sds: Standard deviation of each, above 0.
        usual_between: What heats of one part differ by before anything is known; the prior's
            median.

    Raises:
        ValueError: Nothing to pool, or a standard deviation is not above 0.
    """
    if not values or len(values) != len(sds) or min(sds) <= 0 or usual_between <= 0:
        raise ValueError(f"nothing can be pooled from {values!r} with {sds!r}")
    y, own = np.asarray(values, dtype=float), np.asarray(sds, dtype=float) ** 2
    scale = usual_between / HALF_NORMAL_MEDIAN
    far = max(GRID_TO * scale, 2.0 * float(np.ptp(y)))
    tau = (np.arange(GRID) + 0.5) * far / GRID
    weights = 1.0 / (own[None, :] + tau[:, None] ** 2)
    total = weights.sum(axis=1)
    mean = (weights * y).sum(axis=1) / total
    off = (weights * (y - mean[:, None]) ** 2).sum(axis=1)
    log_p = 0.5 * (np.log(weights).sum(axis=1) - np.log(total) - off - (tau / scale) ** 2)
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    middle = float((p * mean).sum())
    variance = float((p * (1.0 / total + mean**2)).sum()) - middle**2
    return Pooled(middle, math.sqrt(variance), math.sqrt(float((p * tau**2).sum())), len(y))
