"""Argon, air and the meters that measure them.

Litres without further word are litres at 20 °C and 101 325 Pa, the service's own condition;
other "standard" litres are converted by name (``STANDARD_CONDITIONS``). Gases are ideal: at shop
pressure argon and air are within 0.1 % of the real gas (checked against CoolProp).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.units import ZERO_C_IN_K

AIR_OXYGEN_PPM = 209_500.0
"""Oxygen in dry air [ppm by volume]: 20.9476 % in the U.S. Standard Atmosphere 1976, rounded up."""

GAS_CONSTANT_J_PER_MOL_K = 8.314462618
"""Molar gas constant [J/(mol·K)], exact in the SI since 2019 (CODATA 2018)."""

ATMOSPHERE_PA = 101_325.0
"""Standard atmosphere [Pa], exact by definition."""

REFERENCE_C = 20.0
"""Temperature at which the service counts litres [°C]."""

COLDEST_C = -50.0
HOTTEST_C = 1400.0
"""Range in which the gas formulas are offered [°C]: shop cold to molten iron."""


@dataclass(frozen=True, slots=True)
class Gas:
    """A gas by its molar mass [g/mol] and heat capacity at constant pressure [J/(kg·K)]."""

    name: str
    molar_mass_g_per_mol: float
    heat_capacity_j_per_kg_k: float


ARGON = Gas("argon", 39.948, 521.6)
"""cp = 5/2 R per mole = 520.3 for a monatomic ideal gas; 521.6 is the real gas at 20 °C, 1 atm."""
AIR = Gas("air", 28.9647, 1006.1)
NITROGEN = Gas("nitrogen", 28.0134, 1041.3)
CARBON_DIOXIDE = Gas("carbon dioxide", 44.0095, 846.0)
"""cp from memory (about 846 J/(kg·K) at 20 °C); used for nothing but the table's completeness."""


@dataclass(frozen=True, slots=True)
class Condition:
    """What a "standard litre" is: its temperature [°C] and absolute pressure [Pa]."""

    temperature_c: float
    pressure_pa: float


STANDARD_CONDITIONS: dict[str, Condition] = {
    "20 °C, 1 atm": Condition(20.0, ATMOSPHERE_PA),
    "0 °C, 1 atm": Condition(0.0, ATMOSPHERE_PA),
    "0 °C, 1 bar": Condition(0.0, 100_000.0),
    "70 °F, 1 atm": Condition((70.0 - 32.0) / 1.8, ATMOSPHERE_PA),
}
"""The conditions instrument makers call standard or normal; the first is the service's own."""


def _kelvin(temperature_c: float) -> float:
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise ValueError(
            f"gas temperature {temperature_c:g} °C is outside {COLDEST_C:g} to {HOTTEST_C:g} °C"
        )
    return temperature_c + ZERO_C_IN_K


def density_kg_m3(gas: Gas, temperature_c: float, pressure_pa: float = ATMOSPHERE_PA) -> float:
    """Density of an ideal gas [kg/m³]: ρ = p·M / (R·T).

    Args:
        gas: Which gas.
        temperature_c: Gas temperature [°C], -50 to 1400.
        pressure_pa: Absolute pressure [Pa], above 0 and at most 1 MPa (ideal within 1 %).

    Raises:
        ValueError: Temperature or pressure outside its range.

    Source: ideal gas law with molar masses of the IUPAC (argon 39.948) and, for dry air,
        28.9647 g/mol (CIPM-2007 gives 28.9655 with its own carbon dioxide share).
    """
    if not 0 < pressure_pa <= 1e6:
        raise ValueError(f"pressure {pressure_pa:g} Pa must be above 0 and at most 1 MPa")
    molar_kg = gas.molar_mass_g_per_mol / 1000.0
    return pressure_pa * molar_kg / (GAS_CONSTANT_J_PER_MOL_K * _kelvin(temperature_c))


def expansion_from_cold(temperature_c: float) -> float:
    """Volume of a gas over its volume at 20 °C, same pressure: T / 293.15 K (Charles's law).

    Purge volumes are counted without this factor: a cavity counted cold is counted safe.

    Raises:
        ValueError: Temperature outside -50 to 1400 °C.
    """
    return _kelvin(temperature_c) / _kelvin(REFERENCE_C)


