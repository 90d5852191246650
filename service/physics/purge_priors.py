"""What is believed of a cavity before any gas has passed.

Numbers marked *judgement* are ours, chosen so that the pessimistic bound of a purge judged by flow
alone asks for about one and a half times the gas of a perfectly mixed cavity of the stated volume:
they are tried against a simulator with other equations in ``tests/bench/purge.py``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.physics.gas import AIR_OXYGEN_PPM
from service.physics.purge_members import Members, Strata

FLOW_MEMBERS = 240
SENSOR_MEMBERS = 400

VOLUME_SD_LOG = 0.07
"""A stated volume is right within about 12 % [judgement; water fill does better]."""

MIXING_MEDIAN = 0.84
MIXING_SD_LOG = 0.11
"""Mixing factor of a casting's cavity without dead legs [judgement]."""

METER_SD_LOG = 0.03
"""Flow meters are good to a few per cent [common practice, no source]."""

LEAST_WARM = 0.15
"""Of the measured gas's excess over 20 °C, the share that the cavity's gas has on average at the
least [judgement]: argon comes in cold, and a junction in the gas sees the hot wall. Small enough
that the bound still holds for a cavity whose gas has not warmed at all."""

FEED_MEDIAN_PPM = 2.0
FEED_SD_LOG = 0.8
"""Oxygen in welding argon: a few ppm, 95 % under 7.5 [from memory: grades 4.6 to 5.0]."""

DRAW_MEDIAN_L_MIN = 0.32
DRAW_SD_LOG = 1.2
STALL_MEDIAN_L_MIN = 0.9
STALL_SD_LOG = 1.05
"""Air through the gaps of a 2.4 l cavity, by buoyancy and, besides, once the flow stands still
[judgement, from the orifice equation: 1 cm² high and low over 0.2 m gives about 4 l/min cold]."""

GAPS_VOLUME_L = 2.4
"""Cavity for which the gap numbers are given; smaller castings have smaller gaps (√V)."""

SENSED_VOLUME_SD_LOG = 0.15
"""Volume over mixing factor, about 1.1 times the stated volume, for cavities with a sensor
[judgement]: what clears slower than this allows has a dead leg, not merely poor mixing."""

NO_DEAD_LEG = 0.15
"""Share of the first members without a dead leg [judgement]."""

UNKNOWN_VOLUME_MEDIAN_L = 2.0
UNKNOWN_VOLUME_SD_LOG = 0.8
"""An exhaust manifold holds between half a litre and eight [judgement]."""


READS_AIR_TOP_PPM = 209_000.0
"""Top of the range of a sensor that reads air [ppm]."""


@dataclass(slots=True, frozen=True)
class PurgeSetup:
    """What is known of the cavity and its sensor.

    Attributes:
        cavity_volume_l: Cold volume [l], above 0; ``None`` when nobody knows it.
        hose_volume_l: Hose between meter and cavity [l], 0 or more.
        limit_ppm: Oxygen limit of the procedure [ppm]; only named troubles use it, the verdicts
            are given their limit each time.
        volume_sd_share: Relative standard uncertainty of the volume [1]; ``None`` for the usual.
        feed_oxygen_ppm: Oxygen in the argon by its certificate [ppm]; ``None`` when not known.
        sensor_lag_s: Response time constant of the oxygen sensor [s]; ``None`` when not known.
        sensor_top_ppm: Reading at which the sensor saturates [ppm]; 20.9 % when it reads air.
        sensor_overdue: The oxygen sensor's calibration is overdue: its drift is counted double.
        interval_s: Usual time between flow readings [s]; ``None`` to learn it.

    Raises:
        ValueError: A value outside its range.
    """

    cavity_volume_l: float | None
    hose_volume_l: float = 0.0
    limit_ppm: float | None = None
    volume_sd_share: float | None = None
    feed_oxygen_ppm: float | None = None
    sensor_lag_s: float | None = None
    sensor_top_ppm: float = READS_AIR_TOP_PPM
    sensor_overdue: bool = False
    interval_s: float | None = None

    def __post_init__(self) -> None:
        _within("cavity volume", self.cavity_volume_l, 1e-3, 1e5, "l")
        _within("hose volume", self.hose_volume_l, 0.0, 1e3, "l")
        _within("oxygen limit", self.limit_ppm, 1e-3, AIR_OXYGEN_PPM, "ppm")
        _within("uncertainty of the volume", self.volume_sd_share, 0.0, 1.0, "")
        _within("oxygen in the argon", self.feed_oxygen_ppm, 0.0, 1e5, "ppm")
        _within("sensor lag", self.sensor_lag_s, 0.0, 600.0, "s")
        _within("top of the sensor's range", self.sensor_top_ppm, 1.0, 1e6, "ppm")
        _within("reading interval", self.interval_s, 1e-3, 3600.0, "s")


def _within(name: str, value: float | None, low: float, high: float, unit: str) -> None:
    if value is not None and not low <= value <= high:
        raise ValueError(f"{name} {value:g} {unit} is outside {low:g} to {high:g} {unit}".strip())


def check_finite(name: str, value: float) -> None:
    """Refuse a number that is none.

    Raises:
        ValueError: Names the quantity and the value.
    """
    if not math.isfinite(value):
        raise ValueError(f"{name} {value} is not a finite number")


