"""How much of the joint is still open: the main leak of a purged cavity, which welding closes.

Nobody tells how long the joint is or which bead is the last, so what has surely been closed is
counted: the arc's time at a slow hand's speed, once for each layer the wall needs, against all the
joints a manifold has. The rest counts as open, until the part goes under its cover: by then the
joint is welded. All figures are common practice, no source.
"""

from __future__ import annotations

import math

from service.judge.shop import Heat, Part
from service.judge.trip import WeldPass

SLOWEST_MM_S = 0.8
"""Travel of a slow hand with TIG on thin wall [mm/s]; 1 to 2.5 is usual."""
JOINTS_MM = 1500.0
"""Four tubes of 114 mm, all that is ever welded under one purge [mm]."""
LAYER_MM = 2.5
"""What one layer fills [mm]."""
TAPPED_SHARE = 0.5
"""Share of a pass's time that the arc burns where no channel watches it [1]."""


def open_share(heat: Heat, part: Part) -> float:
    """Share of the joint that may still be open [1]: 1 before the first bead, 0 once covered.

    A wall that is not known may need any number of layers: the joint counts as open in full.
    """
    if heat.phase == "slow cool" and heat.passes > heat.tacks and not heat.pass_running:
        return 0.0
    if part.joint_wall_mm is None:
        return 1.0
    layers = max(1, math.ceil(part.joint_wall_mm / LAYER_MM))
    arc_s = sum(_arc_s(weld) for weld in heat.welds)
    return max(0.0, 1.0 - arc_s * SLOWEST_MM_S / layers / JOINTS_MM)


def _arc_s(weld: WeldPass) -> float:
    """How long the arc surely laid metal in a pass that has ended [s]; a tack closes nothing."""
    if weld.ended_us is None or weld.tack:
        return 0.0
    if weld.arc_us is not None:
        return weld.arc_us / 1e6
    return TAPPED_SHARE * (weld.ended_us - weld.began_us) / 1e6
