"""The simulated instruments: what a probe, a flow meter and an oxygen cell make of the truth."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

OPEN_CIRCUIT = "open-circuit"


@dataclass(slots=True)
class Thermocouple:
    """A probe behind a converter chip of 0.25 °C steps.

    Attributes:
        lag_s: Time constant of the junction on the metal [s].
        offset_c: Its lasting error [K], within class 1 of IEC 60584.
        noise_c: Standard deviation of one conversion [K].
        junction_c: Where the junction is [°C].
        connected: Plugged in; an unplugged one reads open.
        broken: The junction has parted; reads open until replaced.
    """

    lag_s: float = 3.0
    offset_c: float = 0.0
    noise_c: float = 0.2
    junction_c: float = 21.0
    connected: bool = True
    broken: bool = False

    def advance(self, seconds: float, metal_c: float) -> None:
        """Follow the metal for ``seconds``."""
        share = math.exp(-seconds / self.lag_s)
        self.junction_c = metal_c + (self.junction_c - metal_c) * share

    def clamp_on(self, cold_c: float) -> None:
        """A cold probe is clamped on and plugged in."""
        self.junction_c = cold_c
        self.connected = True

    def convert(self, chance: random.Random, arc_on: bool = False) -> float | str:
        """One conversion [°C], or the fault in words; an arc next to it adds noise."""
        if self.broken or not self.connected:
            return OPEN_CIRCUIT
        noise_c = self.noise_c * (4.0 if arc_on else 1.0)
        raw_c = self.junction_c + self.offset_c + chance.gauss(0.0, noise_c)
        return round(raw_c * 4) / 4


@dataclass(slots=True)
class FlowMeter:
    """A thermal mass flow meter scaled for argon.

    Attributes:
        gain: Reading over truth.
        noise_l_min: Standard deviation [l/min].
    """

    gain: float = 1.01
    noise_l_min: float = 0.04

    def convert(self, flow_l_min: float, chance: random.Random) -> float:
        """One reading [l/min], never negative, in steps of 0.01."""
        raw = flow_l_min * self.gain + (chance.gauss(0.0, self.noise_l_min) if flow_l_min else 0.0)
        return max(0.0, round(raw, 2))


@dataclass(slots=True)
class OxygenCell:
    """An oxygen cell in the vent.

    Attributes:
        lag_s: Time constant of cell and sampling line [s].
        shown: Oxygen it shows, before noise [1].
    """

    lag_s: float = 6.0
    shown: float = 0.2095

    def advance(self, seconds: float, oxygen: float) -> None:
        """Follow the gas at the vent for ``seconds``."""
        self.shown = oxygen + (self.shown - oxygen) * math.exp(-seconds / self.lag_s)

    def convert(self, chance: random.Random) -> float:
        """One reading [ppm] with 2 % noise, not below 1."""
        return max(1.0, round(self.shown * 1e6 * (1 + chance.gauss(0.0, 0.02)), 0))


@dataclass(slots=True)
class CurrentClamp:
    """A clamp on the work lead of the welding source.

    Attributes:
        zero_a: What it shows with no current [A].
        noise_a: Standard deviation [A].
    """

    zero_a: float = 0.6
    noise_a: float = 0.3

    def convert(self, current_a: float, chance: random.Random) -> float:
        """One reading [A], in steps of 0.1."""
        return round(current_a * 1.01 + self.zero_a + chance.gauss(0.0, self.noise_a), 1)
