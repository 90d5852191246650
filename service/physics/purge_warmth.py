"""How warm the gas in a hot cavity surely is, so that its thinness can be counted.

Argon comes in cold and is stirred into a cavity with hot walls: ṁ·cp·(T − T_in) = h·A·(T_wall − T),
so that of the wall's excess over the argon the gas has NTU/(1 + NTU), NTU = h·A/(ṁ·cp). Nobody
knows the inner surface, but none is smaller than a sphere's of the same volume.

Source: balance of a stirred vessel with a heated wall (any text on heat exchangers, effectiveness
and number of transfer units); isoperimetric inequality for the surface.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from service.physics.gas import ARGON, REFERENCE_C, density_kg_m3

Array = NDArray[np.float64]

STIRRED_W_M2_K = 3.0
"""Heat transfer from the wall to the gas [W/(m²·K)], at the least: about two thirds of natural
convection in a cavity 0.1 m across; the jet of argon only adds to it [judgement]."""

SPHERE = (36.0 * np.pi) ** (1.0 / 3.0)
"""Surface of a sphere over its volume to the power 2/3 [1]."""


def least_warmed(volume_l: Array, argon_flow_l_min: Array) -> Array:
    """Share of the wall's excess over the shop that the gas has on average, at the least [1].

    Args:
        volume_l: Cavities [l], above 0, any shape.
        argon_flow_l_min: Argon that flows in [l/min at 20 °C, 1 atm], 0 or more, same shape.

    Returns:
        0 to 1, same shape; 1 without flow.
    """
    surface_m2 = SPHERE * (volume_l / 1000.0) ** (2.0 / 3.0)
    kg_s = density_kg_m3(ARGON, REFERENCE_C) * np.maximum(argon_flow_l_min, 0.0) / 60_000.0
    walls_w_k = STIRRED_W_M2_K * surface_m2
    share: Array = walls_w_k / (walls_w_k + kg_s * ARGON.heat_capacity_j_per_kg_k)
    return share
