"""An independent simulated purge: rooms, gaps, a hose and a sensor, stepped by brute force.

Nothing here is taken from ``service/physics``: gas moves as moles between rooms in steps of a
tenth of a second, the hose is a queue of parcels, openings are orifices whose flows are found from
the pressure that balances them, and the sensor is two lags and a delay in a row.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np

AIR = 0.2095
DT_S = 0.1


@dataclass
class Cavity:
    """The truth of one case. Volumes in litres, flows in l/min (cold), shares of 1."""

    volume_l: float
    rooms: int
    back_mixing: float
    """Gas exchanged between neighbouring rooms, per argon flow."""
    bypass: float
    """Share of the argon that leaves without mixing."""
    joint_room: int
    hose_l: float
    feed: float
    gap_low_cm2: float
    gap_high_cm2: float
    height_m: float
    draught_l_min: float
    """Air exchanged when the argon stands still."""
    entrained: float
    """Air dragged in with the argon through a leaky fitting, per flow."""
    dead_l: float = 0.0
    dead_exchange_l_min: float = 0.0
    joint_in_dead_leg: bool = False
    gas_c: float = 20.0
    meter: float = 1.0
    shares: np.ndarray = field(init=False)
    dead: float = field(init=False, default=AIR)
    hose: deque[list[float]] = field(init=False)

    def __post_init__(self) -> None:
        self.shares = np.full(self.rooms, AIR)
        self.hose = deque([[self.hose_l, AIR]]) if self.hose_l > 0 else deque()

    @property
    def joint_ppm(self) -> float:
        return 1e6 * (self.dead if self.joint_in_dead_leg else float(self.shares[self.joint_room]))

    @property
    def outlet_ppm(self) -> float:
        return 1e6 * float(self.shares[-1])

    def step(self, flow_l_min: float, argon_in: bool = True) -> None:
        """One ``DT_S`` with a true argon flow."""
        pushed = self._through_hose(flow_l_min * DT_S / 60.0)
        drawn = self._drawn_l_min(flow_l_min) * DT_S / 60.0
        # Cold litres that fill the room: hot gas is thin.
        room_l = self.volume_l / self.rooms * 293.15 / (self.gas_c + 273.15)
        litres = np.full(self.rooms, room_l)
        oxygen = self.shares * litres
        passing_l, passing_o = 0.0, 0.0
        for volume, share in pushed:
            passing_l += volume * (1 - self.bypass)
            passing_o += volume * (1 - self.bypass) * share
        # Air enters half at the inlet end and half at the joint's room.
        for room in (0, self.joint_room):
            oxygen[room] += drawn / 2 * AIR
            litres[room] += drawn / 2
        oxygen[0] += passing_o
        litres[0] += passing_l
        for room in range(self.rooms):
            surplus = litres[room] - room_l
            out = surplus * oxygen[room] / litres[room]
            oxygen[room] -= out
            litres[room] -= surplus
            if room + 1 < self.rooms:
                oxygen[room + 1] += out
                litres[room + 1] += surplus
        shares = oxygen / litres
        swap = min((self.back_mixing * flow_l_min + 0.05) * DT_S / 60.0 / room_l, 0.4)
        for room in range(self.rooms - 1):
            difference = swap * (shares[room + 1] - shares[room])
            shares[room] += difference
            shares[room + 1] -= difference
        if self.dead_l > 0:
            move = self.dead_exchange_l_min * DT_S / 60.0 * (self.dead - shares[self.joint_room])
            self.dead -= move / self.dead_l
            shares[self.joint_room] += move / room_l
        self.shares = shares

    def _through_hose(self, litres: float) -> list[tuple[float, float]]:
        if litres <= 0:
            return []
        share = (self.feed + self.entrained * AIR) / (1 + self.entrained)
        litres *= 1 + self.entrained
        if not self.hose:
            return [(litres, share)]
        self.hose.append([litres, share])
        out: list[tuple[float, float]] = []
        left = litres
        while left > 1e-12 and self.hose:
            front = self.hose[0]
            taken = min(front[0], left)
            out.append((taken, front[1]))
            front[0] -= taken
            left -= taken
            if front[0] <= 1e-12:
                self.hose.popleft()
        return out

    def _drawn_l_min(self, flow_l_min: float) -> float:
        still = self.draught_l_min * math.exp(-flow_l_min / 0.1)
        if min(self.gap_low_cm2, self.gap_high_cm2) <= 0:
            return still
        mean = float(self.shares.mean()) / AIR
        thin = 293.15 / (self.gas_c + 273.15)
        inside = thin * (1.204 * mean + 1.661 * (1 - mean))
        hot_flow = flow_l_min / thin / 60_000.0

        def through(gap_cm2: float, pressure: float) -> float:
            density = inside if pressure > 0 else 1.204
            speed = 0.6 * math.sqrt(2 * abs(pressure) / density)
            return math.copysign(gap_cm2 * 1e-4 * speed, pressure)

        # Excess pressure at the low gap that lets out what comes in.
        low, high = -50.0, 5000.0
        lift = (1.204 - inside) * 9.81 * self.height_m
        for _ in range(50):
            middle = (low + high) / 2
            total = through(self.gap_low_cm2, middle) + through(self.gap_high_cm2, middle + lift)
            low, high = (middle, high) if total < hot_flow else (low, middle)
        entering = -min(through(self.gap_low_cm2, middle), 0) - min(
            through(self.gap_high_cm2, middle + lift), 0
        )
        return still + entering * 60_000.0


@dataclass
class Cell:
    """An oxygen sensor on the outlet."""

    lag_s: float
    delay_s: float
    gain: float
    zero_ppm: float
    noise: float = 0.02
    top_ppm: float = 209_000.0
    first: float = 209_500.0
    second: float = 209_500.0
    line: deque[float] = field(default_factory=deque)

    def step(self, outlet_ppm: float) -> None:
        self.line.append(outlet_ppm)
        seen = self.line.popleft() if len(self.line) * DT_S > self.delay_s else 209_500.0
        self.first += DT_S / (0.8 * self.lag_s) * (seen - self.first)
        self.second += min(DT_S / (0.2 * self.lag_s), 1.0) * (self.first - self.second)

    def read(self, random: np.random.Generator) -> float:
        scatter = 1 + self.noise * random.standard_normal()
        shown = self.second * self.gain * scatter + self.zero_ppm + random.standard_normal()
        return round(min(max(shown, 0.0), self.top_ppm), 1)
