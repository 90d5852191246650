"""The filter itself: a reading weighs the possible cavities, and those that fit are copied.

A particle filter over the members of ``purge_sensor``. A reading weighs them by how well their
lagged oxygen explains it; when few are left with weight, the fitting ones are copied and moved a
little (Liu and West's kernel). A reading that no member explains is followed up, never down.

Source: N. J. Gordon et al., IEE Proceedings F 140 (1993) 107-113 (bootstrap filter); J. Liu and
M. West in "Sequential Monte Carlo Methods in Practice" (2001), chapter 10 (kernel with shrinkage).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from service.physics.gas import AIR_OXYGEN_PPM
from service.physics.purge_members import Array
from service.physics.purge_priors import READS_AIR_TOP_PPM, forget_dead_leg, sensor_members
from service.physics.purge_sensor import SATURATED_SHARE, Sensed

READING_SD_LOG = 0.05
READING_SD_PPM = 2.0
"""Scatter of one reading: 5 % and 2 ppm [judgement: data sheets of trace cells say 1 to 5 %]."""

TIMING_SD_S = 0.7
"""A reading's time is known to about this: sampling tube, conversion, transmission [judgement]."""

CORRELATION_S = 4.0
"""Readings closer than this repeat each other's error; each then counts for its share."""

SHRINK = 0.98
SHRINK_DEAD = 0.998
"""Liu and West's a: members move towards their mean and are spread again by the same amount. Dead
legs hardly: one that slows down as it is watched would hold its oxygen for ever."""

UNREST_PER_ROOT_S = 0.01
"""A real cavity does not obey the balance to the last per cent; this keeps the filter awake."""

SAME_READINGS = 5
"""So many readings that are exactly the first one, with far more oxygen to be expected: the cell is
at the top of its range (a trace cell in a cavity full of air) or frozen, and says "at least"."""

UNEXPLAINED_S = 3.0
"""More oxygen than any member can explain for this long is believed: an opening nobody knew."""

BELOW_ALL_S = 10.0
"""Less oxygen than any member can explain for this long: what was learnt is doubted, but the gas
in the members still only clears as gas does."""

FRESH_SHARE = 0.03
"""Members given a new cavity at each resampling."""

_REFRESHED = ("volume_l", "draw_l_min", "stall_l_min", "feed_ppm")
"""Learnt of a cavity, and refreshed at random. What a dead leg holds goes with its size, so dead
legs are not refreshed."""

LEAK_STEP = 0.008
"""Move of a leak at each resampling, relative. A leaky hose leaks the same all the while: moved
farther, a leak that shrinks as it is watched would pass for a dead leg that empties."""


def observe(state: Sensed, t_s: float, oxygen_ppm: float, flow_l_min: float) -> None:
    """Weigh the members by a reading; resample when few are left with weight.

    Args:
        state: Changed in place; its members must already be at ``t_s``.
        t_s: Time of the reading [s].
        oxygen_ppm: The reading [ppm], 0 or more.
        flow_l_min: Argon flow now [l/min], 0 when unknown.
    """
    since_s = CORRELATION_S if state.last_s is None else max(t_s - state.last_s, 0.0)
    _notice_saturation(state, oxygen_ppm)
    state.updates += 1
    random = np.random.default_rng([4, state.updates])
    _stir(state, since_s, random)
    share = min(since_s / CORRELATION_S, 1.0)
    off, sd = _misfit(state, oxygen_ppm)
    # Student's t with 3 degrees of freedom: an outlier says little, not everything.
    log_weight = np.log(state.weight + 1e-300) - share * (2.0 * np.log1p(off**2 / 3.0) + np.log(sd))
    weight = np.exp(log_weight - log_weight.max())
    state.weight = weight / weight.sum()
    state.last_s, state.last_ppm = t_s, oxygen_ppm
    state.trend.add(t_s, oxygen_ppm)
    state.slow.add(t_s, oxygen_ppm)
    state.tail.add(t_s, oxygen_ppm, state.usual_per_s(flow_l_min))
    _count_misfit(state, off, min(since_s, 10.0), flow_l_min, random)
    if 1.0 / float(np.sum(state.weight**2)) < 0.5 * len(state.weight):
        _resample(state, random)


