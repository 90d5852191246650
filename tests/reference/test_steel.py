"""Steel formulas: identities of the standard, values computed by hand, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from service.physics import steel

# Own calculation from the formulas, a regression value: not a published composition.
PLATE = steel.Composition(
    carbon=0.17,
    silicon=0.30,
    manganese=1.40,
    chromium=0.10,
    molybdenum=0.05,
    nickel=0.10,
    copper=0.15,
)


def preheat(cet: float, d: float, hd: float, q: float, **other: object) -> float:
    how = {"metal": "carbon steel", "yield_n_mm2": 355.0} | other
    return steel.preheat_method_b_c(cet, d, hd, q, **how)


def t85(q: float, d: float, t0: float, **other: object) -> steel.CoolingTime:
    return steel.t85(q, d, t0, **({"metal": "carbon steel"} | other))


def test_equivalents() -> None:
    # 0.17 + 1.4/6 + 0.15/5 + 0.25/15 = 0.450; the others likewise by hand.
    assert steel.ce_iiw(PLATE) == pytest.approx(0.450, abs=1e-9)
    assert steel.cet(PLATE) == pytest.approx(0.330, abs=1e-9)
    assert steel.pcm(PLATE) == pytest.approx(0.2675, abs=2e-5)
    # Boron counts five times, vanadium a fifth and a tenth.
    assert steel.pcm(steel.Composition(0.1, boron=0.002)) == pytest.approx(0.11)
    assert steel.ce_iiw(steel.Composition(0.1, vanadium=0.1)) == pytest.approx(0.12)


# Coefficients as the three formulas are printed (EN 1011-2 by three independent implementations;
# Pcm likewise): share of each element, in the order of ``steel.Composition``.
PRINTED = {
    steel.ce_iiw: (1, 0, 1 / 6, 1 / 5, 1 / 5, 1 / 5, 1 / 15, 1 / 15, 0),
    steel.cet: (1, 0, 1 / 10, 1 / 20, 1 / 10, 0, 1 / 40, 1 / 20, 0),
    steel.pcm: (1, 1 / 30, 1 / 20, 1 / 20, 1 / 15, 1 / 10, 1 / 60, 1 / 20, 5),
}


@pytest.mark.parametrize("formula", PRINTED)
def test_coefficients_recovered_from_noisy_equivalents(formula) -> None:
    random = np.random.default_rng(12)
    shares = random.uniform(0.0, 1.0, (3000, 9))
    found = np.array([formula(steel.Composition(*(float(s) for s in row))) for row in shares])
    noisy = found + 0.02 * random.standard_normal(len(found))
    recovered, *_ = np.linalg.lstsq(shares, noisy, rcond=None)
    # 0.02 over 3000 compositions of spread 0.3: 0.0013 on each; four of these.
    assert recovered == pytest.approx(np.array(PRINTED[formula], dtype=float), abs=0.006)


def test_equivalents_at_their_limits() -> None:
    for formula in PRINTED:
        assert formula(steel.Composition(carbon=0.0)) == 0.0
        assert formula(steel.Composition(carbon=0.25)) == 0.25


@pytest.mark.parametrize(
    ("cet", "d", "hd", "q", "tp"),
    # Own calculation from equation C.8 (quoted alike by three independent implementations).
    [
        (0.30, 20, 5, 1.0, 56.5),
        (0.33, 30, 5, 1.0, 107.6),
        (0.33, 50, 5, 1.5, 131.8),
        (0.40, 40, 5, 2.0, 168.6),
    ],
)
def test_method_b(cet: float, d: float, hd: float, q: float, tp: float) -> None:
    assert preheat(cet, d, hd, q) == pytest.approx(tp, abs=0.06)


@pytest.mark.parametrize("cet", [0.2, 0.33, 0.5])
@pytest.mark.parametrize("d", [10.0, 30.0, 90.0])
@pytest.mark.parametrize("hd", [1.0, 5.0, 20.0])
@pytest.mark.parametrize("q", [0.5, 1.7, 4.0])
def test_method_b_is_the_sum_of_its_parts(cet: float, d: float, hd: float, q: float) -> None:
    """Equations C.3 to C.6 of EN 1011-2, one for each influence, add up to C.8."""
    parts = (
        (750 * cet - 150)
        + (160 * math.tanh(d / 35) - 110)
        + (62 * hd**0.35 - 100)
        + ((53 * cet - 32) * q - 53 * cet + 32)
    )
    assert preheat(cet, d, hd, q) == pytest.approx(parts, abs=1e-9)


def test_hydrogen_is_raised_to_a_power_not_multiplied() -> None:
    # A formula going round in public code multiplies HD by 0.35; at HD 5 that is 14 K off.
    assert preheat(0.33, 30, 5, 1.0) - preheat(0.33, 30, 1, 1.0) == pytest.approx(
        62 * (5**0.35 - 1), abs=1e-9
    )


def test_method_b_more_of_each_goes_the_known_way() -> None:
    base = preheat(0.33, 30, 5, 1.0)
    assert preheat(0.36, 30, 5, 1.0) > base
    assert preheat(0.33, 60, 5, 1.0) > base
    assert preheat(0.33, 30, 10, 1.0) > base
    assert preheat(0.33, 30, 5, 2.0) < base


def test_method_b_at_its_limits() -> None:
    """Thickness counts less and less, 160·tanh(d/35): nearly all is there at 90 mm."""
    assert preheat(0.33, 90, 5, 1.0) - preheat(0.33, 60, 5, 1.0) < 10.0
    assert preheat(0.33, 40, 5, 1.0) - preheat(0.33, 10, 5, 1.0) > 80.0
    # At CET 32/53 heat input would not matter; below that more of it lets preheat fall.
    slopes = [preheat(cet, 30, 5, 2.0) - preheat(cet, 30, 5, 1.0) for cet in (0.2, 0.35, 0.5)]
    assert slopes == pytest.approx([53 * cet - 32 for cet in (0.2, 0.35, 0.5)])
    # A lean thin plate with dry filler comes out below the shop: no preheat by this method.
    assert preheat(0.2, 10, 1, 4.0) < 0.0


def test_method_b_gives_cet_back_from_noisy_preheats() -> None:
    """Preheat is linear in CET at fixed d, HD and Q, with slope 697 + 53·Q."""
    random = np.random.default_rng(4)
    true = random.uniform(0.25, 0.45, 500)
    noisy = np.array([preheat(float(c), 30, 5, 1.0) for c in true]) + random.normal(0, 5.0, 500)
    found = (noisy - preheat(0.35, 30, 5, 1.0)) / (697.0 + 53.0) + 0.35
    assert float(np.mean(found - true)) == pytest.approx(0.0, abs=0.001)
    assert float(np.std(found - true)) == pytest.approx(5.0 / 750.0, rel=0.1)


@pytest.mark.parametrize(
    ("cet", "d", "hd", "q", "other", "said"),
    [
        (0.19, 30, 5, 1.0, {}, "CET 0.19 %"),
        (0.51, 30, 5, 1.0, {}, "0.2 to 0.5"),
        (0.33, 3, 5, 1.0, {}, "thickness 3 mm"),
        (0.33, 91, 5, 1.0, {}, "10 to 90"),
        (0.33, 30, 0.5, 1.0, {}, "hydrogen 0.5"),
        (0.33, 30, 25, 1.0, {}, "1 to 20"),
        (0.33, 30, 5, 0.3, {}, "heat input 0.3"),
        (0.33, 30, 5, 4.5, {}, "0.5 to 4"),
        (0.33, 30, 5, 1.0, {"yield_n_mm2": 1100.0}, "1100 N/mm²"),
        (math.nan, 30, 5, 1.0, {}, "CET nan"),
        *(
            (0.33, 30, 5, 1.0, {"metal": metal}, "ferritic steel, not")
            for metal in steel.CASTING_METALS
        ),
    ],
)
def test_method_b_is_refused_outside_its_validity(cet, d, hd, q, other, said: str) -> None:
    with pytest.raises(steel.NotValid, match=said):
        preheat(cet, d, hd, q, **other)


def test_every_casting_metal_of_the_shop_is_refused() -> None:
    from typing import get_args

    from service.judge.actions import Metal

    castings = {metal for metal in get_args(Metal) if metal != "carbon steel"}
    assert castings == set(steel.CASTING_METALS)


def test_governing_cet() -> None:
    assert steel.governing_cet(0.33, 0.28) == 0.33
    assert steel.governing_cet(0.30, 0.29) == pytest.approx(0.32)


@pytest.mark.parametrize(
    ("q", "d", "t0", "three_d_s", "two_d_s", "transition_mm", "flow"),
    # Own calculation from EN 1011-2 annex D (via open code); four figures.
    [
        (1, 10, 20, 5.288, 11.364, 14.66, "2-D"),
        (1, 10, 150, 7.846, 21.186, 16.43, "2-D"),
        (1, 30, 150, 7.846, 2.354, 16.43, "3-D"),
        (0.5, 5, 200, 4.750, 28.667, 12.28, "2-D"),
    ],
)
def test_t85(q, d, t0, three_d_s, two_d_s, transition_mm, flow: str) -> None:
    found = t85(q, d, t0)
    assert found.flow == flow
    assert found.transition_mm == pytest.approx(transition_mm, abs=6e-3)
    assert found.t85_s == pytest.approx(two_d_s if flow == "2-D" else three_d_s, abs=6e-4)


def test_t85_is_the_same_from_both_sides_of_the_transition() -> None:
    for q in (0.5, 1.0, 2.0):
        for t0 in (20.0, 150.0, 300.0):
            edge = t85(q, 10.0, t0).transition_mm
            thin, thick = t85(q, edge - 1e-9, t0), t85(q, edge + 1e-9, t0)
            assert (thin.flow, thick.flow) == ("2-D", "3-D")
            assert thin.t85_s == pytest.approx(thick.t85_s, rel=1e-6)


def test_t85_at_its_limits() -> None:
    # Thin plate: Q²/d². Thick plate: Q alone. Near 500 °C it never gets below.
    assert t85(0.5, 3, 20).t85_s == pytest.approx(4.0 * t85(0.5, 6, 20).t85_s)
    assert t85(1.0, 200, 20).t85_s == t85(1.0, 50, 20).t85_s
    assert t85(2.0, 200, 20).t85_s == pytest.approx(2.0 * t85(1.0, 200, 20).t85_s)
    assert t85(1.0, 200, 499.9).t85_s > 100.0 * t85(1.0, 200, 20).t85_s


def test_t85_shape_factors() -> None:
    assert t85(1, 10, 20, shape_factor_2d=0.9).t85_s == pytest.approx(0.9 * 11.364, abs=1e-3)
    assert t85(1, 30, 150, shape_factor_3d=0.9).t85_s == pytest.approx(0.9 * 7.846, abs=1e-3)


def test_heat_input_recovered_from_noisy_cooling_times() -> None:
    """Thick plate: t8/5 is proportional to Q, so a line through noisy times gives Q back."""
    random = np.random.default_rng(3)
    per_kj_s = t85(1.0, 60.0, 20.0).t85_s
    times = 1.8 * per_kj_s * (1 + 0.05 * random.standard_normal(400))
    # 5 % noise over 400 times: 0.25 % standard error.
    assert float(np.mean(times)) / per_kj_s == pytest.approx(1.8, rel=0.01)


@pytest.mark.parametrize(
    "args", [(1, 10, 500), (1, 10, 600), (0, 10, 20), (1, 0, 20), (1, 10, -40)]
)
def test_t85_refused(args: tuple[float, float, float]) -> None:
    with pytest.raises(steel.NotValid, match="must be"):
        t85(*args)


@pytest.mark.parametrize("metal", steel.CASTING_METALS)
def test_t85_is_refused_for_castings(metal: str) -> None:
    with pytest.raises(steel.NotValid, match="ferritic steel, not"):
        t85(1.0, 20.0, 20.0, metal=metal)


def test_impossible_composition_is_refused() -> None:
    with pytest.raises(ValueError, match=r"carbon -0\.1 %"):
        steel.Composition(carbon=-0.1)


@pytest.mark.parametrize(("scale", "inside"), [("A", 16), ("B", 12), ("C", 7), ("D", 4), ("E", 2)])
def test_hydrogen_scales(scale: str, inside: float) -> None:
    low, high = steel.HYDROGEN_SCALES_ML_100G[scale]
    assert low < inside <= high
