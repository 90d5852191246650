"""The ways in which a cooling regime may begin, as tables.

All figures are physical judgement, not fits to cases: how far a probe may depart from the slow
mode of its part, how much a blanket, a draught, a cold bench or purge gas can change the loss.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Regime:
    """One way in which a regime may begin.

    Attributes:
        tau_s: Decay time of the departure [s]; 0 = there is none.
        depart: Size of the departure and its spread, as shares of the height above the
            surroundings. Positive: what was put around the part takes up heat at first.
        scale: Factor on the cooling rate before, and its spread.
        share_sd: Spread added to the share.
        drift: Relative random walk of the scale per root second.
        weight: Prior weight among the regimes of one beginning.
        smooth: The probe's rate does not jump: the change reaches it through ``tau_s``, the lag
            of the sensor or of the metal between (a bench under the far legs, say).
        tau_sd: Spread of the decay time, of its natural log; 0.45 is a factor of 1.6 either way.
        share: Where the share begins; ``None``: as in the law before.
        off: The probe hangs in the air of the shop: what it heads for is not the part.
    """

    tau_s: float
    depart: tuple[float, float]
    scale: tuple[float, float]
    share_sd: float
    drift: float
    weight: float
    smooth: bool = False
    tau_sd: float = 0.45
    share: float | None = None
    off: bool = False


_NONE = (0.0, 0.0)
_SAME = (1.0, 0.8)
FIRST: tuple[Regime, ...] = (
    Regime(0.0, _NONE, (1.0, 1.0), 0.0, 0.0, 0.30),
    Regime(0.0, _NONE, (1.0, 1.0), 0.0, 3e-3, 0.15),
    Regime(6.0, _NONE, (1.0, 1.0), 0.0, 5e-4, 0.10, smooth=True),
    Regime(18.0, _NONE, (1.0, 1.0), 0.0, 5e-4, 0.10, smooth=True),
    Regime(18.0, (0.0, 0.03), (1.0, 1.0), 0.0, 5e-4, 0.05),
    Regime(75.0, (0.0, 0.06), (1.0, 1.0), 0.0, 5e-4, 0.20),
    Regime(300.0, (0.0, 0.10), (1.0, 1.0), 0.0, 5e-4, 0.20),
)
_COVERED, _FLAT = (0.11, 0.07), -0.25
_COVERS: tuple[Regime, ...] = (
    Regime(90.0, (0.02, 0.02), _COVERED, 0.25, 1e-3, 0.4, share=_FLAT),
    Regime(250.0, (0.05, 0.03), _COVERED, 0.25, 1e-3, 0.6, share=_FLAT),
)
"""Under 25 to 50 mm of fibre (0.06 to 0.12 W/(m·K), film outside) 1.5 to 4 W/(m²·K) are left of
20 to 30 bare, and the loss goes with the difference itself: a share of -0.25 at 300 °C. The fibre
(3 to 5 kg/m²) takes up 2 to 8 % of the heat of 5 to 10 mm of iron while it warms up."""
CHANGED: tuple[Regime, ...] = (
    Regime(0.0, _NONE, (1.0, 0.2), 0.05, 3e-3, 0.10),
    Regime(0.0, _NONE, _SAME, 0.25, 1e-3, 0.15),
    Regime(8.0, _NONE, _SAME, 0.25, 1e-3, 0.20, smooth=True),
    Regime(40.0, _NONE, (1.0, 0.5), 0.20, 1e-3, 0.12, smooth=True),
    Regime(150.0, _NONE, (1.0, 0.5), 0.20, 1e-3, 0.12, smooth=True),
    Regime(60.0, (0.015, 0.04), _SAME, 0.25, 1e-3, 0.07),
    Regime(200.0, (0.03, 0.06), _SAME, 0.25, 1e-3, 0.07),
    *(replace(r, weight=0.1 * r.weight) for r in _COVERS),
)
_FASTER, _SLOWER = (1.5, 0.7), (0.6, 0.4)
FASTER: tuple[Regime, ...] = (
    Regime(0.0, _NONE, _FASTER, 0.25, 1e-3, 0.15),
    Regime(8.0, _NONE, _FASTER, 0.25, 1e-3, 0.25, smooth=True),
    Regime(40.0, _NONE, _FASTER, 0.25, 1e-3, 0.20, smooth=True),
    Regime(150.0, _NONE, _FASTER, 0.25, 1e-3, 0.15, smooth=True),
    Regime(30.0, (0.02, 0.04), _FASTER, 0.25, 1e-3, 0.15),
    Regime(120.0, (0.03, 0.05), _FASTER, 0.25, 1e-3, 0.10),
)
"""Out of the oven, onto cold steel, uncovered, gas on."""
SLOWER: tuple[Regime, ...] = (
    Regime(0.0, _NONE, _SLOWER, 0.25, 1e-3, 0.15),
    Regime(8.0, _NONE, _SLOWER, 0.25, 1e-3, 0.20, smooth=True),
    Regime(60.0, _NONE, _SLOWER, 0.25, 1e-3, 0.15, smooth=True),
    Regime(60.0, (0.02, 0.03), (0.25, 0.2), 0.45, 1e-3, 0.15),
    *(replace(r, weight=0.35 * r.weight) for r in _COVERS),
)
"""Covered, gas off."""
SILENT: tuple[Regime, ...] = (
    Regime(0.0, _NONE, (1.0, 0.4), 0.10, 3e-3, 0.35),
    Regime(0.0, _NONE, (2.5, 1.5), 0.25, 3e-3, 0.40),
    Regime(200.0, (0.0, 0.05), (0.3, 0.3), 0.45, 1e-3, 0.25),
)
"""While nothing was read: carried, set down on cold steel, covered, or nothing at all."""
HEATING: tuple[Regime, ...] = (
    Regime(0.0, _NONE, _SAME, 0.25, 1e-3, 0.35),
    Regime(0.0, _NONE, _SAME, 0.25, 3e-3, 0.35),
    Regime(60.0, _NONE, _SAME, 0.25, 1e-3, 0.30, smooth=True),
)
"""In an oven, whatever it was doing before."""
GAS_ON: tuple[Regime, ...] = (
    Regime(8.0, _NONE, (1.03, 0.05), 0.0, 1e-3, 0.45, smooth=True),
    Regime(40.0, _NONE, (1.1, 0.1), 0.05, 1e-3, 0.30, smooth=True),
    Regime(8.0, _NONE, (1.6, 0.5), 0.20, 1e-3, 0.25, smooth=True),
)
"""Argon takes 3 % of a bare casting's loss, far more from a thin elbow next to the inlet."""
GAS_OFF: tuple[Regime, ...] = (
    Regime(8.0, _NONE, (0.97, 0.05), 0.0, 1e-3, 0.45, smooth=True),
    Regime(40.0, _NONE, (0.9, 0.1), 0.05, 1e-3, 0.30, smooth=True),
    Regime(8.0, _NONE, (0.65, 0.25), 0.20, 1e-3, 0.25, smooth=True),
)
AS_BEFORE: tuple[Regime, ...] = (
    Regime(12.0, (0.0, 0.05), (1.0, 0.2), 0.05, 1e-3, 0.35),
    Regime(45.0, (0.01, 0.08), (1.0, 0.2), 0.05, 1e-3, 0.40),
    Regime(150.0, (0.01, 0.08), (1.0, 0.2), 0.05, 1e-3, 0.25),
)
"""The change is over (arc out, door shut, gas off): the law of before, after some equalising."""
_KEPT = (1.0, 0.15)
_WARMING_S = (2.5, 4.5, 8.0, 14.0, 24.0)
"""How fast probes follow: 2 to 20 s is usual. Each of these holds to the next: a departure of
200 K leaves no room for a wide guess."""
JUMPED: tuple[Regime, ...] = (
    *(Regime(s, (0.0, 1.0), _KEPT, 0.1, 1e-3, 0.09, tau_sd=0.25) for s in _WARMING_S),
    *(Regime(s, (0.0, 1.0), _SAME, 0.25, 1e-3, 0.07, tau_sd=0.25) for s in _WARMING_S),
    Regime(0.0, _NONE, _SAME, 0.25, 1e-3, 0.12),
    *(Regime(s, (0.0, 1.0), (0.0, 0.0), 0.0, 0.0, 0.03, tau_sd=0.5, off=True) for s in (5.0, 20.0)),
)
"""The probe suddenly reads something else: cold and warming up to the part, moved to another
place, or slipped off into the air."""