def _notice_saturation(state: Sensed, oxygen_ppm: float) -> None:
    """Learn the top of the sensor's range from a start at it; unlearn it when it reads more."""
    if oxygen_ppm > 1.05 * state.setup.sensor_top_ppm:
        state.setup = replace(state.setup, sensor_top_ppm=READS_AIR_TOP_PPM)
    if state.updates == 0:
        state.same = 1
    elif state.same == state.updates and oxygen_ppm == state.last_ppm:
        state.same += 1
        expected_ppm = float(np.median(state.members.oxygen_ppm))
        if state.same == SAME_READINGS and 10.0 < oxygen_ppm < expected_ppm / 3.0:
            state.setup = replace(state.setup, sensor_top_ppm=oxygen_ppm)


def suspect_dead_leg(state: Sensed, flow_l_min: float) -> None:
    """Give half the members a dead leg, a quarter a leaky hose, to explain the oxygen now.

    A cavity that clears slower than the flow's pessimistic bound has a dead leg or a leak; the
    first beliefs hold too few of either to be sure that some are left when it shows. What the dead
    leg holds follows from what leaves: (x_d − x)·λ·V_d = q·x, the main room being quick beside it.

    Args:
        state: Changed in place.
        flow_l_min: Argon flow now [l/min], above 0.
    """
    count = len(state.weight)
    random = np.random.default_rng([6, state.updates])
    members = state.members
    chosen = np.arange(count) % 2 == 0
    share = np.exp(random.uniform(np.log(0.03), np.log(0.3), count))
    rate = np.exp(random.uniform(np.log(3e-3), np.log(0.05), count))
    volume_l = random.permutation(sensor_members(state.setup).volume_l)
    leaves = flow_l_min / 60.0 / (rate * share * volume_l)
    held = np.minimum(members.oxygen_ppm * (1.0 + leaves), AIR_OXYGEN_PPM)
    members.dead_share = np.where(chosen, share, members.dead_share)
    members.dead_rate_per_s = np.where(chosen, rate, members.dead_rate_per_s)
    members.volume_l = np.where(chosen, volume_l, members.volume_l)
    members.dead_ppm = np.where(chosen, held, members.dead_ppm)
    tight = np.exp(random.uniform(np.log(1e-7), np.log(1e-5), count))
    members.entrained = np.where(chosen, tight, members.entrained)
    # A leak that has shrunk once was none: the second time only dead legs are left.
    leaky = (np.arange(count) % 4 == 1) & (not state.suspected)
    leak = members.oxygen_ppm / AIR_OXYGEN_PPM * np.exp(0.3 * random.standard_normal(count))
    members.entrained = np.where(leaky, np.minimum(leak, 0.5), members.entrained)
    forget_dead_leg(members, leaky)
    state.suspected = True


def _stir(state: Sensed, since_s: float, random: np.random.Generator) -> None:
    unrest = UNREST_PER_ROOT_S * math.sqrt(min(since_s, 30.0))
    members = state.members
    stirred = members.oxygen_ppm * np.exp(unrest * random.standard_normal(len(state.weight)))
    members.oxygen_ppm = np.minimum(stirred, AIR_OXYGEN_PPM)


def _misfit(state: Sensed, oxygen_ppm: float) -> tuple[Array, Array]:
    """Reading minus each member's own, in standard deviations, and those deviations.

    Logarithmic above a few ppm. When the reading was taken is known to about a second only, which
    counts for much in a cavity that clears in a few.
    """
    floor = 2.0 * READING_SD_PPM
    shown = np.log(state.lagged_ppm + floor)
    moving = (state.members.oxygen_ppm - state.lagged_ppm) / state.lag_s
    moved = TIMING_SD_S * moving / (state.lagged_ppm + floor)
    if oxygen_ppm >= SATURATED_SHARE * state.setup.sensor_top_ppm:
        least = math.log(SATURATED_SHARE * state.setup.sensor_top_ppm + floor)
        sd = np.hypot(READING_SD_LOG, moved)
        return np.maximum(least - shown, 0.0) / sd, sd
    sd = np.hypot(math.hypot(READING_SD_LOG, READING_SD_PPM / (oxygen_ppm + floor)), moved)
    return (math.log(oxygen_ppm + floor) - shown) / sd, sd


