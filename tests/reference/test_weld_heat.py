"""Heat input, soak and rates against printed values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import erfc

from service.physics import weld_heat


def test_heat_input_published() -> None:
    # Open code's test value: MAG 25 V, 160 A, 3.889 mm/s gives 0.823 kJ/mm.
    assert weld_heat.heat_input_kj_mm("MIG/MAG", 25, 160, 3.889) == pytest.approx(0.823, abs=5e-4)
    # By hand: 0.6·12·100/1.5/1000.
    assert weld_heat.heat_input_kj_mm("TIG", 12, 100, 1.5) == pytest.approx(0.480, abs=1e-9)


def test_efficiencies_of_en_1011_1_table_1() -> None:
    # A steelmaker's reprint of the table; plasma from a calculator's page.
    assert weld_heat.EFFICIENCY["TIG"] == weld_heat.EFFICIENCY["plasma"] == 0.6
    assert weld_heat.EFFICIENCY["MMA"] == weld_heat.EFFICIENCY["MIG/MAG"] == 0.8
    assert weld_heat.EFFICIENCY["submerged arc"] == 1.0


def test_speed_recovered_from_noisy_heat_inputs() -> None:
    random = np.random.default_rng(5)
    amps = random.uniform(80, 120, 300)
    found = np.array([weld_heat.heat_input_kj_mm("TIG", 12, float(a), 1.5) for a in amps])
    noisy = found * (1 + 0.03 * random.standard_normal(300))
    speed = float(np.sum(noisy * amps) / np.sum(noisy**2)) * 0.6 * 12 / 1000
    assert speed == pytest.approx(1.5, rel=0.01)


@pytest.mark.parametrize(("t", "a"), [(5, 20), (12, 48), (13, 50), (50, 50), (60, 75)])
def test_measuring_distance_iso_13916(t: float, a: float) -> None:
    assert weld_heat.preheat_distance_mm(t) == a


def test_wait_iso_13916() -> None:
    assert weld_heat.equalising_min(12.5) == pytest.approx(1.0)
    assert weld_heat.equalising_min(25.0) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("mm", "hours"),
    # ASME B31.3-2016 table 331.1.1; UCS-56 table; an open test file.
    [(5, 0.25), (12.7, 0.5), (25.4, 1.0), (76.2, 2.25), (127, 2.75)],
)
def test_post_weld_soak(mm: float, hours: float) -> None:
    assert weld_heat.post_weld_soak_h(mm) == pytest.approx(hours)


@pytest.mark.parametrize(
    ("mm", "heating", "cooling"),
    # An open test file of UCS-56, whole degrees.
    [(12.7, 222, 278), (25.4, 222, 278), (50.8, 111, 139), (152.4, 56, 56)],
)
def test_ucs56_rates(mm: float, heating: float, cooling: float) -> None:
    assert weld_heat.ucs56_rate_c_per_h(mm, "heating") == pytest.approx(heating, abs=0.5)
    assert weld_heat.ucs56_rate_c_per_h(mm, "cooling") == pytest.approx(cooling, abs=0.5)


def test_piping_counts_half_the_greatest_thickness() -> None:
    # 600 °F/h over half the thickness in inches, above 600 °F: from memory, confirm; that it is
    # half the greatest thickness: an engineers' forum.
    assert weld_heat.piping_rate_c_per_h(25.4) == pytest.approx(333.3, abs=0.1)
    assert weld_heat.piping_rate_c_per_h(50.8) == pytest.approx(333.3, abs=0.1)
    assert weld_heat.piping_rate_c_per_h(101.6) == pytest.approx(166.7, abs=0.1)
    assert pytest.approx((600 - 32) / 1.8, abs=0.6) == weld_heat.PIPING_BAND_C


def test_cooling_rules_hold_in_their_bands_only() -> None:
    # UCS-56 above 425 °C, naval above 427 (read); grey iron's stress relief down to 150 to 200 °C
    # at 20 to 40 °C/h (foundry's table, read). At preheat none of steel's holds.
    assert {r.what.split(",")[0] for r in weld_heat.cooling_rules_at(300.0)} == {"grey iron"}
    assert weld_heat.cooling_rules_at(120.0) == []
    assert len(weld_heat.cooling_rules_at(500.0)) == 4
    grey = weld_heat.cooling_rules_at(300.0)[0]
    assert (grey.slowest_c_per_h, grey.fastest_c_per_h) == (20.0, 40.0)
    naval = next(r for r in weld_heat.COOLING_RULES if "naval" in r.what)
    assert (naval.fastest_c_per_h, naval.spread_max_k, naval.band_c[0]) == (111.0, 139.0, 427.0)
    for rule in weld_heat.COOLING_RULES:
        assert rule.source
        assert rule.confirmed
    with pytest.raises(ValueError, match="finite"):
        weld_heat.cooling_rules_at(math.nan)


def test_stress_relief_of_grey_iron_by_alloy() -> None:
    # A foundry's table, read.
    assert list(weld_heat.GREY_IRON_STRESS_RELIEF_C.values()) == [550.0, 600.0, 650.0]


def test_how_far_preheat_must_reach() -> None:
    # AWS D1.1 by an electrode maker's page; ASME B31.3-2012 330.1.4 by a scanned page.
    assert weld_heat.preheat_extent_mm(12.0, "structural") == 75.0
    assert weld_heat.preheat_extent_mm(100.0, "structural") == 100.0
    assert weld_heat.preheat_extent_mm(12.0, "piping") == 25.0


def test_preheat_soak_against_the_other_series() -> None:
    """A slab's middle by the series of error functions (good early on), not the one used.

    θ = Σ (−1)^n·[erfc((2n+1)·L/2/(2√(a·t))) + the same] is the share of the rise that has arrived;
    at the time found 2 % must be missing. The first term alone is used there: the next is smaller
    by exp(−8·ln(200/π)), nothing.
    """
    thick_mm, spread = 200.0, 40.0 / 4.0e6
    time_s = 60.0 * weld_heat.preheat_soak_min(thick_mm)
    assert time_s > 15 * 60.0
    half = thick_mm / 2000.0
    n = np.arange(60)
    arrived = 2 * np.sum((-1.0) ** n * erfc((2 * n + 1) * half / (2 * math.sqrt(spread * time_s))))
    assert 1.0 - arrived == pytest.approx(0.02, abs=1e-4)


def test_preheat_soak_is_never_under_a_quarter_hour() -> None:
    assert weld_heat.preheat_soak_min(6.0) == 15.0
    assert weld_heat.preheat_soak_min(300.0) > weld_heat.preheat_soak_min(200.0) > 15.0


def test_heat_input_at_its_limits() -> None:
    base = weld_heat.heat_input_kj_mm("TIG", 12, 100, 1.5)
    assert weld_heat.heat_input_kj_mm("TIG", 12, 100, 3.0) == pytest.approx(base / 2)
    assert weld_heat.heat_input_kj_mm("TIG", 24, 50, 1.5) == pytest.approx(base)
    assert weld_heat.heat_input_kj_mm("TIG", 1e-9, 100, 1.5) == pytest.approx(0.0, abs=1e-9)


def test_rules_of_thickness_at_their_limits() -> None:
    assert weld_heat.preheat_distance_mm(0.1) == pytest.approx(0.4)
    assert weld_heat.preheat_distance_mm(500) == 75.0
    assert weld_heat.equalising_min(1e-6) == pytest.approx(0.0, abs=1e-6)
    assert weld_heat.post_weld_soak_h(0.1) == 0.25
    # Both branches meet at two inches; no step in rate or soak.
    assert weld_heat.post_weld_soak_h(50.8) == pytest.approx(weld_heat.post_weld_soak_h(50.8001))
    assert weld_heat.ucs56_rate_c_per_h(500, "cooling") == pytest.approx(55.6, abs=0.1)
    assert weld_heat.piping_rate_c_per_h(0.1) == weld_heat.piping_rate_c_per_h(50.8)


@pytest.mark.parametrize(
    ("rule", "from_mm", "to_mm", "true"),
    [
        # Each rule's constant, got back from 400 noisy answers: 2 min and 4 mm as printed in
        # ISO 13916, a quarter of an hour an inch (B31.3), 222 and 278 °C/h over inches (UCS-56).
        (lambda d: weld_heat.equalising_min(d) / d * 25.0, 1.0, 400.0, 2.0),
        (lambda d: weld_heat.preheat_distance_mm(d) / d, 1.0, 12.5, 4.0),
        (lambda d: (weld_heat.post_weld_soak_h(d) - 2.0) / (d / 25.4 - 2.0), 60.0, 300.0, 0.25),
        (lambda d: weld_heat.ucs56_rate_c_per_h(d, "heating") * d / 25.4, 26.0, 100.0, 222.2),
        (lambda d: weld_heat.ucs56_rate_c_per_h(d, "cooling") * d / 25.4, 26.0, 120.0, 277.8),
        (lambda d: weld_heat.piping_rate_c_per_h(d) * d / 50.8, 51.0, 300.0, 333.3),
    ],
)
def test_constants_recovered_from_noisy_answers(rule, from_mm, to_mm, true) -> None:
    random = np.random.default_rng(6)
    found = [rule(float(d)) for d in random.uniform(from_mm, to_mm, 400)]
    noisy = np.array(found) * (1 + 0.05 * random.standard_normal(400))
    assert float(np.mean(noisy)) == pytest.approx(true, rel=0.01)


def test_diffusivity_recovered_from_noisy_soaks() -> None:
    """t·a/L² is the same for every slab: ln(200/π)/π²; a·t follows from the times."""
    random = np.random.default_rng(7)
    thick_mm = random.uniform(200.0, 400.0, 300)
    soak_s = np.array([60.0 * weld_heat.preheat_soak_min(float(d)) for d in thick_mm])
    soak_s *= 1 + 0.05 * random.standard_normal(300)
    found = np.mean(soak_s / (thick_mm / 1000.0) ** 2) * math.pi**2 / math.log(200.0 / math.pi)
    assert 1.0 / found == pytest.approx(40.0 / 4.0e6, rel=0.01)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: weld_heat.heat_input_kj_mm("gas", 12, 100, 1.5), "'gas' is not one of TIG"),
        (lambda: weld_heat.heat_input_kj_mm("TIG", 0, 100, 1.5), "voltage 0 V"),
        (lambda: weld_heat.heat_input_kj_mm("TIG", 12, -1, 1.5), "current -1 A"),
        (lambda: weld_heat.heat_input_kj_mm("TIG", 12, 100, 0), "travel speed 0"),
        (lambda: weld_heat.preheat_distance_mm(0), "thickness 0 mm"),
        (lambda: weld_heat.equalising_min(501), "thickness 501 mm"),
        (lambda: weld_heat.preheat_soak_min(-1), "thickness -1"),
        (lambda: weld_heat.preheat_soak_min(20, 0.0), "conductivity 0"),
        (lambda: weld_heat.post_weld_soak_h(math.nan), "thickness nan"),
        (lambda: weld_heat.ucs56_rate_c_per_h(20, "sideways"), "neither heating nor cooling"),
        (lambda: weld_heat.piping_rate_c_per_h(0), "thickness 0 mm"),
        (lambda: weld_heat.preheat_extent_mm(10, "boiler"), "neither structural nor piping"),
    ],
)
def test_refused_outside_range(call, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