def litres_at_reference(litres: float, condition: str) -> float:
    """Litres counted at a named condition, as litres at 20 °C and 101 325 Pa.

    V20 = V · (p / p20) · (T20 / T), ideal gas.

    Args:
        litres: Volume at ``condition`` [l], or a flow [l/min].
        condition: A key of ``STANDARD_CONDITIONS``.

    Raises:
        ValueError: Unknown condition; the message lists the known ones.
    """
    named = STANDARD_CONDITIONS.get(condition)
    if named is None:
        raise ValueError(
            f"standard condition {condition!r} is not one of {', '.join(STANDARD_CONDITIONS)}"
        )
    pressure_ratio = named.pressure_pa / ATMOSPHERE_PA
    return litres * pressure_ratio * _kelvin(REFERENCE_C) / _kelvin(named.temperature_c)


def neutral_temperature_c(air_temperature_c: float = REFERENCE_C) -> float:
    """Temperature at which argon weighs as much as the shop's air [°C].

    T = T_air · M_argon / M_air; hotter argon rises ("argon in low, vent high" no longer holds).

    Raises:
        ValueError: Air temperature outside -50 to 1400 °C.
    """
    ratio = ARGON.molar_mass_g_per_mol / AIR.molar_mass_g_per_mol
    return _kelvin(air_temperature_c) * ratio - ZERO_C_IN_K


def gap_exchange_l_min(
    gap_cm2: float,
    height_m: float,
    gas_temperature_c: float,
    air_temperature_c: float = REFERENCE_C,
    discharge: float = 0.6,
) -> float:
    """Air drawn in by equal gaps high and low on a cavity of argon, no argon flowing [l/min].

    Half the buoyant head lies across each gap: q = Cd·A·√(g·H·|ρ_gas − ρ_air| / ρ_air). (In the
    outflow gap the density differs a little; the air's is used for both.)

    Args:
        gap_cm2: Area of each gap [cm²], 0 or more.
        height_m: Height between the gaps [m], 0 or more.
        gas_temperature_c: Temperature of the argon [°C].
        air_temperature_c: Temperature of the air outside [°C].
        discharge: Discharge coefficient of a sharp-edged gap, 0.6 [common practice, no source].

    Raises:
        ValueError: A negative gap or height, or a temperature outside -50 to 1400 °C.

    Source: orifice equation with the hydrostatic head of two openings, as in any text on
        natural ventilation (stack effect).
    """
    if gap_cm2 < 0 or height_m < 0:
        raise ValueError(f"gap {gap_cm2:g} cm² and height {height_m:g} m must not be negative")
    air = density_kg_m3(AIR, air_temperature_c)
    difference = abs(density_kg_m3(ARGON, gas_temperature_c) - air)
    speed_m_s = discharge * math.sqrt(9.80665 * height_m * difference / air)
    return speed_m_s * gap_cm2 * 1e-4 * 60_000.0


def rotameter_factor(
    scaled_for: Gas,
    used_with: Gas,
    *,
    scale_pressure_pa: float = ATMOSPHERE_PA,
    scale_temperature_c: float = REFERENCE_C,
    pressure_pa: float = ATMOSPHERE_PA,
    temperature_c: float = REFERENCE_C,
) -> float:
    """Standard litres per scale litre of a float-in-tube meter used off its scale's conditions.

    q = reading · √(ρs_n / ρu_n) · √(p / ps) · √(Ts / T), all in standard litres: the float sits
    where the drag equals its weight, so true volume flow goes with 1/√ρ.

    Args:
        scaled_for: Gas of the scale.
        used_with: Gas that flows.
        scale_pressure_pa: Absolute pressure of the scale [Pa].
        scale_temperature_c: Temperature of the scale [°C].
        pressure_pa: Absolute pressure in the meter [Pa].
        temperature_c: Gas temperature in the meter [°C].

    Raises:
        ValueError: A pressure not above 0 or a temperature outside -50 to 1400 °C.

    Source: variable-area meter equation as printed in a meter maker's conversion sheet.
    """
    if scale_pressure_pa <= 0 or pressure_pa <= 0:
        raise ValueError(
            f"pressures {scale_pressure_pa:g} and {pressure_pa:g} Pa must be above 0 (absolute)"
        )
    gases = scaled_for.molar_mass_g_per_mol / used_with.molar_mass_g_per_mol
    pressures = pressure_pa / scale_pressure_pa
    temperatures = _kelvin(scale_temperature_c) / _kelvin(temperature_c)
    return math.sqrt(gases * pressures * temperatures)


