"""A casting's whole trip in the many-node world of ``tests/bench``, with its cavity and its oven.

None of the service's equations is in it: nodes with conduction, Churchill and Chu's convection and
grey radiation; a stirred cavity that argon washes out and air leaks into.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.bench.plan import BODY, NODES, network, step

DT_S = 0.5
JOINT = (6, 7)
AIR_C = 20.0
AIR_PPM = 209_500.0
OVEN_S = 120.0
"""The part follows the oven with this time constant."""
OVEN_OFF_BY_K = -6.0
"""The oven stands below its setting."""
CAVITY_L = 1.3
LEAK_L_MIN = 0.0008
CELL_S = 4.0


@dataclass
class Casting:
    """One part; ``place`` is oven, carry, bench or cover.

    Attributes:
        seed: Of its shape.
        shop: What one heat's shop is like: contact with the bench, draught there and on the way.
    """

    seed: int
    place: str = "oven"
    set_c: float = 20.0
    flow_l_min: float = 0.0
    arc_w: float = 0.0
    shop: tuple[float, float, float] = (0.5, 1.0, 4.0)
    ppm: float = AIR_PPM
    cell_ppm: float = AIR_PPM
    seconds: int = 0
    net: object = field(init=False)
    nodes: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self.net = network(np.random.default_rng(self.seed), 1)
        self.nodes = np.full((1, NODES), AIR_C)

    @property
    def mass_kg(self) -> float:
        return float(self.net.mass[0, BODY].sum())

    @property
    def area_m2(self) -> float:
        return float(self.net.area[0, BODY].sum())

    @property
    def joint_c(self) -> float:
        """The joint's coldest place, as it is."""
        return float(self.nodes[0, JOINT].min())

    def pass_time(self, seconds: float) -> None:
        contact, draught, carried = self.shop
        extra = {
            "draught": np.array([carried if self.place == "carry" else draught]),
            "cover": np.array([1.0 if self.place == "cover" else 0.0]),
            "contact": np.array([contact if self.place == "bench" else 0.0]),
            "argon": np.zeros((1, NODES)),
            "torch": np.zeros((1, NODES)),
        }
        extra["argon"][0, 4:12] = self.flow_l_min / 60_000 * 1.66 * 521.6 * 0.8 / 8
        extra["torch"][0, 7], extra["torch"][0, 6] = 0.6 * self.arc_w, 0.25 * self.arc_w
        air = np.array([AIR_C])
        for _ in range(round(seconds / DT_S)):
            if self.place == "oven":
                to_c = self.set_c + OVEN_OFF_BY_K
                self.nodes[0, :12] += (to_c - self.nodes[0, :12]) * DT_S / OVEN_S
            else:
                self.nodes = step(self.net, self.nodes, air, extra, DT_S)
            washed = self.flow_l_min / 60 * DT_S / CAVITY_L
            leaks = (LEAK_L_MIN if self.flow_l_min > 0 else 0.5) / 60 * DT_S / CAVITY_L
            self.ppm += leaks * (AIR_PPM - self.ppm) - washed * self.ppm
            self.cell_ppm += (self.ppm - self.cell_ppm) * DT_S / CELL_S
        self.seconds += round(seconds)

    def probe(self, node: int) -> float:
        wobble = ((self.seconds * 7919 + node) % 13 - 6) * 0.05
        return round((float(self.nodes[0, node]) + wobble) * 4) / 4
