"""What a flow meter shows, as true argon litres.

A meter is right only for the gas, the pressure and the "standard litre" of its scale. This puts the
corrections of ``gas`` together for one meter, so that each is made once and in one place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from service.physics.gas import (
    AIR,
    ARGON,
    ATMOSPHERE_PA,
    CARBON_DIOXIDE,
    NITROGEN,
    REFERENCE_C,
    STANDARD_CONDITIONS,
    Gas,
    litres_at_reference,
    rotameter_factor,
    thermal_meter_factor,
)

Principle = Literal["argon", "float", "thermal"]
"""How it measures: "argon" shows true argon, "float" is a ball or float in a tube, "thermal" feels
the heat the gas carries away (a mass-flow meter)."""

SCALE_GASES: dict[str, Gas] = {gas.name: gas for gas in (ARGON, AIR, NITROGEN, CARBON_DIOXIDE)}
"""Gases a scale is printed for."""

LOWEST_FACTOR = 0.2
HIGHEST_FACTOR = 5.0
"""A gas factor outside these is a slip of the pen [judgement]."""


@dataclass(frozen=True, slots=True)
class FlowMeter:
    """One meter and its scale.

    Attributes:
        principle: How it measures.
        scaled_for: Gas of the scale, a key of ``SCALE_GASES``; means nothing with "argon".
        gas_factor: The instrument's own factor from shown to true argon [1], from its papers; only
            for "thermal". ``None``: estimated from the gases' heat capacities.
        litres_at: What its litre is, a key of ``STANDARD_CONDITIONS``.
        pressure_pa: Absolute pressure in a float meter [Pa]; its scale is for one atmosphere.
        temperature_c: Gas in a float meter [°C]; its scale is for 20 °C.

    Raises:
        ValueError: A name that is not known, or a number outside its range.
    """

    principle: Principle = "argon"
    scaled_for: str = "air"
    gas_factor: float | None = None
    litres_at: str = "20 °C, 1 atm"
    pressure_pa: float = ATMOSPHERE_PA
    temperature_c: float = REFERENCE_C

    def __post_init__(self) -> None:
        if self.principle not in get_args(Principle):
            allowed = ", ".join(get_args(Principle))
            raise ValueError(f"meter principle {self.principle!r} is not one of {allowed}")
        if self.scaled_for not in SCALE_GASES:
            allowed = ", ".join(SCALE_GASES)
            raise ValueError(f"scale gas {self.scaled_for!r} is not one of {allowed}")
        if self.litres_at not in STANDARD_CONDITIONS:
            allowed = ", ".join(STANDARD_CONDITIONS)
            raise ValueError(f"standard condition {self.litres_at!r} is not one of {allowed}")
        if self.gas_factor is None:
            return
        if self.principle != "thermal":
            raise ValueError(f"a gas factor belongs to a thermal meter, not to {self.principle!r}")
        if not LOWEST_FACTOR <= self.gas_factor <= HIGHEST_FACTOR:
            raise ValueError(
                f"gas factor {self.gas_factor:g} is outside {LOWEST_FACTOR:g} to {HIGHEST_FACTOR:g}"
            )

    def argon_per_shown(self) -> float:
        """True argon litres (20 °C, 1 atm) per litre shown [1].

        Source: the equations named at ``gas.rotameter_factor``, ``gas.thermal_meter_factor`` and
            ``gas.litres_at_reference``.
        """
        litre = litres_at_reference(1.0, self.litres_at)
        scale = SCALE_GASES[self.scaled_for]
        if self.principle == "float":
            return litre * rotameter_factor(
                scale, ARGON, pressure_pa=self.pressure_pa, temperature_c=self.temperature_c
            )
        if self.principle == "thermal":
            if self.gas_factor is not None:
                return litre * self.gas_factor
            return litre * thermal_meter_factor(scale, ARGON)
        return litre
