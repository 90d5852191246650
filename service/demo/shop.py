"""The simulated shop: an oven, two bench places, two castings with probes and purge lines.

Thread-safe: one thread lets time pass and samples the instruments, another moves things about.
All times are shop seconds of whatever clock the caller reads.
"""

from __future__ import annotations

import math
import random
import threading
from dataclasses import dataclass, field

from service.demo.body import Around, Casting, Iron, Place
from service.demo.cavity import Cavity
from service.demo.instruments import CurrentClamp, FlowMeter, OxygenCell, Thermocouple

CHUNK_S = 0.5
"""Castings, gas and probes are advanced in turn in pieces of this length [s]."""

ARC_W = 1050.0
"""Arc heat into the work [W]: TIG, k 0.6 (EN 1011-1), 14 V, 125 A."""
ARC_A = 125.0


@dataclass(slots=True)
class Station:
    """One casting with everything attached to it.

    Attributes:
        casting: The iron.
        cavity: The gas in it.
        body_probe: Thermocouple on the flange.
        joint_probe: Thermocouple beside the joint.
        meter: Flow meter in its purge line.
        cell: Oxygen cell in its vent.
        place: Where the casting is.
        valve_l_min: Flow the regulator is set to [l/min].
        kinked: The hose is kinked: the valve is open and nothing flows.
        arc_on: Somebody is welding on it.
    """

    casting: Casting
    cavity: Cavity
    body_probe: Thermocouple
    joint_probe: Thermocouple
    meter: FlowMeter = field(default_factory=FlowMeter)
    cell: OxygenCell = field(default_factory=OxygenCell)
    place: Place = "oven"
    valve_l_min: float = 0.0
    kinked: bool = False
    arc_on: bool = False

    @property
    def flow_l_min(self) -> float:
        """What really flows [l/min at 20 °C]."""
        return 0.0 if self.kinked else self.valve_l_min

    def advance(self, seconds: float, oven_c: float, air_c: float) -> None:
        """Let ``seconds`` pass for iron, gas and instruments."""
        around = Around(
            place=self.place,
            air_c=oven_c if self.place == "oven" else air_c,
            argon_l_min=self.flow_l_min,
            arc_w=ARC_W if self.arc_on else 0.0,
        )
        self.casting.advance(seconds, around)
        self.cavity.advance(seconds, self.flow_l_min)
        self.cell.advance(seconds, self.cavity.main)
        self.body_probe.advance(seconds, self.casting.body_c)
        self.joint_probe.advance(seconds, self.casting.joint_c)


@dataclass(frozen=True, slots=True)
class Sample:
    """What one station's instruments read: numbers, or the fault in words."""

    body: float | str
    joint: float | str
    argon_l_min: float
    oxygen_ppm: float


