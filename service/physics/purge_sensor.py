"""An oxygen sensor fused with the flow: which of the possible cavities fit what it reads.

A particle filter. Each member (``purge_members``) carries, besides its cavity, a sensor of its own:
lag, gain and zero. A reading weighs the members by how well their lagged oxygen explains it; when
few are left with weight, the fitting ones are copied and moved a little (Liu and West's kernel),
so the cavity's mixing, dead legs, leaks and the sensor's own error are learnt together. The reading
is never believed outright: one far below what the gas passed can explain draws no member down.

Source: N. J. Gordon et al., IEE Proceedings F 140 (1993) 107-113 (bootstrap filter); J. Liu and
M. West in "Sequential Monte Carlo Methods in Practice" (2001), chapter 10, equations 10.3.4-10.3.6.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from service.physics.purge_members import Array, Members, Strata
from service.physics.purge_priors import PurgeSetup, sensor_members

READING_SD_LOG = 0.05
READING_SD_PPM = 2.0
"""Scatter of one reading: 5 % and 2 ppm [judgement: data sheets of trace cells say 1 to 5 %]."""

GAIN_SD_LOG = 0.05
"""Drift of the sensor's slope since calibration [judgement]."""

ZERO_SD_PPM = 2.0
"""Drift of the sensor's zero [judgement]."""

LAG_MEDIAN_S = 7.0
LAG_SD_LOG = 0.5
"""Response of a cell with a short sampling tube [judgement]."""

CORRELATION_S = 4.0
"""Readings closer than this repeat each other's error; each then counts for its share."""

SHRINK = 0.98
"""Liu and West's a: members move towards their mean and are spread again by the same amount."""

JOINT_IN_DEAD_LEG = 0.25
"""Share of the members that have the joint in the dead leg [judgement]: the sensor sits in the
outlet, the root may not."""

AGES_AFTER_S = 30.0
"""A sensor silent for longer is not judged by any more [s]."""

SATURATED_SHARE = 0.985
"""At this share of the top of its range a sensor only says "at least"."""


@dataclass(slots=True)
class Sensed:
    """Members with a sensor each, and how well each fits; arrays have shape ``(n,)``.

    Attributes:
        members: The possible cavities.
        lag_s: Response time constant of the sensor [s].
        gain: Reading over truth [1].
        zero_ppm: Reading in gas free of oxygen [ppm].
        lagged_ppm: What the sensor's cell sees, before gain and zero [ppm].
        joint_in_dead_leg: 1 where the joint is in the dead leg, else 0.
        weight: Probability of each member; sums to 1.
        updates: Readings taken so far; also numbers the random draws.
        last_s: Time of the last good reading [s]; ``None`` before the first.
        last_ppm: The last good reading [ppm].
        misfit: Readings in a row, counted by time, no member could explain: positive above
            them all, negative below [s].
    """

    members: Members
    lag_s: Array
    gain: Array
    zero_ppm: Array
    lagged_ppm: Array
    joint_in_dead_leg: Array
    weight: Array
    top_ppm: float
    updates: int = 0
    last_s: float | None = None
    last_ppm: float | None = None
    misfit_s: float = 0.0

    def joint_ppm(self) -> Array:
        """Oxygen at the joint, each member's own [ppm]."""
        return np.where(self.joint_in_dead_leg > 0, self.members.dead_ppm, self.members.oxygen_ppm)

    def follow(self, dt_s: float) -> None:
        """Let the cells respond for ``dt_s`` [s] after the members have moved on."""
        reach = 1.0 - np.exp(-dt_s / self.lag_s)
        self.lagged_ppm += reach * (self.members.oxygen_ppm - self.lagged_ppm)

    def reading_ppm(self) -> Array:
        """What each member's sensor would show now [ppm]."""
        return self.gain * self.lagged_ppm + self.zero_ppm


def sensed(setup: PurgeSetup) -> Sensed:
    """Members and sensors before the first reading."""
    members = sensor_members(setup)
    count = len(members.volume_l)
    strata = Strata(count, seed=3)
    if setup.sensor_lag_s is None:
        lag_s = strata.lognormal(LAG_MEDIAN_S, LAG_SD_LOG)
    else:
        lag_s = strata.lognormal(max(setup.sensor_lag_s, 0.1), 0.15)
    return Sensed(
        members=members,
        lag_s=lag_s,
        gain=strata.lognormal(1.0, GAIN_SD_LOG),
        zero_ppm=ZERO_SD_PPM * strata.normal(),
        lagged_ppm=members.oxygen_ppm.copy(),
        joint_in_dead_leg=(strata.uniform() < JOINT_IN_DEAD_LEG).astype(np.float64),
        weight=np.full(count, 1.0 / count),
        top_ppm=setup.sensor_top_ppm,
    )


