"""How much a cavity holds: pipe by schedule, tube by gauge, elbows, cones, water fill.

Volumes are inside and cold [l]. Lengths are millimetres unless the name says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

INCH_MM = 25.4
"""Exact by definition since 1959."""


@dataclass(frozen=True, slots=True)
class Pipe:
    """A pipe or tube by outside diameter and wall [mm]."""

    outside_mm: float
    wall_mm: float

    def __post_init__(self) -> None:
        if not (0 < self.outside_mm <= 2000 and self.wall_mm > 0):
            raise ValueError(
                f"outside diameter {self.outside_mm:g} mm and wall {self.wall_mm:g} mm must be "
                "above 0, the diameter at most 2000"
            )
        if 2 * self.wall_mm >= self.outside_mm:
            raise ValueError(
                f"two walls of {self.wall_mm:g} mm leave no bore in {self.outside_mm:g} mm"
            )

    @property
    def inside_mm(self) -> float:
        """Bore [mm]."""
        return self.outside_mm - 2 * self.wall_mm

    @property
    def litres_per_metre(self) -> float:
        """Contents [l/m]: π·Di²/4."""
        return math.pi * self.inside_mm**2 / 4 / 1000.0


SCHEDULE_10S: dict[str, Pipe] = {
    "1/2": Pipe(21.3, 2.11),
    "3/4": Pipe(26.7, 2.11),
    "1": Pipe(33.4, 2.77),
    "1 1/4": Pipe(42.2, 2.77),
    "1 1/2": Pipe(48.3, 2.77),
    "2": Pipe(60.3, 2.77),
    "2 1/2": Pipe(73.0, 3.05),
    "3": Pipe(88.9, 3.05),
    "3 1/2": Pipe(101.6, 3.05),
    "4": Pipe(114.3, 3.05),
    "5": Pipe(141.3, 3.40),
    "6": Pipe(168.3, 3.40),
}
"""Stainless pipe of schedule 10S by nominal size [inch]: outside diameter and wall of
ASME B36.19M, table 1."""

GAUGE_WALL_MM: dict[int, float] = {
    10: 0.134 * INCH_MM,
    11: 0.120 * INCH_MM,
    12: 0.109 * INCH_MM,
    13: 0.095 * INCH_MM,
    14: 0.083 * INCH_MM,
    15: 0.072 * INCH_MM,
    16: 0.065 * INCH_MM,
    17: 0.058 * INCH_MM,
    18: 0.049 * INCH_MM,
    19: 0.042 * INCH_MM,
    20: 0.035 * INCH_MM,
    21: 0.032 * INCH_MM,
    22: 0.028 * INCH_MM,
}
"""Tube wall by Birmingham (Stubs) gauge [mm], the gauge tube is sold by; sheet gauges differ."""


def schedule_10s(nominal: str) -> Pipe:
    """Schedule 10S pipe by nominal size.

    Args:
        nominal: A key of ``SCHEDULE_10S``, such as ``"1 1/2"``.

    Raises:
        ValueError: Not in the table; the message lists the sizes.
    """
    pipe = SCHEDULE_10S.get(nominal.strip())
    if pipe is None:
        raise ValueError(f"pipe size {nominal!r} is not one of {', '.join(SCHEDULE_10S)}")
    return pipe


def tube(outside_mm: float, gauge: int) -> Pipe:
    """Tube by outside diameter [mm] and Birmingham wire gauge.

    Raises:
        ValueError: A gauge not in ``GAUGE_WALL_MM``, or a wall that leaves no bore.
    """
    wall = GAUGE_WALL_MM.get(gauge)
    if wall is None:
        known = f"{min(GAUGE_WALL_MM)} to {max(GAUGE_WALL_MM)}"
        raise ValueError(f"gauge {gauge} is not one of {known}")
    return Pipe(outside_mm, wall)


def straight_l(pipe: Pipe, length_mm: float) -> float:
    """Contents of a straight length [l]: π·Di²/4·L.

    Raises:
        ValueError: Negative length.
    """
    _not_negative("length", length_mm)
    return pipe.litres_per_metre * length_mm / 1000.0


def elbow_l(pipe: Pipe, centre_radius_mm: float, angle_deg: float = 90.0) -> float:
    """Contents of an elbow [l]: bore area times the arc of its centre line (Pappus).

    Args:
        pipe: The elbow's pipe.
        centre_radius_mm: Radius of the centre line [mm], at least half the bore. A long-radius
            butt-welding elbow has 1.5 nominal sizes (ASME B16.9).
        angle_deg: Angle turned [°], above 0 and at most 360.

    Raises:
        ValueError: Radius or angle outside its range.

    Source: Pappus's second theorem.
    """
    if centre_radius_mm < pipe.inside_mm / 2:
        raise ValueError(
            f"centre-line radius {centre_radius_mm:g} mm is less than half the bore, "
            f"{pipe.inside_mm / 2:g} mm"
        )
    if not 0 < angle_deg <= 360:
        raise ValueError(f"angle {angle_deg:g}° must be above 0 and at most 360")
    return straight_l(pipe, math.radians(angle_deg) * centre_radius_mm)


def cone_l(large_inside_mm: float, small_inside_mm: float, length_mm: float) -> float:
    """Contents of a cone, reducer or collector [l]: π·L/12·(D² + D·d + d²).

    Args:
        large_inside_mm: One bore [mm], 0 or more.
        small_inside_mm: The other [mm], 0 or more (0: to a point; equal: a cylinder).
        length_mm: Length [mm], 0 or more.

    Raises:
        ValueError: A negative dimension.

    Source: volume of a frustum of a cone.
    """
    for name, value in (
        ("bore", large_inside_mm),
        ("bore", small_inside_mm),
        ("length", length_mm),
    ):
        _not_negative(name, value)
    squares = large_inside_mm**2 + large_inside_mm * small_inside_mm + small_inside_mm**2
    return math.pi * length_mm / 12.0 * squares / 1e6


def water_density_kg_l(temperature_c: float) -> float:
    """Density of water at one atmosphere [kg/l].

    ρ = 0.99997495·[1 − (t − 3.983035)²·(t + 301.797) / (522528.9·(t + 69.34881))]

    Args:
        temperature_c: Water temperature [°C], 0 to 40.

    Raises:
        ValueError: Outside 0 to 40 °C.

    Source: M. Tanaka et al., Metrologia 38 (2001) 301-309, equation 1 (coefficients from
        memory; checked against CoolProp).
    """
    if not 0 <= temperature_c <= 40:
        raise ValueError(f"water temperature {temperature_c:g} °C is outside 0 to 40 °C")
    t = temperature_c
    fall = (t - 3.983035) ** 2 * (t + 301.797) / (522_528.9 * (t + 69.34881))
    return 0.99997495 * (1 - fall)


def water_fill_l(full_kg: float, empty_kg: float, temperature_c: float = 20.0) -> float:
    """Cavity volume by filling it with water and weighing [l]. Bake dry before heating.

    Trapped water bursts a casting in the oven and ruins a weld: dry it above 100 °C, ports open,
    until no steam comes, before anything else.

    Args:
        full_kg: Weight with water [kg].
        empty_kg: Weight empty [kg], 0 or more and below ``full_kg``.
        temperature_c: Water temperature [°C], 0 to 40.

    Raises:
        ValueError: The weights leave no water, or the temperature is out of range.
    """
    if not 0 <= empty_kg < full_kg:
        raise ValueError(f"full {full_kg:g} kg must be more than empty {empty_kg:g} kg")
    return (full_kg - empty_kg) / water_density_kg_l(temperature_c)


def _not_negative(name: str, value: float) -> None:
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{name} {value:g} mm must not be negative")
