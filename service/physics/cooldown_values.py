"""What goes into the cooldown estimate and comes out of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Change = Literal[
    "left oven",
    "moved",
    "landed",
    "cover on",
    "cover off",
    "purge on",
    "purge off",
    "arc on",
    "arc off",
    "probe back",
    "into oven",
]


@dataclass(slots=True, frozen=True)
class PastLaw:
    """How a part lost heat in a past heat; a start for the next.

    Attributes:
        rate_k_s: Cooling rate at ``at_c`` [K/s], positive.
        at_c: Temperature it holds for [°C].
        radiative_share: How the rate falls with temperature: 1 radiation, 0 convection.
        around_c: Surroundings then [°C].
        low_c, high_c: Temperatures between which it is believed [°C].
    """

    rate_k_s: float
    at_c: float
    radiative_share: float
    around_c: float
    low_c: float = float("-inf")
    high_c: float = float("inf")

    def holds_at(self, temperature_c: float) -> bool:
        """Whether it was seen about there: beyond that it says nothing."""
        return self.low_c <= temperature_c <= self.high_c


@dataclass(frozen=True, slots=True)
class CooldownPrior:
    """What is known of the part before the first reading.

    Attributes:
        metal: Casting metal, see ``service.judge.actions.Metal``.
        mass_kg: Mass [kg], or ``None``.
        area_m2: Outer surface [m²], or ``None``.
        past: What its last heat taught (``Cooldown.learnt``), or ``None``.
    """

    metal: str = "iron, unknown"
    mass_kg: float | None = None
    area_m2: float | None = None
    past: PastLaw | None = None


@dataclass(frozen=True, slots=True)
class Rate:
    """Rate of change of the probe's temperature [°C/h], negative = cooling."""

    c_per_h: float
    sd_c_per_h: float


@dataclass(frozen=True, slots=True)
class Level:
    """Noise-free temperature of the probe [°C] and its standard deviation [K]."""

    temperature_c: float
    sd_k: float