class SimulatedShop:
    """Two castings in one oven.

    Args:
        now_s: Shop time at the start [s].
        seed: Of the instruments' noise; the same seed gives the same shop.
    """

    def __init__(self, now_s: float, seed: int = 7) -> None:
        self._lock = threading.Lock()
        self._now_s = now_s
        self._start_s = now_s
        self._chance = random.Random(seed)  # noqa: S311 - noise of instruments, not a secret
        self._clamp = CurrentClamp()
        self.oven_c = 332.0
        self._stations = {
            1: Station(
                Casting(Iron(body_kg=5.2, joint_kg=0.8, body_m2=0.110, joint_m2=0.020), 322.0),
                Cavity(volume_l=1.1, hose_l=0.3),
                Thermocouple(offset_c=0.6, junction_c=322.0),
                Thermocouple(offset_c=-0.4, junction_c=322.0),
            ),
            2: Station(
                Casting(Iron(body_kg=8.4, joint_kg=1.0, body_m2=0.160, joint_m2=0.026), 296.0),
                Cavity(volume_l=2.0, hose_l=0.4),
                Thermocouple(offset_c=0.3, junction_c=296.0),
                Thermocouple(offset_c=0.5, junction_c=296.0),
            ),
        }

    def advance_to(self, now_s: float) -> None:
        """Let time pass up to ``now_s``; a time in the past does nothing."""
        with self._lock:
            while self._now_s < now_s:
                step_s = min(CHUNK_S, now_s - self._now_s)
                for station in self._stations.values():
                    station.advance(step_s, self.oven_c, self._air_c())
                self._now_s += step_s

    def _air_c(self) -> float:
        """Shop air: 21 °C, breathing by half a degree in a quarter of an hour."""
        return 21.0 + 0.5 * math.sin((self._now_s - self._start_s) / 900 * 2 * math.pi)

    # What the instruments read -------------------------------------------------------------

    def sample(self, number: int) -> Sample:
        """One conversion of each instrument of a station."""
        with self._lock:
            station = self._stations[number]
            return Sample(
                body=station.body_probe.convert(self._chance),
                joint=station.joint_probe.convert(self._chance, station.arc_on),
                argon_l_min=station.meter.convert(station.flow_l_min, self._chance),
                oxygen_ppm=station.cell.convert(self._chance),
            )

    def sample_air_c(self) -> float:
        """The ambient sensor [°C], in steps of 0.1."""
        with self._lock:
            return round(self._air_c() + self._chance.gauss(0.0, 0.05), 1)

    def sample_arc_a(self) -> float:
        """The clamp on the work lead [A]; there is one welding source."""
        with self._lock:
            welding = any(station.arc_on for station in self._stations.values())
            return self._clamp.convert(ARC_A if welding else 0.0, self._chance)

    def sample_room_oxygen_percent(self) -> float:
        """The cell on the wall [% by volume], in steps of 0.1. A purge of 18 l/min moves the air
        of an aired shop by less than such a step, so it stays at 20.9."""
        with self._lock:
            return round(20.9 + self._chance.gauss(0.0, 0.03), 1)

    # The truth, for tests and for the teller of the story ----------------------------------

    def joint_c(self, number: int) -> float:
        """True temperature beside the joint [°C]."""
        with self._lock:
            return self._stations[number].casting.joint_c

    def oxygen_ppm(self, number: int) -> float:
        """True oxygen in the cavity [ppm]."""
        with self._lock:
            return self._stations[number].cavity.main * 1e6

    # What hands do -------------------------------------------------------------------------

    def unplug_and_carry(self, number: int) -> None:
        """Both probes unplugged, the casting lifted out of the oven."""
        with self._lock:
            station = self._stations[number]
            station.place = "carry"
            station.body_probe.connected = station.joint_probe.connected = False

    def set_down(self, number: int) -> None:
        """On the bench, ports stopped (air inside), cold probes clamped on and plugged in."""
        with self._lock:
            station = self._stations[number]
            station.place = "bench"
            station.cavity.open_to_air()
            for probe in (station.body_probe, station.joint_probe):
                probe.clamp_on(self._air_c())

    def cover(self, number: int) -> None:
        """Blanket on."""
        with self._lock:
            self._stations[number].place = "covered"

    def set_argon(self, number: int, flow_l_min: float) -> None:
        """Turn the regulator [l/min]."""
        with self._lock:
            self._stations[number].valve_l_min = flow_l_min

    def kink_hose(self, number: int, kinked: bool) -> None:
        """Step on the hose, or off it."""
        with self._lock:
            self._stations[number].kinked = kinked

    def arc(self, number: int, on: bool) -> None:
        """Strike or break the arc."""
        with self._lock:
            self._stations[number].arc_on = on

    def break_joint_probe(self, number: int, broken: bool) -> None:
        """The junction beside the joint parts, or is replaced by a cold probe."""
        with self._lock:
            probe = self._stations[number].joint_probe
            probe.broken = broken
            if not broken:
                probe.clamp_on(self._air_c())
