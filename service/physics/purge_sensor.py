"""An oxygen sensor fused with the flow: which of the possible cavities fit what it reads.

A particle filter. Each member (``purge_members``) carries, besides its cavity, a sensor cell with a
lag. A reading weighs the members by how well their lagged oxygen explains it; when few are left
with weight, the fitting ones are copied and moved a little (Liu and West's kernel), so the
cavity's mixing, dead legs and leaks are learnt. The reading is never believed outright: one far
below what the gas passed can explain draws no member down.

What a sensor cannot tell is not learnt from it: its own drift, and where the joint lies between
the inlet and the sensor in the outlet, or in a dead leg. These are added when the joint's oxygen
is stated, from fixed spreads.

Source: N. J. Gordon et al., IEE Proceedings F 140 (1993) 107-113 (bootstrap filter); J. Liu and
M. West in "Sequential Monte Carlo Methods in Practice" (2001), chapter 10 (kernel with shrinkage).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from service.physics.gas import AIR_OXYGEN_PPM
from service.physics.purge_members import Array, Members, Strata
from service.physics.purge_priors import (
    PurgeSetup,
    sensor_members,
)
from service.physics.purge_tail import Tail
from service.physics.purge_trend import SlowTrend, Trend

DRIFT_SD_LOG = 0.04
ZERO_SD_PPM = 1.2
"""Drift of slope and zero since calibration [judgement]."""

MOST_ABOVE = 30.0
"""A dead leg this many times above the main room takes part in the cell's zero error by no more."""

LAG_MEDIAN_S = 7.0
LAG_SD_LOG = 0.5
"""Response of a cell with a short sampling tube [judgement]."""

AHEAD_MEAN = 0.3
AHEAD_SD = 0.35
"""Residence times by which the joint is ahead of the outlet while the oxygen falls [judgement: the
joint lies between inlet and outlet, so on average ahead]."""

JOINT_HIDDEN = 0.4
JOINT_HIDDEN_SUSPECTED = 0.7
"""How often the joint is in a dead leg that is there [judgement], and in one that shows."""

LEAST_DEAD_SHARE = 0.015
"""A dead leg smaller than this share of the volume counts for less [judgement]."""

DOUBT_MEDIAN = 1.3
DOUBT_SD_LOG = 0.35
DOUBT_SUSPECTED = 2.6
"""What a dead leg holds is known only by what it lets out; where one shows, the answer rests on
that alone, and by so much more is doubted [judgement, to the safe side]."""

BEHIND = 1.9
BEHIND_SHARE = 0.12
"""In this share of the members the joint is behind the outlet by so many residence times instead: a
lively dead leg looks like a slightly larger cavity, and no reading tells them apart [judgement]."""

AGES_AFTER_S = 30.0
"""A sensor silent for longer is not judged by any more [s]."""

SATURATED_SHARE = 0.985
"""At this share of the top of its range a sensor only says "at least"."""


