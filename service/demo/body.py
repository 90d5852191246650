"""The simulated casting: two lumps of iron that really cool, on their own equations.

This is the demo's nature, not the service's model: it knows nothing of ``service.physics`` and
shares no code with it, so that what the judge says about it is a forecast and not an echo.

A casting is a body and, next to the joint, a smaller lump. Each keeps the balance ::

    m c(T) dT/dt = -A [C |T-Ta|^0.25 (T-Ta) + eps sigma (T^4 - Ts^4)]   in the open or in the oven
                   -A U (T-Ta)                                          under the blanket
                   +- G (T_body - T_joint)                              between the two
                   - K (T - T_bench)                                    standing on steel
                   - eff m_argon c_argon (T - T_gas)                    argon through the cavity
                   + share of the arc                                   welding

and the steel it stands on warms up with it. Integrated by the classical fourth-order
Runge-Kutta rule at a fixed step.

Sources: natural convection h = C |dT|^(1/4) as in laminar textbook correlations, C chosen
against the Churchill-Chu figures for a 50 mm cylinder (compared in the tests); Stefan-Boltzmann
constant CODATA 2018; heat capacity of iron a line through about 456 J/(kg K) at 20 °C and
546 at 300 (handbook value for grey iron at 20 °C; the slope from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

STEFAN_BOLTZMANN = 5.670374419e-8
"""[W/(m² K⁴)], CODATA 2018."""

ZERO_C_IN_K = 273.15
ARGON_DENSITY_G_L = 1.66182
"""Argon at 20 °C and 101.325 kPa [g/l], CoolProp 8.0.0."""
ARGON_HEAT_CAPACITY = 521.6
"""Argon at constant pressure, 20 °C [J/(kg K)], CoolProp 8.0.0."""

STEP_S = 0.25
"""Integration step [s]; the fastest lump has a time constant of some 10 s."""

Place = Literal["oven", "carry", "bench", "covered"]
Temperatures = tuple[float, float, float]
"""Body, joint lump and the steel underneath [°C]."""


@dataclass(frozen=True, slots=True)
class Iron:
    """What a casting is made of and how it loses heat.

    Attributes:
        body_kg: Mass of the body [kg].
        joint_kg: Mass of the lump next to the joint [kg].
        body_m2: Outer surface of the body [m²].
        joint_m2: Outer surface of the lump [m²].
        emissivity: Total emissivity; 0.7 to 0.8 for an oxidised casting.
        convection: C above [W/(m² K^1.25)].
        bridge_w_k: Conductance between body and lump, G [W/K].
        capacity_j_kg_k: c(0 °C) [J/(kg K)].
        capacity_slope: dc/dT [J/(kg K²)].
    """

    body_kg: float
    joint_kg: float
    body_m2: float
    joint_m2: float
    emissivity: float = 0.75
    convection: float = 2.2
    bridge_w_k: float = 12.0
    capacity_j_kg_k: float = 450.0
    capacity_slope: float = 0.32

    def capacity(self, temperature_c: float) -> float:
        """Heat capacity [J/(kg K)]."""
        return self.capacity_j_kg_k + self.capacity_slope * temperature_c


@dataclass(frozen=True, slots=True)
class Around:
    """What surrounds a casting at one moment.

    Attributes:
        place: Where it is.
        air_c: Air and walls around it [°C]; inside the oven, the oven's.
        argon_l_min: Argon through the cavity [l/min at 20 °C].
        arc_w: Arc power going into the work [W].
    """

    place: Place
    air_c: float
    argon_l_min: float = 0.0
    arc_w: float = 0.0


OVEN_CONVECTION_W_M2_K = 15.0
"""Fan oven; assumed."""
BLANKET_W_M2_K = 2.8
"""25 mm of ceramic fibre at 0.07 W/(m K)."""
BENCH_CONTACT_W_K = 0.25
"""Casting to bench plate through a few points; assumed."""
BENCH_J_K = 1500.0
"""The warm patch of plate, some 3 kg of steel; assumed."""
BENCH_LOSS_W_K = 1.5
"""From the patch to the rest of the bench; assumed."""
ARGON_EFFECTIVENESS = 0.7
"""How far the argon comes up to the metal's temperature; assumed."""
ARC_TO_JOINT = 0.8
"""Share of the arc's heat that goes into the lump first; assumed."""


