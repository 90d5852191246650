"""Looking ahead: when each possible cavity gets below the limit if the flow goes on as it is."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from service.physics.gas import AIR_OXYGEN_PPM
from service.physics.purge_members import Array, Members, Surroundings, step
from service.readings import Forecast, Spread

LEVELS = (0.05, 0.50, 0.95)
"""Shares of the members at which every spread is stated."""

HORIZON_S = 4 * 3600.0
"""Nothing later is forecast: a purge that takes longer is not one [s]."""

_GROWTH = 1.08

_LEFT_OUT = 0.03
_STANDSTILL = 1e-3
"""Share of the members not waited for; and the fall in a long step that is none."""


def seconds_to_clear(
    members: Members,
    around: Surroundings,
    joint_ppm: Callable[[Members], Array],
    weight: Array,
    limit_ppm: float,
) -> Array:
    """Seconds until the joint of each member is below the limit; ``inf`` beyond the horizon.

    Members are stepped forward with growing steps (each room is solved exactly within a step);
    the crossing is interpolated on the logarithm of the oxygen, which falls nearly straight.

    Args:
        members: Not changed.
        around: The flow that goes on.
        joint_ppm: Gives the oxygen at the joint [ppm] for members, shape ``(m,)``.
        weight: Probabilities of those entries, summing to 1, shape ``(m,)``.
        limit_ppm: Oxygen limit [ppm].

    Returns:
        Times [s], shape ``(m,)``; the last few in a hundred, on which no stated share depends, may
        be ``inf`` although they would come.
    """
    ahead = members.copy()
    times = np.where(joint_ppm(ahead) < limit_ppm, 0.0, np.inf)
    now_s, dt_s = 0.0, 1.0
    before = joint_ppm(ahead)
    while now_s < HORIZON_S and weight[np.isinf(times)].sum() > _LEFT_OUT:
        step(ahead, around, dt_s)
        after = joint_ppm(ahead)
        # A member counts from its last crossing: one that rises again is not clear.
        crossed = (before >= limit_ppm) & (after < limit_ppm)
        part = np.log(before / limit_ppm) / np.maximum(np.log(before / after), 1e-12)
        times = np.where(crossed, now_s + part * dt_s, times)
        times = np.where(after >= limit_ppm, np.inf, times)
        now_s += dt_s
        waiting = np.isinf(times)
        if dt_s > 10.0 and (after[waiting] > (1.0 - _STANDSTILL) * before[waiting]).all():
            break
        before = after
        if not (ahead.hose_l > 0).any():
            dt_s = max(1.0, min(now_s * (_GROWTH - 1.0), 120.0))
    return times


def volume_allowance(by_flow: Members, volume_l: float, limit_ppm: float) -> float:
    """True over stated volume up to which the joint would be below the limit now [1].

    With 95 % confidence in mixing, meter and gaps; what is believed of the volume itself drops out.
    A member's oxygen gives the volume changes of its own volume that have counted since air last
    came in, n = ln[(C0 − Cf)/(C − Cf)]; the same gas makes as many changes of the limit's number in
    a volume n/n_limit times as large.

    Args:
        by_flow: The members, as they are now.
        volume_l: Stated volume [l].
        limit_ppm: Oxygen limit [ppm].

    Returns:
        Above 1: by so much the volume may be larger than stated; below 1 the stated one is not
        clear yet; 0 when the argon itself is above the limit.
    """
    feed = by_flow.feed_ppm
    passed = np.log((AIR_OXYGEN_PPM - feed) / np.maximum(by_flow.oxygen_ppm - feed, 1e-9))
    room_ppm = np.maximum(limit_ppm - feed, 1e-300)
    largest = passed / np.log((AIR_OXYGEN_PPM - feed) / room_ppm) * by_flow.volume_l / volume_l
    return float(np.quantile(np.where(limit_ppm > feed, largest, 0.0), 1.0 - LEVELS[2]))


def not_before(forecast: Forecast, least_s: float) -> Forecast:
    """The same forecast, its pessimistic end not before ``least_s`` [s]."""
    left = forecast.time_left_s
    if left is None or left.p95 is None:
        return forecast
    return Forecast(Spread(left.p05, left.p50, max(left.p95, least_s)), forecast.reason)


def forecast_of_times(times_s: Array, weight: Array, limit_ppm: float) -> Forecast:
    """Spread of the members' times; none when the pessimistic ones never get there.

    Args:
        times_s: Each member's time [s], ``inf`` for never, shape ``(m,)``.
        weight: Their probabilities, summing to 1, shape ``(m,)``.
        limit_ppm: For the reason given [ppm].
    """
    order = np.argsort(times_s)
    summed = np.cumsum(weight[order])
    last = len(order) - 1
    at = [float(times_s[order][min(int(np.searchsorted(summed, q)), last)]) for q in LEVELS]
    if not math.isfinite(at[2]):
        return Forecast(
            None, f"at this flow the pessimistic bound does not get below {limit_ppm:g} ppm"
        )
    return Forecast(Spread(at[0], at[1], at[2]), None)
