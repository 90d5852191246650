"""Gas formulas: limits and refusals (values are checked in tests/reference)."""

from __future__ import annotations

import pytest

from service.physics import gas


def test_limits() -> None:
    assert gas.expansion_from_cold(20.0) == 1.0
    assert gas.litres_at_reference(3.0, "20 °C, 1 atm") == pytest.approx(3.0)
    assert gas.rotameter_factor(gas.AIR, gas.AIR) == 1.0
    assert gas.thermal_meter_factor(gas.ARGON, gas.ARGON) == 1.0
    assert gas.gap_exchange_l_min(0.0, 0.2, 300.0) == 0.0
    assert gas.gap_exchange_l_min(1.0, 0.2, gas.neutral_temperature_c()) == pytest.approx(
        0, abs=1e-3
    )
    assert gas.gas_heat_w(10.0, 20.0, 20.0) == 0.0
    assert gas.bottle_litres(50.0, 0.0) == 0.0


def test_bottle_minutes() -> None:
    litres = gas.bottle_litres(20.0, 100e5)
    # 20 l at 100 bar over atmosphere is 20·100/1.01325 = 1974 l.
    assert litres == pytest.approx(1973.8, abs=0.1)
    assert gas.bottle_minutes(litres, 10.0 + 8.0) == pytest.approx(109.7, abs=0.1)
    assert gas.bottle_minutes(litres, 0.0) is None


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: gas.density_kg_m3(gas.ARGON, -60.0), "-60 °C"),
        (lambda: gas.density_kg_m3(gas.ARGON, 1500.0), "1500 °C"),
        (lambda: gas.density_kg_m3(gas.ARGON, 20.0, 0.0), "0 Pa"),
        (lambda: gas.expansion_from_cold(float("nan")), "nan"),
        (lambda: gas.litres_at_reference(1.0, "25 °C"), "20 °C, 1 atm, 0 °C"),
        (lambda: gas.rotameter_factor(gas.AIR, gas.ARGON, pressure_pa=0.0), "absolute"),
        (lambda: gas.thermal_mixture_factor([]), "sum to 0"),
        (lambda: gas.thermal_mixture_factor([(0.5, 1, 1, 1)]), "sum to 0.5"),
        (lambda: gas.gap_exchange_l_min(-1.0, 0.2, 20.0), "-1 cm²"),
        (lambda: gas.gas_heat_w(-1.0, 20.0, 30.0), "-1 l/min"),
        (lambda: gas.bottle_litres(0.0, 1e5), "bottle volume 0 l"),
        (lambda: gas.bottle_litres(50.0, 4e7), "bottle pressure"),
        (lambda: gas.bottle_minutes(-1.0, 1.0), "-1 l"),
    ],
)
def test_refused_outside_range(call, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
