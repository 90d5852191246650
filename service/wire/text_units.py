"""Numbers, units and fault words as plain text lines have them.

SenML knows only registered units; instruments and people also write the ones below. They become
the inside unit in one step. Factors: NIST Special Publication 811 (2008), appendix B.8; where a
factor is exact by definition it is written as the definition has it.
"""

from __future__ import annotations

import math
import re

from service.readings import Measurement
from service.units import SWITCH_UNIT, WIRE_UNITS, Quantity, Unit
from service.wire.pack import Pack, Reject, RejectCause, shown
from service.wire.resolve import MAX_NAME_CHARS, NAME_PATTERN
from service.wire.senml import NOT_A_NUMBER, OUT_OF_RANGE

_CELSIUS = Unit(Quantity.TEMPERATURE, "Cel", 1.0)
_FAHRENHEIT = Unit(Quantity.TEMPERATURE, "Cel", 5 / 9, -32 * 5 / 9)
_L_MIN = Unit(Quantity.FLOW, "l/min", 1.0)
_CUBIC_FOOT_L = 0.3048**3 * 1000

TEXT_UNITS: dict[str, Unit] = WIRE_UNITS | {
    "C": _CELSIUS,
    "degC": _CELSIUS,
    "°C": _CELSIUS,
    "F": _FAHRENHEIT,
    "degF": _FAHRENHEIT,
    "°F": _FAHRENHEIT,
    "l/min": _L_MIN,
    "L/min": _L_MIN,
    "lpm": _L_MIN,
    "ft3/h": Unit(Quantity.FLOW, "l/min", _CUBIC_FOOT_L / 60),
    "cfh": Unit(Quantity.FLOW, "l/min", _CUBIC_FOOT_L / 60),
    "kPa": Unit(Quantity.PRESSURE, "Pa", 1e3),
    "hPa": Unit(Quantity.PRESSURE, "Pa", 1e2),
    "mbar": Unit(Quantity.PRESSURE, "Pa", 1e2),
    "bar": Unit(Quantity.PRESSURE, "Pa", 1e5),
    "psi": Unit(Quantity.PRESSURE, "Pa", 6894.757),
    "mA": Unit(Quantity.CURRENT, "A", 1e-3),
}
"""Every unit a plain text line may carry."""

When = tuple[int | None, int]
"""Absolute source time [µs UTC] or ``None``, and the offset from arrival [µs]."""

NOW: When = (None, 0)

_SWITCH = {"on": 1.0, "true": 1.0, "off": 0.0, "false": 0.0}
_NO_NUMBER = {"nan", "inf", "infinity"}
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_FAULT_WORD = re.compile(r"[A-Za-z][A-Za-z \-]{1,79}")


def text_measurement(
    pack: Pack,
    name: str,
    value: str,
    unit_name: str | None,
    when: When = NOW,
) -> None:
    """Add one ``name``, ``value``, ``unit`` of a text line to the pack, or why it is refused.

    ``on``, ``off``, ``true`` and ``false`` are switches; another word in place of the number is
    a fault and makes a bad reading.
    """
    fault = name_fault(name)
    if fault is not None:
        pack.rejects.append(fault)
        return
    word = value.lower().lstrip("+-")
    unit = TEXT_UNITS.get(unit_name or "")
    if word in _SWITCH and unit_name is None:
        found = Measurement(name, SWITCH_UNIT.inside, _SWITCH[word], None, *when)
    elif word not in _NO_NUMBER and _FAULT_WORD.fullmatch(value):
        inside = unit.inside if unit else None
        found = Measurement(name, inside, None, value, *when)
    elif unit is None:
        allowed = ", ".join(TEXT_UNITS)
        text = f"{name}: unit {shown(unit_name)} is not one of {allowed}"
        pack.rejects.append(Reject(RejectCause.UNIT, text))
        return
    elif word not in _NO_NUMBER and not _NUMBER.fullmatch(value):
        text = f"{name}: {shown(value)} is neither a number nor a fault word"
        pack.rejects.append(Reject(RejectCause.SYNTAX, text))
        return
    else:
        found = _number(pack, name, value, unit, when)
    pack.measurements.append(found)


def _number(pack: Pack, name: str, value: str, unit: Unit, when: When) -> Measurement:
    inside = float(value) * unit.factor + unit.offset
    if math.isfinite(inside):
        return Measurement(name, unit.inside, inside, None, *when)
    text = f"{name}: {shown(value)} is not a finite number"
    pack.rejects.append(Reject(RejectCause.RANGE, text))
    reason = NOT_A_NUMBER if math.isnan(inside) else OUT_OF_RANGE
    return Measurement(name, unit.inside, None, reason, *when)


def name_fault(name: str) -> Reject | None:
    """Why a channel name is refused, or ``None``.

    The rules are SenML's (RFC 8428 section 4.5.1), whatever the form of the line.
    """
    if len(name) > MAX_NAME_CHARS:
        text = f"name {shown(name)} has {len(name)} characters; {MAX_NAME_CHARS} are allowed"
        return Reject(RejectCause.LENGTH, text)
    if not NAME_PATTERN.fullmatch(name):
        text = f"name {shown(name)} is not letters, digits and - : . / _ after a letter or digit"
        return Reject(RejectCause.LABEL, text)
    return None
