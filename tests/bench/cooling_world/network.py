"""Thermal networks, many cases side by side.

Every case has the same twelve casting/tube nodes, three bench nodes and two blanket nodes; those
a case does not use have no area and no links. Arrays have the case on the first axis.

Properties: steel and stainless c(T) after EN 1993-1-2; iron c(T) a cubic through 460 at 20 °C,
545 at 300 °C, 680 at 600 °C (from memory); air at film temperature by power laws good to 2 %
between 300 and 900 K (from memory); natural convection by Churchill & Chu's horizontal cylinder.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SIGMA = 5.670374419e-8
BODY, TUBE, BENCH, BLANKET = slice(0, 8), slice(8, 12), slice(12, 15), slice(15, 17)
NODES = 17
IRON, STEEL, STAINLESS = 0, 1, 2


def heat_capacity(kind, t):
    t = np.clip(t, 0.0, 690.0)
    iron = 455 + 0.25 * t + 1.0e-4 * t**2 + 1.9e-7 * t**3
    steel = 425 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3
    stainless = 450 + 0.28 * t - 2.91e-4 * t**2 + 1.34e-7 * t**3
    return np.choose(kind, [iron, steel, stainless])


def convection(size_m, t, air):
    """Churchill & Chu, horizontal cylinder [W/(m²K)]."""
    film = np.clip(0.5 * (t + air) + 273.15, 280.0, 1000.0)
    k = 0.0263 * (film / 300) ** 0.80
    nu = 15.9e-6 * (film / 300) ** 1.70
    ra = 9.81 / film * np.abs(t - air) * size_m**3 / nu**2 * 0.70
    return (0.60 + 0.321 * np.maximum(ra, 1e-3) ** (1 / 6)) ** 2 * k / size_m


@dataclass
class Network:
    """Parameters of ``cases`` networks; see the module for shapes."""

    mass: np.ndarray  # (n, NODES) kg
    kind: np.ndarray  # (n, NODES) IRON, STEEL, STAINLESS
    area: np.ndarray  # (n, NODES) m², open to the air
    size: np.ndarray  # (n, NODES) m, for convection
    emissivity: np.ndarray  # (n, NODES) at 300 °C
    emissivity_slope: np.ndarray  # (n, NODES) per K
    link: np.ndarray  # (n, NODES, NODES) W/K, symmetric, at 300 °C
    link_slope: np.ndarray  # (n,) relative per K
    start: np.ndarray  # (n, NODES) °C

    def capacity(self, t):
        return np.maximum(self.mass * heat_capacity(self.kind, t), 1e-6)


def step(net: Network, t, air, extra, dt):
    """One explicit step.

    ``extra`` holds this moment's (n,)-shaped or (n, NODES)-shaped modifiers: ``draught`` adds to
    the convection coefficient, ``cover`` 0…1 shuts the open area off and opens the blanket's,
    ``contact`` scales the links to the bench, ``argon`` is a heat-capacity flow by node [W/K],
    ``torch`` a power by node [W].
    """
    h = convection(net.size, t, air[:, None]) + extra["draught"][:, None]
    eps = np.clip(net.emissivity + net.emissivity_slope * (t - 300), 0.05, 0.98)
    around = air[:, None] + 273.15
    loss = net.area * (h * (t - air[:, None]) + eps * SIGMA * ((t + 273.15) ** 4 - around**4))
    opened = np.ones_like(t)
    opened[:, 0:12] = 1 - extra["cover"][:, None]
    opened[:, BLANKET] = extra["cover"][:, None]
    loss = loss * opened
    scale = 1 + net.link_slope[:, None, None] * (0.5 * (t[:, :, None] + t[:, None, :]) - 300)
    link = net.link * np.clip(scale, 0.4, 1.8)
    link[:, 0:12, BENCH] *= extra["contact"][:, None, None]
    link[:, BENCH, 0:12] *= extra["contact"][:, None, None]
    link[:, 0:12, BLANKET] *= extra["cover"][:, None, None]
    link[:, BLANKET, 0:12] *= extra["cover"][:, None, None]
    between = np.einsum("nij,nj->ni", link, t) - link.sum(axis=2) * t
    argon = extra["argon"] * (t - air[:, None])
    return t + dt * (between - loss - argon + extra["torch"]) / net.capacity(t)
