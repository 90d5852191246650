"""Units of plain text lines against NIST Special Publication 811 (2008), appendix B.8.

Factors written from memory of that table, each also following from the definition beside it.
"""

from __future__ import annotations

import pytest

from service.wire.pack import Pack
from service.wire.text_units import text_measurement


@pytest.mark.parametrize(
    ("sent", "unit", "inside", "value"),
    [
        ("212", "degF", "Cel", 100.0),  # t/°C = (t/°F - 32) / 1.8
        ("-40", "F", "Cel", -40.0),
        ("392", "°F", "Cel", 200.0),
        ("1", "cfh", "l/min", 7.865_791e-6 * 60_000),  # ft3/h = 7.865 791 E-06 m3/s
        ("25", "ft3/h", "l/min", 25 * 28.316_846_592 / 60),  # 1 ft = 0.3048 m exactly
        ("1", "psi", "Pa", 6_894.757),  # lbf/in2
        ("1", "bar", "Pa", 1e5),
        ("1", "mbar", "Pa", 100.0),
        ("273.15", "K", "Cel", 0.0),
        ("12", "L/min", "l/min", 12.0),
    ],
)
def test_against_nist_sp_811(sent: str, unit: str, inside: str, value: float) -> None:
    pack = Pack()
    text_measurement(pack, "a", sent, unit)
    (found,) = pack.measurements
    assert found.unit == inside
    assert found.value == pytest.approx(value, rel=1e-6, abs=1e-9)