@dataclass(slots=True)
class Sensed:
    """Members with a sensor cell each, and how well each fits; arrays have shape ``(n,)``.

    Attributes:
        members: The possible cavities.
        lag_s: Response time constant of the cell [s].
        lagged_ppm: What the cell sees [ppm].
        weight: Probability of each member; sums to 1.
        drift: Truth over reading, zero taken off [1]; never learnt.
        zero_ppm: Reading in gas free of oxygen [ppm]; never learnt.
        ahead: Residence times by which the joint is ahead of the outlet [1]; never learnt.
        doubt: Truth over model of what a dead leg holds [1]; never learnt.
        setup: What was known at the start.
        updates: Readings taken so far; also numbers the random draws.
        last_s: Time of the last good reading [s]; ``None`` before the first.
        last_ppm: The last good reading [ppm].
        suspected: Oxygen has fallen slower than the flow allows: a dead leg is likely.
        trend: The last readings.
        slow: The last minutes.
        tail: How slowly the oxygen goes at the end.
        same: How many readings in a row have been exactly the first one.
        misfit_s: For how long no member could explain the readings: positive when they are
            above them all, negative below [s].
    """

    members: Members
    lag_s: Array
    lagged_ppm: Array
    weight: Array
    drift: Array
    zero_ppm: Array
    ahead: Array
    doubt: Array
    setup: PurgeSetup
    updates: int = 0
    last_s: float | None = None
    last_ppm: float | None = None
    suspected: bool = False
    trend: Trend = field(default_factory=Trend)
    slow: SlowTrend = field(default_factory=SlowTrend)
    tail: Tail = field(default_factory=Tail)
    same: int = 0
    misfit_s: float = 0.0

    def follow(self, dt_s: float) -> None:
        """Let the cells respond for ``dt_s`` [s] after the members have moved on."""
        reach = 1.0 - np.exp(-dt_s / self.lag_s)
        self.lagged_ppm += reach * (self.members.oxygen_ppm - self.lagged_ppm)

    @property
    def slowest_s(self) -> float:
        """Lag of the slowest cell thought of [s]."""
        return float(np.quantile(self.lag_s, 0.95))

    def begin_anew(self) -> None:
        """The flow has changed: what the oxygen did before is no measure any more."""
        self.slow.begin_anew()
        self.tail.begin_anew()

    def usual_per_s(self, flow_l_min: float) -> float:
        """Flow over volume [1/s]: the stated one, else the one the readings speak for."""
        volume_l = self.setup.cavity_volume_l
        if volume_l is None:
            volume_l = float(self.weight @ self.members.volume_l)
        return flow_l_min / 60.0 / volume_l

    def hidden_ppm(self) -> float | None:
        """The most that a dead leg which shows in the tail may hold [ppm]; ``None``: none does."""
        return self.tail.leg_ppm() if self.tail.is_slow(self.slowest_s) else None

    def hidden_below_in_s(self, limit_ppm: float) -> float:
        """Seconds until that is below a limit [s]; 0 when there is none."""
        slow = self.tail.is_slow(self.slowest_s)
        return self.tail.leg_below_in_s(limit_ppm) if slow else 0.0

    def shown_ppm(self) -> float:
        """What the sensor shows [ppm]; while it rises, what it may be rising to."""
        ahead_ppm = 2.0 * self.slowest_s * self.trend.rise_ppm_per_s()
        return min((self.last_ppm or 0.0) + ahead_ppm, AIR_OXYGEN_PPM)

    def joint_ppm(self, members: Members) -> Array:
        """Oxygen at the joint, in the main room and in the dead leg [ppm], shape ``(2n,)``."""
        here, heading = members.oxygen_ppm, members.settle_ppm
        falling = heading + (here - heading) * np.exp(-self.ahead)
        rising = np.minimum(here * np.exp(np.abs(self.ahead)), heading)
        doubt = self.doubt * (DOUBT_SUSPECTED if self.suspected else 1.0)
        both = np.concatenate([np.where(here > heading, falling, rising), members.dead_ppm * doubt])
        # A cell that reads low by so much hides more in the dead leg, in the proportion in which
        # the dead leg stands above the main room.
        above = np.clip(members.dead_ppm / np.maximum(here, 1e-9), 1.0, MOST_ABOVE)
        zero = np.concatenate([self.zero_ppm, self.zero_ppm * above])
        true = (both - zero) * np.tile(self.drift, 2)
        bounded: Array = np.clip(true, 0.05 * both, AIR_OXYGEN_PPM)
        return bounded

    def joint_weight(self) -> Array:
        """Probability of each entry of :meth:`joint_ppm`; sums to 1.

        Where there is a dead leg worth the name, the joint is in it four times in ten,
        seven where one shows [judgement: a joint at the end of a capped runner is a dead leg].
        """
        often = JOINT_HIDDEN_SUSPECTED if self.suspected else JOINT_HIDDEN
        hidden = often * np.minimum(self.members.dead_share / LEAST_DEAD_SHARE, 1.0)
        return np.concatenate([self.weight * (1.0 - hidden), self.weight * hidden])


def sensed(setup: PurgeSetup) -> Sensed:
    """Members and sensor cells before the first reading."""
    members = sensor_members(setup)
    count = len(members.volume_l)
    strata = Strata(count, seed=3)
    if setup.sensor_lag_s is None:
        lag_s = strata.lognormal(LAG_MEDIAN_S, LAG_SD_LOG)
    else:
        lag_s = strata.lognormal(max(setup.sensor_lag_s, 0.1), 0.15)
    worse = 2.0 if setup.sensor_overdue else 1.0
    return Sensed(
        members=members,
        lag_s=lag_s,
        lagged_ppm=members.oxygen_ppm.copy(),
        weight=np.full(count, 1.0 / count),
        drift=strata.lognormal(1.0, worse * DRIFT_SD_LOG),
        zero_ppm=worse * ZERO_SD_PPM * strata.normal(),
        ahead=np.where(
            strata.uniform() < BEHIND_SHARE,
            -BEHIND,
            AHEAD_MEAN + AHEAD_SD * strata.normal(),
        ),
        doubt=strata.lognormal(DOUBT_MEDIAN, DOUBT_SD_LOG),
        setup=setup,
    )


def weighted_quantiles(values: Array, weight: Array, levels: tuple[float, ...]) -> list[float]:
    """Quantiles of a weighted sample: the value at which the summed weight reaches each level."""
    order = np.argsort(values)
    summed = np.cumsum(weight[order]) - 0.5 * weight[order]
    return [float(np.interp(level, summed, values[order])) for level in levels]
