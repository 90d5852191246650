"""Many possible cavities, purged side by side: the uncertainty of a purge carried through.

Nobody knows the cavity exactly: its volume, how well argon mixes with the air in it, how much air
comes back through its gaps. So the purge is worked out for a few hundred *members*, each a cavity
that could be the real one, and every statement is a share of members. Arrays have one entry per
member, shape ``(n,)``.

Balance of one member, oxygen share x [ppm], well-mixed main room of volume V:

    dx/dt = (K·q/V)·(x_in − x) + (a/V)·(x_air − x)

with argon flow q, mixing factor K, oxygen of the incoming gas x_in (air while the hose still holds
some, then the feed's impurity) and air a drawn in through gaps. Members for the oxygen sensor also
have a *dead leg*: a share of the volume that only exchanges gas with the main room.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from service.physics.gas import (
    AIR,
    AIR_OXYGEN_PPM,
    ARGON,
    REFERENCE_C,
    density_kg_m3,
    expansion_from_cold,
)
from service.physics.purge_warmth import least_warmed

Array = NDArray[np.float64]

_COLD_HEAD_KG_M3 = density_kg_m3(ARGON, REFERENCE_C) - density_kg_m3(AIR, REFERENCE_C)
"""Density difference that drives gas through gaps in a cold purged cavity [kg/m³]."""

STEP_S = 1.0
"""Longest step of the balance [s]; each room is solved exactly within it."""

HOT_PULL = 1.4
"""Gas lighter than the shop's air leaves through the very vent meant to let the air out, so hot
gaps are counted wider by this [judgement]."""

WALL_CREDIT = 0.5
"""Of the casting's own excess temperature the gas is credited with this share of what it would be
if the gas itself had been measured [judgement: at 10 l/min and 5 W/(m²·K) on 0.1 m² of bore the
gas takes on average 0.7 of the wall's excess, at 20 l/min in a small elbow 0.4]."""

HOSE_REFILL_S = 600.0
"""A hose left without flow is counted full of air again after this [s]; a guess on the safe side
(diffusion alone creeps a few centimetres a minute)."""


@dataclass(slots=True)
class Members:
    """Possible cavities and what is in them now; every array has shape ``(n,)``.

    Attributes:
        volume_l: Cold volume V [l].
        mixing: Mixing factor K [1].
        meter: True flow over shown flow [1].
        feed_ppm: Oxygen in the argon [ppm].
        draw_l_min: Air drawn through gaps by buoyancy when no argon flows [l/min].
        stall_l_min: Air that comes in besides while the flow stands still (draughts, open
            ends) [l/min].
        holds: For an unknown flow: 1 believes the last flow went on, 0 counts none.
        expands: Share of the measured gas's excess over 20 °C that the whole cavity's gas has on
            average, so far as its expansion is credited (0: cold volume) [1].
        entrained: Air dragged in with the argon through a leaky hose, share of the flow [1].
        dead_share: Share of the volume in a dead leg [1].
        dead_rate_per_s: Exchange of the dead leg, per its own volume [1/s].
        hose_l: Air still ahead of the argon in the hose [l].
        oxygen_ppm: Oxygen in the main room [ppm].
        dead_ppm: Oxygen in the dead leg [ppm].
        settle_ppm: Where the main room's oxygen is heading with what comes in now [ppm].
    """

    volume_l: Array
    mixing: Array
    meter: Array
    feed_ppm: Array
    draw_l_min: Array
    stall_l_min: Array
    holds: Array
    expands: Array
    entrained: Array
    dead_share: Array
    dead_rate_per_s: Array
    hose_l: Array
    oxygen_ppm: Array
    dead_ppm: Array
    settle_ppm: Array

    def copy(self) -> Members:
        """An independent set in the same state."""
        return Members(**{f.name: getattr(self, f.name).copy() for f in fields(self)})

    def take(self, chosen: NDArray[np.intp]) -> None:
        """Keep the chosen members (repeats allowed): one resampling."""
        for f in fields(self):
            setattr(self, f.name, getattr(self, f.name)[chosen])


@dataclass(slots=True, frozen=True)
class Surroundings:
    """What acts on all members alike during one step.

    Attributes:
        flow_l_min: Argon by the meter [l/min at 20 °C, 1 atm]; ``None`` when not known.
        last_flow_l_min: The last known flow [l/min], used only while ``flow_l_min`` is ``None``.
        gas_temperature_c: Gas in the cavity [°C]; ``None`` when not measured.
        gas_cooling_k_per_s: How fast it cools [K/s], 0 or more; the wall if gas is not measured.
        hose_volume_l: The hose's whole volume [l].
        open_share: Share of the joint still open [1]; welding closes it.
        wall_temperature_c: The casting itself [°C]; ``None`` when not known. Used where the gas
            is not measured: the gas is then anywhere between the shop and the wall.
        wall_throughout: The whole casting is about that hot, as out of an oven, not only where a
            torch was.
        sweeping_l_min: Argon that flows at the openings now [l/min], where that is not the flow
            to be counted (litres made good after a gap); ``None``: it is.
    """

    flow_l_min: float | None
    last_flow_l_min: float
    gas_temperature_c: float | None
    gas_cooling_k_per_s: float
    hose_volume_l: float
    open_share: float = 1.0
    wall_temperature_c: float | None = None
    wall_throughout: bool = False
    sweeping_l_min: float | None = None

    @property
    def hottest_c(self) -> float | None:
        """The gas as measured, else as hot as it can be [°C]; ``None`` when neither is known."""
        if self.gas_temperature_c is None:
            return self.wall_temperature_c
        return self.gas_temperature_c


class Strata:
    """Evenly spread random numbers: each column visits every quantile once (Latin hypercube).

    The same seed gives the same numbers, so a replay gives the same purge.
    """

    def __init__(self, count: int, seed: int) -> None:
        self._count = count
        self._random = np.random.default_rng(seed)
        self._levels = (np.arange(count) + 0.5) / count
        normal = NormalDist()
        self._normal = np.array([normal.inv_cdf(float(level)) for level in self._levels])

    def uniform(self, low: float = 0.0, high: float = 1.0) -> Array:
        """Evenly between ``low`` and ``high``."""
        return low + (high - low) * self._random.permutation(self._levels)

    def normal(self) -> Array:
        """Standard normal."""
        return self._random.permutation(self._normal)

    def lognormal(self, median: float, sd_log: float) -> Array:
        """Lognormal about ``median``."""
        return median * np.exp(sd_log * self.normal())


def air_drawn_l_min(members: Members, flow_l_min: Array, around: Surroundings) -> Array:
    """Air that comes in through gaps while argon flows at ``flow_l_min`` [l/min].

    Two equal gaps, high and low: the buoyant head drives ``a`` in through one and ``q + a`` out
    through the other, a² + (q + a)² = 2·q0², so a = (√(4·q0² − q²) − q) / 2 until q = √2·q0
    shuts the gap; q is the flow at the cavity's temperature. q0, the exchange without flow, goes
    with the square root of the head. While the flow all but stands, draughts add ``stall_l_min``,
    and a cavity that cools sucks.

    Source: orifice equation across both gaps (see ``gas.gap_exchange_l_min``), solved for a.
    """
    # Joint and vent are taken as equal at first; the pull through both in a row goes as
    # 1/√(1/A1² + 1/A2²), which the closing joint brings down to nothing.
    gaps = 2.0**0.5 * around.open_share / (1.0 + around.open_share**2) ** 0.5
    pull = members.draw_l_min * gaps * _draught(members, around)
    leaving = flow_l_min * _warmth(around.gas_temperature_c)
    shut = np.sqrt(np.maximum(4.0 * pull**2 - leaving**2, 0.0))
    drawn: Array = np.maximum((shut - leaving) / 2.0, 0.0)
    # Below about a third of the draught's own rate the argon no longer keeps the openings swept.
    still = np.maximum(1.0 - flow_l_min / np.maximum(members.stall_l_min / 3.0, 0.2), 0.0)
    drawn = drawn + members.stall_l_min * still
    hottest_c = around.hottest_c
    if around.gas_cooling_k_per_s > 0 and hottest_c is not None:
        kelvin = hottest_c + 273.15
        shrink = members.volume_l * 293.15 / kelvin**2 * around.gas_cooling_k_per_s * 60.0
        drawn += np.maximum(shrink - flow_l_min, 0.0)
    return drawn


def _warmth(gas_temperature_c: float | None) -> float:
    """Volume of the cavity's gas over its cold volume [1]; never less than cold."""
    return 1.0 if gas_temperature_c is None else max(expansion_from_cold(gas_temperature_c), 1.0)


def _draught(members: Members, around: Surroundings) -> Array:
    """Buoyant pull over that of a cavity full of cold argon [1].

    Gas that is not measured may be cold or as hot as the wall, whichever pulls more.
    """
    inside_c = REFERENCE_C if around.gas_temperature_c is None else around.gas_temperature_c
    pull = _pull(members, inside_c)
    if around.gas_temperature_c is None and around.wall_temperature_c is not None:
        pull = np.maximum(pull, _pull(members, around.wall_temperature_c))
    # Never nothing: the gas is not equally warm all over, and the vent is not in still air.
    return np.maximum(pull, 0.3)


def _pull(members: Members, inside_c: float) -> Array:
    argon_share = 1.0 - members.oxygen_ppm / AIR_OXYGEN_PPM
    argon, air = density_kg_m3(ARGON, inside_c), density_kg_m3(AIR, inside_c)
    excess = argon_share * argon + (1 - argon_share) * air - density_kg_m3(AIR, REFERENCE_C)
    pull = np.sqrt(np.abs(excess) / _COLD_HEAD_KG_M3)
    hot: Array = np.where(excess < 0, HOT_PULL * pull, pull)
    return hot


def inflow(members: Members, around: Surroundings) -> tuple[Array, Array]:
    """True argon flow and air drawn in, each member's own [l/min]."""
    if around.flow_l_min is None:
        shown = around.last_flow_l_min * members.holds
    else:
        shown = np.full_like(members.meter, around.flow_l_min)
    flow = np.maximum(shown, 0.0) * members.meter
    sweeping = flow
    if around.flow_l_min is not None and around.sweeping_l_min is not None:
        sweeping = around.sweeping_l_min * members.meter
    return flow, air_drawn_l_min(members, sweeping, around)


def step(members: Members, around: Surroundings, dt_s: float) -> None:
    """Move every member on by ``dt_s``, at most ``STEP_S`` seconds, in place."""
    flow, drawn = inflow(members, around)
    passed_l = flow * dt_s / 60.0
    air_l = np.minimum(passed_l, members.hose_l)
    members.hose_l -= air_l
    idle = passed_l <= 0
    refill = around.hose_volume_l * dt_s / HOSE_REFILL_S
    members.hose_l = np.where(
        idle, np.minimum(members.hose_l + refill, around.hose_volume_l), members.hose_l
    )
    air_share = air_l / np.maximum(passed_l, 1e-12)
    feed = members.feed_ppm + members.entrained * (AIR_OXYGEN_PPM - members.feed_ppm)
    arriving = feed + air_share * (AIR_OXYGEN_PPM - feed)
    by_argon, by_air = rates_per_s(members, flow, drawn, around)
    total = np.maximum(by_argon + by_air, 1e-15)
    settle = (by_argon * arriving + by_air * AIR_OXYGEN_PPM) / total
    members.settle_ppm = settle
    members.oxygen_ppm = settle + (members.oxygen_ppm - settle) * np.exp(-total * dt_s)
    exchange(members, dt_s)


def steady_ppm(members: Members, around: Surroundings) -> Array:
    """Oxygen that would be left in the main room if this flow went on for ever [ppm]."""
    full = members.copy()
    full.oxygen_ppm = members.feed_ppm.copy()
    flow, drawn = inflow(full, around)
    by_argon, by_air = rates_per_s(full, flow, drawn, around)
    total = np.maximum(by_argon + by_air, 1e-15)
    feed = members.feed_ppm + members.entrained * (AIR_OXYGEN_PPM - members.feed_ppm)
    settled: Array = (by_argon * feed + by_air * AIR_OXYGEN_PPM) / total
    return settled


def rates_per_s(
    members: Members, flow_l_min: Array, drawn_l_min: Array, around: Surroundings
) -> tuple[Array, Array]:
    """How fast argon and air replace the gas of the main room [1/s].

    Litres are counted cold; hot gas is thin, so that fewer of them fill the room: V·T0/T, of which
    each member credits its own share; in a casting hot throughout no less than its walls surely
    give.
    """
    by_gas, by_wall = (
        _warmth(around.gas_temperature_c) - 1.0,
        _warmth(around.wall_temperature_c) - 1,
    )
    measured = around.gas_temperature_c is not None
    thinner = members.expands * (by_gas if measured else WALL_CREDIT * by_wall)
    if around.wall_throughout:
        surely = least_warmed(members.volume_l, flow_l_min) * by_wall
        thinner = np.maximum(thinner, np.minimum(surely, by_gas) if measured else surely)
    holds_l = members.volume_l * (1.0 - members.dead_share)
    holds_l = holds_l / (1.0 + thinner)
    return members.mixing * flow_l_min / holds_l / 60.0, drawn_l_min / holds_l / 60.0


def exchange(members: Members, dt_s: float) -> None:
    """Let the dead leg and the main room exchange gas, exactly, for ``dt_s`` [s]."""
    share = members.dead_share
    if not share.any():
        return
    mean = share * members.dead_ppm + (1 - share) * members.oxygen_ppm
    fade = np.exp(-members.dead_rate_per_s * dt_s / (1 - share))
    gap = (members.dead_ppm - members.oxygen_ppm) * fade
    members.dead_ppm = mean + (1 - share) * gap
    members.oxygen_ppm = mean - share * gap
