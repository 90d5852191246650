"""A made-up shop for the judge's campaign: what really is, and what the channels say of it.

The physics is plain on purpose and not the product's: a lump that loses heat by a power law, a
cavity that is mixed at once, sensors with a lag. Figures are common practice, no source, unless a
line says otherwise.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

AIR_PPM = 209_500.0
ROOM_C = 20.0
BARE_K_S_AT_350 = 0.41
"""24.5 K/min: a bare casting at 350 °C (own calculation)."""

PROBE_FAULTS = ("open-circuit", "silent", "frozen", "zeros", "spikes", "off")
MISLEADING = ("frozen", "spikes", "off")
"""Faults in which a plausible number is not the metal's."""
FROZEN_BLIND_S = 100.0
"""A frozen probe is only known after 90 s on the bench; until then it may mislead."""
MOST_JITTER = 1.2
"""An interval is at most so much longer than it should be."""
METER_FAULTS = ("silent", "out-of-range")
ARC_A = 90.0
"""Current of a pass on tube."""


@dataclass
class Casting:
    """One part as it is. ``place``: oven, carry, bench or cover."""

    rng: random.Random
    volume_l: float
    temperature_c: float = ROOM_C
    place: str = "oven"
    oven_c: float = 340.0
    arc: bool = False
    valve_l_min: float = 0.0
    kinked: bool = False
    oxygen_ppm: float = AIR_PPM
    no_flow_s: float = 0.0

    @property
    def flow_l_min(self) -> float:
        return 0.0 if self.kinked else self.valve_l_min

    def second(self) -> None:
        """One second passes."""
        if self.place == "oven":
            self.temperature_c += (self.oven_c - self.temperature_c) / 300.0
        else:
            excess = max(0.0, self.temperature_c - ROOM_C) / 330.0
            loss_k = BARE_K_S_AT_350 * excess**1.3
            self.temperature_c -= 0.08 * loss_k if self.place == "cover" else loss_k
        if self.arc:
            self.temperature_c += 0.8
        flow_l_s = self.flow_l_min / 60.0
        self.no_flow_s = 0.0 if flow_l_s > 0.0 else self.no_flow_s + 1.0
        leak_l_s = 0.0 if flow_l_s > 0.02 else 0.004
        self.oxygen_ppm += flow_l_s / self.volume_l * (3.0 - self.oxygen_ppm)
        self.oxygen_ppm += leak_l_s / self.volume_l * (AIR_PPM - self.oxygen_ppm)
        self.oxygen_ppm = max(3.0, self.oxygen_ppm)


@dataclass
class Sensor:
    """One channel: a lagging value of one casting, sent every ``interval_s``, and its fault.

    Attributes:
        what: ``probe``, ``flow``, ``oxygen`` or ``arc``.
        attached: A probe sits on the part; else it hangs in air.
        left_behind: Unplugged for the carry, and no good reading has come since.
        shown: The sensor's own value, after its lag.
        timed: It sends its own times, off by ``skew_s``.
        off_true_k: Its own error, which a calibration takes off [K].
        hung_until_s: It hung in the air beside a part as cold as that, and has been put back: only
            its second reading shows that it is on its way to something else.
    """

    name: str
    what: str
    casting: Casting
    rng: random.Random
    lag_s: float
    interval_s: float
    timed: bool = False
    skew_s: float = 0.0
    attached: bool = True
    plugged: bool = True
    left_behind: bool = False
    shown: float = ROOM_C
    fault: str | None = None
    fault_until_s: float = 0.0
    frozen: float = 0.0
    next_s: float = 0.0
    misleads_until_s: float = -1.0
    off_true_k: float = 0.0
    hung_until_s: float = -1.0
    hangs: bool = False

    def true(self) -> float:
        """What it would read without lag, noise and fault."""
        if self.what == "flow":
            return self.casting.flow_l_min
        if self.what == "oxygen":
            return self.casting.oxygen_ppm
        if self.what == "arc":
            return ARC_A if self.casting.arc else 0.0
        return self.casting.temperature_c if self.attached else ROOM_C

    def second(self, t_s: float) -> None:
        """One second passes at ``t_s``."""
        target = self.true()
        if self.fault == "off" and self.what == "probe":
            target = ROOM_C
        self.shown += (target - self.shown) / max(1.0, self.lag_s)
        if self.fault is not None and t_s >= self.fault_until_s:
            if self.fault == "off":
                self.hung_until_s = t_s + 2 * self.interval_s
            self.fault = None
        self.hangs = t_s <= self.hung_until_s

    @property
    def off_k(self) -> float:
        """How far its value is from the metal, where no fault misleads [K]."""
        if self.what != "probe" or self.fault in MISLEADING or self.hangs:
            return 0.0
        return abs(self.shown - self.casting.temperature_c)

    def break_down(self, t_s: float, fault: str, seconds: float) -> None:
        self.fault, self.fault_until_s, self.frozen = fault, t_s + seconds, self.reading()
        if fault == "frozen":
            self.misleads_until_s = t_s + min(seconds, FROZEN_BLIND_S) + 3 * self.interval_s

    def reading(self) -> float:
        """The number that the instrument would send now."""
        if self.what == "flow":
            noisy = self.shown * self.rng.gauss(1.0, 0.01) if self.shown > 0.05 else 0.0
            return round(max(0.0, noisy), 2)
        if self.what == "oxygen":
            return round(max(0.0, self.shown * self.rng.gauss(1.0, 0.02)), 1)
        if self.what == "arc":
            return round(self.true() + self.rng.gauss(0.0, 1.0), 1)
        return round(4 * (self.shown + self.off_true_k + self.rng.gauss(0.0, 0.2))) / 4

    def sends(self, t_s: float) -> float | str | None:
        """What arrives at ``t_s``: a number, a fault's name, or nothing."""
        if t_s < self.next_s or self.fault == "silent":
            return None
        self.next_s = t_s + self.interval_s * self.rng.uniform(0.8, MOST_JITTER)
        if self.what == "probe" and not self.plugged:
            return "open-circuit"
        if self.fault in ("open-circuit", "out-of-range"):
            return self.fault
        if self.fault == "zeros":
            return 0.0
        if self.fault == "frozen":
            return self.frozen
        if self.fault == "spikes":
            return self.reading() + self.rng.choice([0.0, 180.0, -150.0, 400.0])
        return self.reading()


@dataclass
class Node:
    """What loses its supply together."""

    sensors: list[Sensor] = field(default_factory=list)

    def reset(self, t_s: float, seconds: float) -> None:
        for sensor in self.sensors:
            sensor.break_down(t_s, "silent", seconds)