def _count_misfit(
    state: Sensed, off: Array, since_s: float, flow_l_min: float, random: np.random.Generator
) -> None:
    """Notice that no member explains the reading; follow it up, never down."""
    nearest = float(off[np.argmin(np.abs(off))])
    if abs(nearest) < 3.0:
        state.misfit_s = 0.0
        return
    sign = math.copysign(1.0, nearest)
    state.misfit_s = sign * since_s + (state.misfit_s if state.misfit_s * sign > 0 else 0.0)
    if state.misfit_s >= UNEXPLAINED_S:
        _start_from(state, random)
    elif state.misfit_s <= -BELOW_ALL_S and state.suspected:
        suspect_dead_leg(state, flow_l_min)
    elif state.misfit_s <= -BELOW_ALL_S:
        chosen = _refresh(state, 0.5, random)
        forget_dead_leg(state.members, chosen)
        tight = np.exp(random.uniform(np.log(1e-7), np.log(1e-3), len(off)))
        state.members.entrained = np.where(chosen, tight, state.members.entrained)


def _start_from(state: Sensed, random: np.random.Generator) -> None:
    """Begin anew from a reading above all members: an opening nobody knew."""
    count = len(state.weight)
    read = state.last_ppm or 0.0
    members = state.members
    # The cell lags: the gas is at least as bad as it shows, perhaps several times worse.
    worse = np.exp(np.abs(0.7 * random.standard_normal(count)))
    members.oxygen_ppm = np.minimum(read * worse, AIR_OXYGEN_PPM)
    members.dead_ppm = np.maximum(members.dead_ppm, members.oxygen_ppm)
    members.entrained = np.exp(random.uniform(np.log(1e-5), np.log(0.3), count))
    state.lagged_ppm = np.full(count, read)
    state.weight = np.full(count, 1.0 / count)
    state.misfit_s = 0.0


def _resample(state: Sensed, random: np.random.Generator) -> None:
    """Copy the fitting members, move the copies a little (systematic resampling, Liu-West)."""
    count = len(state.weight)
    places = (np.arange(count) + random.uniform()) / count
    chosen = np.searchsorted(np.cumsum(state.weight), places).clip(max=count - 1)
    members = state.members
    # Whether an unknown flow is believed is no property of the cavity: readings must not breed it.
    holds = members.holds
    members.take(chosen)
    members.holds = holds
    state.lag_s, state.lagged_ppm = state.lag_s[chosen], state.lagged_ppm[chosen]
    state.weight = np.full(count, 1.0 / count)
    for name in _REFRESHED:
        setattr(members, name, _moved(getattr(members, name), random, SHRINK))
    for name in ("dead_share", "dead_rate_per_s"):
        setattr(members, name, _moved(getattr(members, name), random, SHRINK_DEAD))
    state.lag_s = _moved(state.lag_s, random, SHRINK)
    members.entrained = members.entrained * np.exp(LEAK_STEP * random.standard_normal(count))
    members.dead_share = np.minimum(members.dead_share, 0.6)
    _refresh(state, FRESH_SHARE, random)


def _refresh(state: Sensed, share: float, random: np.random.Generator) -> NDArray[np.bool_]:
    """Give a share of the members a cavity out of the first beliefs; their gas stays.

    Copies of copies forget what they were not asked about; without new blood a leak once believed
    could never be unlearnt.
    """
    chosen = random.uniform(size=len(state.weight)) < share
    first = sensor_members(state.setup)
    for name in _REFRESHED:
        values = getattr(state.members, name)
        fresh = random.permutation(getattr(first, name))
        setattr(state.members, name, np.where(chosen, fresh, values))
    return chosen


def _moved(values: Array, random: np.random.Generator, shrink: float) -> Array:
    logs = np.log(values)
    mean, sd = float(logs.mean()), float(logs.std())
    kernel = math.sqrt(1.0 - shrink**2)
    noise = random.standard_normal(len(logs))
    moved: Array = np.exp(shrink * logs + (1.0 - shrink) * mean + kernel * sd * noise)
    return moved
