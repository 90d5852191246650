"""The simulated cavity: a hose, a main space and a dead leg, filled with air at first.

Oxygen shares are volume fractions. The hose pushes its content ahead of it (plug flow). The
main space is stirred; the dead leg exchanges gas with it at a share of the flow. Air comes in
through the open joint, the less the harder the argon blows out. Own equations, shared with
nothing in the service::

    V1 dC1/dt = Q (Cin - C1) + x Q (C2 - C1) + B (C2 - C1) + L (Cair - C1)
    V2 dC2/dt = (x Q + B) (C1 - C2)

with Q the flow, L = L0 exp(-Q/Q0) the air coming in and B slow mixing without flow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

AIR = 0.2095
"""Oxygen in dry air [1]; 209 500 ppm."""

STEP_S = 0.1


@dataclass(slots=True)
class Cavity:
    """Gas in one casting and its hose.

    Attributes:
        volume_l: Cold volume [l].
        hose_l: Hose between meter and cavity [l].
        feed: Oxygen in the bottle's argon [1]; 5 ppm is common welding argon.
        dead_share: Share of the volume in the dead leg.
        dead_exchange: x above.
        air_in_l_min: L0, air coming in with no flow [l/min].
        main: Oxygen in the main space [1].
        dead: Oxygen in the dead leg [1].
        hose_pushed_l: How much argon has gone into the hose since it held air [l].
    """

    volume_l: float
    hose_l: float = 0.0
    feed: float = 5e-6
    dead_share: float = 0.15
    dead_exchange: float = 0.4
    air_in_l_min: float = 0.5
    main: float = AIR
    dead: float = AIR
    hose_pushed_l: float = field(default=0.0)

    def advance(self, seconds: float, flow_l_min: float) -> None:
        """Let ``seconds`` pass at a flow [l/min] that does not change meanwhile."""
        while seconds > 0:
            step_s = min(STEP_S, seconds)
            self._step(step_s / 60.0, flow_l_min)
            seconds -= step_s

    def open_to_air(self) -> None:
        """The cavity is opened: full of air again, hose as well."""
        self.main = self.dead = AIR
        self.hose_pushed_l = 0.0

    def _step(self, minutes: float, flow_l_min: float) -> None:
        arriving = self.feed if self.hose_pushed_l >= self.hose_l else AIR
        self.hose_pushed_l += flow_l_min * minutes
        main_l = self.volume_l * (1 - self.dead_share)
        dead_l = self.volume_l * self.dead_share
        exchange = self.dead_exchange * flow_l_min + 0.05 if dead_l > 0 else 0.0
        air_in = self.air_in_l_min * math.exp(-flow_l_min / 1.5)
        # Exact for constant coefficients of each space by itself, so no step can overshoot.
        inflow = flow_l_min + exchange + air_in
        if inflow == 0:
            return
        target = (flow_l_min * arriving + exchange * self.dead + air_in * AIR) / inflow
        main = target + (self.main - target) * math.exp(-inflow * minutes / main_l)
        if dead_l > 0:
            mean = (self.main + main) / 2
            self.dead = mean + (self.dead - mean) * math.exp(-exchange * minutes / dead_l)
        self.main = main