class Casting:
    """A casting with its temperatures.

    Args:
        iron: What it is made of.
        start_c: Even temperature at the start [°C].
        air_c: Temperature of the bench at the start [°C].
    """

    def __init__(self, iron: Iron, start_c: float, air_c: float = 21.0) -> None:
        self.iron = iron
        self.temperatures: Temperatures = (start_c, start_c, air_c)

    @property
    def body_c(self) -> float:
        """The body [°C]."""
        return self.temperatures[0]

    @property
    def joint_c(self) -> float:
        """Next to the joint [°C]."""
        return self.temperatures[1]

    def advance(self, seconds: float, around: Around) -> None:
        """Let ``seconds`` pass in unchanged surroundings."""
        while seconds > 0:
            step_s = min(STEP_S, seconds)
            self.temperatures = _runge_kutta(
                lambda now: self._rates(now, around), self.temperatures, step_s
            )
            seconds -= step_s

    def _rates(self, now: Temperatures, around: Around) -> Temperatures:
        """Time derivatives [K/s]."""
        iron = self.iron
        body_c, joint_c, bench_c = now
        bridge_w = iron.bridge_w_k * (body_c - joint_c)
        on_bench = around.place in ("bench", "covered")
        contact_w = BENCH_CONTACT_W_K * (body_c - bench_c) if on_bench else 0.0
        body_w = -bridge_w - contact_w - self._loss_w(body_c, iron.body_m2, around)
        joint_w = bridge_w - self._loss_w(joint_c, iron.joint_m2, around)
        argon_w_k = around.argon_l_min * ARGON_DENSITY_G_L / 60_000 * ARGON_HEAT_CAPACITY
        argon_w_k *= ARGON_EFFECTIVENESS
        room_c = 21.0 if around.place == "oven" else around.air_c
        body_w -= 0.6 * argon_w_k * (body_c - room_c)
        joint_w -= 0.4 * argon_w_k * (joint_c - room_c)
        body_w += (1 - ARC_TO_JOINT) * around.arc_w
        joint_w += ARC_TO_JOINT * around.arc_w
        return (
            body_w / (iron.body_kg * iron.capacity(body_c)),
            joint_w / (iron.joint_kg * iron.capacity(joint_c)),
            (contact_w - BENCH_LOSS_W_K * (bench_c - room_c)) / BENCH_J_K,
        )

    def _loss_w(self, metal_c: float, area_m2: float, around: Around) -> float:
        """Heat leaving one lump through its surface [W]."""
        difference = metal_c - around.air_c
        if around.place == "covered":
            return area_m2 * BLANKET_W_M2_K * difference
        if around.place == "oven":
            film = OVEN_CONVECTION_W_M2_K
        else:
            film = self.iron.convection * abs(difference) ** 0.25
        metal_k, wall_k = metal_c + ZERO_C_IN_K, around.air_c + ZERO_C_IN_K
        radiated = self.iron.emissivity * STEFAN_BOLTZMANN * (metal_k**4 - wall_k**4)
        return area_m2 * (film * difference + radiated)


def _runge_kutta(
    rates: Callable[[Temperatures], Temperatures], now: Temperatures, step_s: float
) -> Temperatures:
    """One classical fourth-order step."""
    k1 = rates(now)
    k2 = rates(_along(now, k1, step_s / 2))
    k3 = rates(_along(now, k2, step_s / 2))
    k4 = rates(_along(now, k3, step_s))
    mean = tuple((a + 2 * b + 2 * c + d) / 6 for a, b, c, d in zip(k1, k2, k3, k4, strict=True))
    return _along(now, (mean[0], mean[1], mean[2]), step_s)


def _along(start: Temperatures, rates: Temperatures, seconds: float) -> Temperatures:
    return (
        start[0] + rates[0] * seconds,
        start[1] + rates[1] * seconds,
        start[2] + rates[2] * seconds,
    )