def thermal_meter_factor(scaled_for: Gas, used_with: Gas) -> float:
    """Estimate of a thermal mass-flow meter's gas factor, when the maker's is not to hand.

    The meter sees heat carried away, so the factor is the ratio of ρ·cp per standard litre:
    molar heat capacities. Real instruments differ by a per cent or two (1.39 to 1.405 are printed
    for argon on a nitrogen scale): use the instrument's own factor where there is one.

    Source: ratio of heat capacities per standard volume, the printed explanation of the factor.
    """
    scale = scaled_for.molar_mass_g_per_mol * scaled_for.heat_capacity_j_per_kg_k
    used = used_with.molar_mass_g_per_mol * used_with.heat_capacity_j_per_kg_k
    return scale / used


def thermal_mixture_factor(parts: list[tuple[float, float, float, float]]) -> float:
    """Gas factor of a mixture on a nitrogen-scaled thermal meter.

    F = 0.3106 · Σ aᵢ·sᵢ / Σ aᵢ·dᵢ·cᵢ

    Args:
        parts: For each gas: share aᵢ [1] (of 1), molecular structure factor sᵢ (1.03 for a
            monatomic gas, 1.00 for a diatomic one), density dᵢ [g/l at 0 °C], heat capacity cᵢ
            [cal/(g·K)].

    Raises:
        ValueError: No gas, a negative share, or shares that do not sum to 1 (within 0.001).

    Source: mixture equation printed by makers of thermal mass-flow controllers.
    """
    total = sum(share for share, _, _, _ in parts)
    if not parts or any(share < 0 for share, _, _, _ in parts) or abs(total - 1.0) > 1e-3:
        raise ValueError(f"shares must be positive and sum to 1; they sum to {total:g}")
    above = sum(share * structure for share, structure, _, _ in parts)
    below = sum(share * density * heat for share, _, density, heat in parts)
    return 0.3106 * above / below


def gas_heat_w(flow_l_min: float, gas_in_c: float, gas_out_c: float) -> float:
    """Heat that argon carries off [W]: P = ṁ·cp·(T_out − T_in).

    Args:
        flow_l_min: Argon [l/min at 20 °C, 1 atm], 0 or more.
        gas_in_c: Temperature in [°C].
        gas_out_c: Temperature out [°C]; at most the metal's.

    Raises:
        ValueError: Negative flow or a temperature outside -50 to 1400 °C.
    """
    if flow_l_min < 0:
        raise ValueError(f"flow {flow_l_min:g} l/min must not be negative")
    mass_kg_s = density_kg_m3(ARGON, REFERENCE_C) * flow_l_min / 60_000.0
    return mass_kg_s * ARGON.heat_capacity_j_per_kg_k * (_kelvin(gas_out_c) - _kelvin(gas_in_c))


def bottle_litres(
    water_volume_l: float, gauge_pressure_pa: float, temperature_c: float = REFERENCE_C
) -> float:
    """Argon that will still come out of a bottle [l at 20 °C, 1 atm].

    Ideal gas: V = V_water · p_gauge / p_atm · T20 / T. Down to atmospheric pressure only: the
    rest stays in. Argon at 200 bar holds about 5 to 7 % more than an ideal gas, so this errs to
    the safe side on a full bottle.

    Args:
        water_volume_l: The bottle's own volume [l], above 0.
        gauge_pressure_pa: Pressure over the atmosphere [Pa], 0 to 35 MPa.
        temperature_c: Temperature of the bottle [°C].

    Raises:
        ValueError: Volume, pressure or temperature outside its range.
    """
    if water_volume_l <= 0:
        raise ValueError(f"bottle volume {water_volume_l:g} l must be above 0")
    if not 0 <= gauge_pressure_pa <= 35e6:
        raise ValueError(f"bottle pressure {gauge_pressure_pa:g} Pa is outside 0 to 35 MPa")
    cold = _kelvin(REFERENCE_C) / _kelvin(temperature_c)
    return water_volume_l * gauge_pressure_pa / ATMOSPHERE_PA * cold


def bottle_minutes(litres_left: float, flow_l_min: float) -> float | None:
    """Minutes until the bottle is empty at this flow; ``None`` when nothing flows.

    Args:
        litres_left: From :func:`bottle_litres` [l], 0 or more.
        flow_l_min: Purge and torch together [l/min], 0 or more.

    Raises:
        ValueError: A negative amount or flow.
    """
    if litres_left < 0 or flow_l_min < 0:
        raise ValueError(f"{litres_left:g} l and {flow_l_min:g} l/min must not be negative")
    return litres_left / flow_l_min if flow_l_min > 0 else None
