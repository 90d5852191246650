"""What is amiss with a purge, named, each with what to look at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.physics.gas import AIR_OXYGEN_PPM, expansion_from_cold, neutral_temperature_c
from service.physics.purge_dilution import rooms_in_row_ppm
from service.physics.purge_flow import FlowRecord
from service.physics.purge_members import Members, Surroundings, steady_ppm
from service.physics.purge_priors import READS_AIR_TOP_PPM
from service.physics.purge_sensor import AGES_AFTER_S, SATURATED_SHARE, Sensed

TOO_MANY_CHANGES_PER_MIN = 15.0
"""More volume changes a minute than this whirl air in rather than push it out [judgement]."""

CLOSE_OUT_L_MIN = 5.0
CLOSE_OUT_OPEN_SHARE = 0.2
"""With the joint nearly closed more flow than this blows back through the puddle [judgement]."""

FALLEN_SHARE = 0.7
"""A flow fallen below this share of the usual one, without being lost, is remarked on."""

READS_LOW_S = 30.0
"""A sensor below everything the gas can explain for this long is named [s]."""

SUSPECT_OF_FLOW = 0.7
"""Oxygen above this share of the flow's bound of half a minute ago falls slowly enough for a dead
leg to be thought of [judgement]."""

SMALLER = 0.85
LONG_ROOMS = 3
"""The quickest cavity thought of: this share of the stated volume, so many rooms in a row
[judgement]."""

WORSE_THAN_FLOW = 2.0
LEAST_SUSPECT_PPM = 20.0
"""Oxygen above this many times the flow's own pessimistic bound, and above this, does not fall as
it must."""


@dataclass(slots=True, frozen=True)
class PurgeNow:
    """What the troubles are looked for in.

    Attributes:
        t_s: Time now [s].
        flow: The flow's record.
        around: What acts on the members now.
        by_flow: Members judged by flow; ``None`` without a volume.
        sensed: Members judged with the sensor.
        bound_before_ppm: The flow's pessimistic bound half a minute ago [ppm]; ``None`` unknown.
        limit_ppm: Oxygen limit [ppm], if any.
        volume_l: Stated volume [l], if any.
        sensor_lost: The sensor has reported a fault.
        sensor_overdue: The sensor's calibration is overdue.
        open_share: Share of the joint still open [1].
        welding: The arc is on.
    """

    t_s: float
    flow: FlowRecord
    around: Surroundings
    by_flow: Members | None
    sensed: Sensed
    bound_before_ppm: float | None
    limit_ppm: float | None
    volume_l: float | None
    sensor_lost: bool
    sensor_overdue: bool
    open_share: float
    welding: bool = False


def troubles(now: PurgeNow) -> list[str]:
    """Every named trouble there is now, the gravest first; empty when nothing is amiss."""
    return [*_flow_troubles(now), *_oxygen_troubles(now), *_sensor_troubles(now)]


def _flow_troubles(now: PurgeNow) -> list[str]:
    flow = now.flow.current()
    if now.flow.at_s is None:
        return []
    if flow is None:
        return ["flow unknown: look at the meter and its lead; no flow is assumed until it speaks"]
    if flow <= 0.0:
        return ["flow lost: look at the bottle, the regulator, the valve and the hose"]
    found = []
    low = _too_low(now, flow)
    if low is not None:
        found.append(low)
    elif flow < FALLEN_SHARE * now.flow.usual_l_min:
        found.append(
            f"flow fallen from {now.flow.usual_l_min:.1f} to {flow:.1f} l/min: if nobody turned it "
            "down, look at the vent (blocked before close-out it traps pressure, which blows back "
            "through the puddle), at a kinked hose and at the bottle"
        )
    if now.volume_l is not None and flow > TOO_MANY_CHANGES_PER_MIN * now.volume_l:
        found.append(
            f"flow too high: {flow:.1f} l/min into {now.volume_l:g} l whirls air in at the vent "
            "and blows back through the puddle; turn it down"
        )
    elif 0.0 < now.open_share <= CLOSE_OUT_OPEN_SHARE and flow > CLOSE_OUT_L_MIN:
        found.append(
            f"flow too high for close-out: {flow:.1f} l/min with the joint nearly closed blows "
            "back through the last of the puddle; see that the vent is open and turn it down"
        )
    return found


def _too_low(now: PurgeNow, flow_l_min: float) -> str | None:
    if now.by_flow is None or now.limit_ppm is None:
        return None
    bound = float(np.quantile(steady_ppm(now.by_flow, now.around), 0.95))
    # Impure argon is no matter of flow: compare with what the feed alone would leave.
    if bound < max(now.limit_ppm, 2.0 * float(np.quantile(now.by_flow.feed_ppm, 0.95))):
        return None
    gas_c = now.around.hottest_c
    if gas_c is not None and gas_c > neutral_temperature_c():
        return (
            f"flow too low: at {gas_c:.0f} °C the argon is lighter than the air and leaves "
            f"through the high gaps; {flow_l_min:.1f} l/min may not keep the air out of the low "
            "ones: tape them, or give more gas"
        )
    return (
        f"flow too low: {flow_l_min:.1f} l/min may not keep the air out of the gaps: look for "
        "open ends and untaped joints, a kinked hose or an emptying bottle, or give more gas"
    )


def _oxygen_troubles(now: PurgeNow) -> list[str]:
    if not _speaking(now):
        return []
    risen = now.sensed.trend.has_risen() or now.sensed.slow.has_crept_up()
    if risen is not None:
        return [_rising(now, *risen)]
    last, before = now.sensed.last_ppm, now.bound_before_ppm
    at_least = max(now.limit_ppm or 0.0, LEAST_SUSPECT_PPM)
    if last is None or last <= at_least or not now.flow.current():
        return _dead_leg(now)
    if before is not None and last > WORSE_THAN_FLOW * before:
        what = f"{last:.0f} ppm where this much gas should leave less than {before:.0f}"
        return [f"oxygen not falling as it must: {what}: {_NOT_FALLING}"]
    stands = now.sensed.slow.stands_at()
    if stands is not None and not _saturated(now):
        what = f"it has stood at {stands[0]:.0f} ppm for {stands[1]:.0f} s with the argon on"
        return [f"oxygen not falling as it must: {what}: {_NOT_FALLING}"]
    return _dead_leg(now)


def _dead_leg(now: PurgeNow) -> list[str]:
    """The sensor alone would be clear, or soon, and its tail says that a dead leg is not."""
    hidden, limit = now.sensed.hidden_ppm(), now.limit_ppm
    if hidden is None or limit is None or hidden < limit or not _speaking(now):
        return []
    return [
        f"oxygen falls slower at the end than flow and volume explain: a dead leg may still hold "
        f"{float(f'{hidden:.2g}'):.0f} ppm; wait, or let gas through at its end"
    ]


_NOT_FALLING = (
    "look for a dead leg, a larger cavity than stated, a leak in hose or fittings, an untaped gap, "
    "and whether the sensor's pump draws air in past the foil"
)


def _rising(now: PurgeNow, from_ppm: float, to_ppm: float) -> str:
    figures = f"from {from_ppm:.0f} to {to_ppm:.0f} ppm"
    if now.welding:
        return (
            f"oxygen rising during welding, {figures}: look at the tape over the rest of the joint "
            "(the arc burns it off), the dams (heat lets them go), the flow and the vent"
        )
    return (
        f"oxygen rising {figures}: look at the tape or foil over the joint, the hose and its "
        "fittings, the bottle, and whether the fume extraction draws on the part"
    )


def _saturated(now: PurgeNow) -> bool:
    last = now.sensed.last_ppm
    return last is not None and last >= SATURATED_SHARE * now.sensed.setup.sensor_top_ppm


def _sensor_troubles(now: PurgeNow) -> list[str]:
    found = []
    if now.sensor_lost:
        found.append("oxygen sensor at fault: judged by the flow; look at the sensor and its lead")
    elif now.sensed.last_s is not None and not _speaking(now):
        found.append("oxygen sensor silent: judged by the flow; look at the sensor and its lead")
    if now.sensed.misfit_s <= -READS_LOW_S and _lower_than_gas_can(now):
        found.append(
            "oxygen reads lower than the gas passed can explain: not believed; a hot zirconia "
            "cell reads low in oil smoke or solvent, a sampling tube may be off; try it in air"
        )
    last, top = now.sensed.last_ppm, now.sensed.setup.sensor_top_ppm
    if _saturated(now) and top < READS_AIR_TOP_PPM and _speaking(now):
        found.append(
            f"oxygen sensor at the top of its range, {top:.0f} ppm: the gas holds that or more, up "
            "to air; look again when it comes off the stop, or whether it is frozen"
        )
    if last is not None and last > 1.05 * AIR_OXYGEN_PPM:
        found.append(f"oxygen reads {last / 1e4:.1f} %, more than air: calibrate the sensor in air")
    elif (
        last is not None
        and now.volume_l is not None
        and now.flow.used_l < 0.02 * now.volume_l
        and last < 0.9 * AIR_OXYGEN_PPM
        and not _saturated(now)
    ):
        found.append(
            f"oxygen reads {last / 1e4:.1f} % before any gas has passed: the cavity is full of "
            "air, 20.9 %; calibrate the sensor, or look whether it sits in the part"
        )
    if now.sensor_overdue:
        found.append("oxygen sensor's calibration is overdue: its drift is counted double")
    return found


def _lower_than_gas_can(now: PurgeNow) -> bool:
    """Less oxygen than a long, narrow and smaller cavity would let out, its gas warm and thin."""
    last = now.sensed.last_ppm
    if now.volume_l is None or last is None:
        return True
    warmed = 1.0
    if now.around.hottest_c is not None:
        warmed = max(expansion_from_cold(now.around.hottest_c), 1.0)
    changes = now.flow.used_l * warmed / (SMALLER * now.volume_l)
    return last < 0.5 * rooms_in_row_ppm(changes, LONG_ROOMS)


def _speaking(now: PurgeNow) -> bool:
    last_s = now.sensed.last_s
    return not now.sensor_lost and last_s is not None and now.t_s - last_s <= AGES_AFTER_S
