"""Units on the wire and the one unit each quantity has inside.

Sensors send the units registered for SenML (RFC 8428 section 12.1, RFC 8798). Inside the
service every quantity has exactly one unit, converted once, on entry:

=================  ===========  =====================================
quantity           inside       accepted on the wire
=================  ===========  =====================================
temperature        ``Cel``      ``Cel``, ``K``
gas flow           ``l/min``    ``m3/s``, ``l/s``
oxygen share       ``ppm``      ``/``, ``%``, ``ppm``
pressure           ``Pa``       ``Pa``
electric current   ``A``        ``A``
voltage (EMF)      ``mV``       ``V``, ``mV``
on/off             ``on/off``   ``vb`` values, which carry no unit
=================  ===========  =====================================
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

ZERO_C_IN_K = 273.15
"""0 °C on the Kelvin scale [K]; SI definition of the degree Celsius."""


class Quantity(StrEnum):
    """What is measured; decides the unit used inside."""

    TEMPERATURE = "temperature"
    FLOW = "gas flow"
    SHARE = "share"
    PRESSURE = "pressure"
    CURRENT = "current"
    VOLTAGE = "voltage"
    SWITCH = "on/off"


@dataclass(frozen=True, slots=True)
class Unit:
    """How a wire unit becomes the inside unit: ``inside = wire * factor + offset``."""

    quantity: Quantity
    inside: str
    factor: float
    offset: float = 0.0


WIRE_UNITS: dict[str, Unit] = {
    "Cel": Unit(Quantity.TEMPERATURE, "Cel", 1.0),
    "K": Unit(Quantity.TEMPERATURE, "Cel", 1.0, -ZERO_C_IN_K),
    "m3/s": Unit(Quantity.FLOW, "l/min", 60_000.0),
    "l/s": Unit(Quantity.FLOW, "l/min", 60.0),
    "/": Unit(Quantity.SHARE, "ppm", 1e6),
    "%": Unit(Quantity.SHARE, "ppm", 1e4),
    "ppm": Unit(Quantity.SHARE, "ppm", 1.0),
    "Pa": Unit(Quantity.PRESSURE, "Pa", 1.0),
    "A": Unit(Quantity.CURRENT, "A", 1.0),
    "V": Unit(Quantity.VOLTAGE, "mV", 1000.0),
    "mV": Unit(Quantity.VOLTAGE, "mV", 1.0),
}
"""Every unit a sensor may send, by its SenML name."""

SWITCH_UNIT = Unit(Quantity.SWITCH, "on/off", 1.0)
"""For boolean values (``vb``), which carry no unit on the wire."""


class UnknownUnit(ValueError):
    """A unit that is not in ``WIRE_UNITS``; the message names it and what is allowed."""

    def __init__(self, unit: str) -> None:
        super().__init__(f"unit {unit!r} is not one of {', '.join(WIRE_UNITS)}")
        self.unit = unit


def to_inside(value: float, wire_unit: str) -> tuple[float, Unit]:
    """Convert a wire value to the inside unit of its quantity.

    Args:
        value: The number as sent, in ``wire_unit``.
        wire_unit: A key of ``WIRE_UNITS``.

    Returns:
        The value in ``unit.inside`` and the unit itself.

    Raises:
        UnknownUnit: ``wire_unit`` is not accepted.
    """
    unit = WIRE_UNITS.get(wire_unit)
    if unit is None:
        raise UnknownUnit(wire_unit)
    return value * unit.factor + unit.offset, unit