def observe(state: Sensed, t_s: float, oxygen_ppm: float) -> None:
    """Weigh the members by a reading; resample when few are left with weight.

    Args:
        state: Changed in place; its members must already be at ``t_s``.
        t_s: Time of the reading [s].
        oxygen_ppm: The reading [ppm], 0 or more.
    """
    since_s = CORRELATION_S if state.last_s is None else t_s - state.last_s
    share = min(max(since_s, 0.0) / CORRELATION_S, 1.0)
    off = _misfit(state, oxygen_ppm)
    log_weight = np.log(state.weight + 1e-300) + share * -2.5 * np.log1p(off**2 / 4.0)
    weight = np.exp(log_weight - log_weight.max())
    state.weight = weight / weight.sum()
    state.updates += 1
    state.last_s, state.last_ppm = t_s, oxygen_ppm
    _count_misfit(state, off, min(since_s, 10.0))
    if 1.0 / float(np.sum(state.weight**2)) < 0.5 * len(state.weight):
        _resample(state)


def _misfit(state: Sensed, oxygen_ppm: float) -> Array:
    """Reading minus each member's own, in standard deviations; logarithmic above a few ppm."""
    floor = 2.0 * READING_SD_PPM
    shown = np.log(np.maximum(state.reading_ppm(), 0.0) + floor)
    if oxygen_ppm >= SATURATED_SHARE * state.top_ppm:
        least = math.log(SATURATED_SHARE * state.top_ppm + floor)
        return np.maximum(least - shown, 0.0) / READING_SD_LOG
    sd = math.hypot(READING_SD_LOG, READING_SD_PPM / (max(oxygen_ppm, 0.0) + floor))
    return (math.log(max(oxygen_ppm, 0.0) + floor) - shown) / sd


def _count_misfit(state: Sensed, off: Array, since_s: float) -> None:
    """Notice that no member explains the reading; follow it up, never down."""
    nearest = float(off[np.argmin(np.abs(off))])
    if abs(nearest) < 4.0:
        state.misfit_s = 0.0
        return
    direction = math.copysign(1.0, nearest)
    state.misfit_s = direction * since_s + (
        state.misfit_s if state.misfit_s * direction > 0 else 0.0
    )
    if direction > 0 and state.misfit_s >= 3.0 and state.last_ppm is not None:
        # More oxygen than any member can explain: an opening nobody knew. Start from it anew.
        random = np.random.default_rng([5, state.updates])
        spread = np.exp(0.3 * random.standard_normal(len(off)))
        state.members.oxygen_ppm = np.minimum(state.last_ppm * spread / state.gain, 209_500.0)
        state.members.dead_ppm = np.maximum(state.members.dead_ppm, state.members.oxygen_ppm)
        state.lagged_ppm = np.full(len(off), state.last_ppm) / state.gain
        state.weight = np.full(len(off), 1.0 / len(off))
        state.misfit_s = 0.0


def _resample(state: Sensed) -> None:
    """Copy the fitting members, move the copies a little (systematic resampling, Liu-West)."""
    count = len(state.weight)
    random = np.random.default_rng([4, state.updates])
    places = (np.arange(count) + random.uniform()) / count
    chosen = np.searchsorted(np.cumsum(state.weight), places).clip(max=count - 1)
    state.members.take(chosen)
    for name in ("lag_s", "gain", "zero_ppm", "lagged_ppm", "joint_in_dead_leg"):
        setattr(state, name, getattr(state, name)[chosen])
    state.weight = np.full(count, 1.0 / count)
    members = state.members
    for owner, name in (
        (members, "volume_l"),
        (members, "draw_l_min"),
        (members, "stall_l_min"),
        (members, "feed_ppm"),
        (members, "entrained"),
        (members, "dead_share"),
        (members, "dead_rate_per_s"),
        (state, "lag_s"),
        (state, "gain"),
    ):
        setattr(owner, name, np.exp(_moved(np.log(getattr(owner, name)), random)))
    state.zero_ppm = _moved(state.zero_ppm, random)
    members.dead_share = np.minimum(members.dead_share, 0.6)
    # The cavity's equations are not the truth: a little freedom of state keeps the filter awake.
    jitter = np.exp(0.02 * random.standard_normal(count))
    members.oxygen_ppm = np.minimum(members.oxygen_ppm * jitter, 209_500.0)


def _moved(values: Array, random: np.random.Generator) -> Array:
    mean, sd = float(values.mean()), float(values.std())
    kernel = math.sqrt(1.0 - SHRINK**2)
    noise = random.standard_normal(len(values))
    return SHRINK * values + (1.0 - SHRINK) * mean + kernel * sd * noise


def weighted_quantiles(values: Array, weight: Array, levels: tuple[float, ...]) -> list[float]:
    """Quantiles of a weighted sample: the value at which the summed weight reaches each level."""
    order = np.argsort(values)
    summed = np.cumsum(weight[order]) - 0.5 * weight[order]
    return [float(np.interp(level, summed, values[order])) for level in levels]