def check_celsius(what: str, temperature_c: float) -> None:
    """Refuse a temperature outside -50 to 1400 °C.

    Raises:
        ValueError: Names what it is of, the value and the range.
    """
    if not -50.0 <= temperature_c <= 1400.0:
        raise ValueError(f"{what} temperature {temperature_c:g} °C is outside -50 to 1400 °C")


def check_limit(limit_ppm: float) -> None:
    """Refuse an oxygen limit outside 0 to air.

    Raises:
        ValueError: Says what is allowed.
    """
    if not 0.0 < limit_ppm < AIR_OXYGEN_PPM:
        raise ValueError(
            f"oxygen limit {limit_ppm:g} ppm must be above 0 and below air ({AIR_OXYGEN_PPM:g} ppm)"
        )


def flow_members(setup: PurgeSetup, seed: int = 1) -> Members:
    """Cavities as flow alone can judge them: no dead leg, no leaky hose, full of air.

    Raises:
        ValueError: The setup has no volume.
    """
    volume = setup.cavity_volume_l
    if volume is None:
        raise ValueError("flow says nothing of the oxygen in a cavity of unknown volume")
    strata = Strata(FLOW_MEMBERS, seed)
    sd = VOLUME_SD_LOG if setup.volume_sd_share is None else setup.volume_sd_share
    members = _members(setup, strata, strata.lognormal(volume, sd), volume)
    members.mixing = np.minimum(strata.lognormal(MIXING_MEDIAN, MIXING_SD_LOG), 1.1)
    members.meter = strata.lognormal(1.0, METER_SD_LOG)
    members.holds = (strata.uniform() < 0.3).astype(np.float64)
    # Hot gas clears a cavity with less argon, but no bound may lean on a temperature measured at
    # one place: the slower a member, the colder its volume is counted.
    slowness = members.volume_l / members.mixing / members.meter
    rank = np.argsort(np.argsort(slowness)) / len(slowness)
    members.expands = np.clip(1.0 - (rank - 0.5) / 0.3, LEAST_WARM, 1.0)
    return members


def sensor_members(setup: PurgeSetup, seed: int = 2) -> Members:
    """Cavities as an oxygen sensor can tell them apart: dead legs, leaks, any mixing."""
    strata = Strata(SENSOR_MEMBERS, seed)
    volume = setup.cavity_volume_l
    if volume is None:
        volume = UNKNOWN_VOLUME_MEDIAN_L
        spread = UNKNOWN_VOLUME_SD_LOG
    else:
        spread = SENSED_VOLUME_SD_LOG
    members = _members(setup, strata, strata.lognormal(1.1 * volume, spread), volume)
    members.meter = strata.lognormal(1.0, METER_SD_LOG)
    members.holds = (strata.uniform() < 0.5).astype(np.float64)
    members.expands = np.ones(SENSOR_MEMBERS)
    members.entrained = np.exp(strata.uniform(np.log(1e-7), np.log(3e-2)))
    members.dead_share = np.exp(strata.uniform(np.log(0.003), np.log(0.35)))
    members.dead_rate_per_s = np.exp(strata.uniform(np.log(3e-3), np.log(0.1)))
    forget_dead_leg(members, strata.uniform() < NO_DEAD_LEG)
    return members


def forget_dead_leg(members: Members, chosen: NDArray[np.bool_]) -> None:
    """Give the chosen members a dead leg so small and lively that it is none, in place."""
    members.dead_share = np.where(chosen, 0.003, members.dead_share)
    members.dead_rate_per_s = np.where(chosen, 0.5, members.dead_rate_per_s)
    members.dead_ppm = np.where(chosen, members.oxygen_ppm, members.dead_ppm)


def _members(setup: PurgeSetup, strata: Strata, volume_l: np.ndarray, nominal_l: float) -> Members:
    count = len(volume_l)
    gaps = float(np.clip(np.sqrt(nominal_l / GAPS_VOLUME_L), 0.4, 1.5))
    if setup.feed_oxygen_ppm is None:
        feed = strata.lognormal(FEED_MEDIAN_PPM, FEED_SD_LOG)
    else:
        feed = strata.lognormal(max(setup.feed_oxygen_ppm, 1e-3), 0.2)
    zeros = np.zeros(count)
    return Members(
        volume_l=volume_l,
        mixing=np.ones(count),
        meter=np.ones(count),
        feed_ppm=feed,
        draw_l_min=strata.lognormal(DRAW_MEDIAN_L_MIN * gaps, DRAW_SD_LOG),
        stall_l_min=strata.lognormal(STALL_MEDIAN_L_MIN * gaps, STALL_SD_LOG),
        holds=zeros.copy(),
        expands=zeros.copy(),
        entrained=zeros.copy(),
        dead_share=zeros.copy(),
        dead_rate_per_s=np.full(count, 0.01),
        hose_l=setup.hose_volume_l * strata.uniform(0.95, 1.1),
        oxygen_ppm=np.full(count, AIR_OXYGEN_PPM),
        dead_ppm=np.full(count, AIR_OXYGEN_PPM),
        settle_ppm=np.full(count, AIR_OXYGEN_PPM),
    )
