"""The simulated cavity against the dilution law, and its own sense."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.demo.cavity import AIR, Cavity


def stirred(volume_l: float = 5.0, feed: float = 0.0) -> Cavity:
    """Well mixed, tight, no hose, no dead leg."""
    return Cavity(volume_l, feed=feed, dead_share=0.0, air_in_l_min=0.0)


@pytest.mark.parametrize(
    ("changes", "oxygen_ppm"), [(1, 77_071), (3, 10_430), (5, 1412), (7, 191.0), (10, 9.5)]
)
def test_volume_changes_dilute_as_the_law_says(changes: float, oxygen_ppm: float) -> None:
    """C = C0 exp(-Q t/V) (the dilution equation of ventilation), from 209 500 ppm: own figures
    from the formula, rounded as printed."""
    cavity = stirred()
    cavity.advance(changes * 5.0 / 10.0 * 60.0, 10.0)
    assert cavity.main * 1e6 == pytest.approx(oxygen_ppm, rel=4e-3)


def test_the_published_figure_of_a_ventilation_page() -> None:
    """21 % to 10 % takes 0.74 volume changes (printed; 0.742 by the law)."""
    cavity = stirred(volume_l=1.0)
    cavity.main = 0.21
    cavity.advance(0.742 * 60.0, 1.0)
    assert cavity.main == pytest.approx(0.10, abs=5e-5)


def test_feed_impurity_is_the_floor() -> None:
    """To 20 ppm with 5 ppm in the feed: 9.544 changes (C = Cf + (C0-Cf) exp(-n))."""
    cavity = stirred(feed=5e-6)
    cavity.advance(9.544 * 5.0 / 10.0 * 60.0, 10.0)
    assert cavity.main * 1e6 == pytest.approx(20.0, abs=0.05)
    cavity.advance(3600.0, 10.0)
    assert cavity.main * 1e6 == pytest.approx(5.0, abs=0.01)


def test_the_hose_delays_by_its_volume() -> None:
    """Plug flow: 1 l of hose at 10 l/min holds the argon back for 6 s."""
    cavity = Cavity(5.0, hose_l=1.0, dead_share=0.0, air_in_l_min=0.0)
    cavity.advance(5.9, 10.0)
    assert cavity.main == AIR
    cavity.advance(3.0, 10.0)
    assert cavity.main < AIR * 0.96


def test_a_dead_leg_makes_it_slower() -> None:
    plain, dead = stirred(), Cavity(5.0, dead_share=0.2, dead_exchange=0.1, air_in_l_min=0.0)
    for cavity in (plain, dead):
        cavity.advance(180.0, 10.0)
    assert dead.main > 2 * plain.main


def test_without_flow_the_air_comes_back() -> None:
    cavity = Cavity(1.0)
    cavity.advance(300.0, 15.0)
    clear = cavity.main
    cavity.advance(10.0, 0.0)
    assert cavity.main > 100 * clear
    cavity.advance(3600.0, 0.0)
    assert cavity.main == pytest.approx(AIR, rel=1e-3)


@given(
    st.floats(0.05, 50),
    st.floats(0, 5),
    st.floats(0, 0.6),
    st.lists(st.tuples(st.floats(0.01, 60), st.floats(0, 60)), max_size=6),
)
def test_oxygen_stays_between_feed_and_air(
    volume_l: float, hose_l: float, dead_share: float, steps: list[tuple[float, float]]
) -> None:
    cavity = Cavity(volume_l, hose_l=hose_l, dead_share=dead_share)
    for seconds, flow_l_min in steps:
        cavity.advance(seconds, flow_l_min)
        assert cavity.feed * (1 - 1e-9) <= cavity.main <= AIR * (1 + 1e-9)
        assert cavity.feed * (1 - 1e-9) <= cavity.dead <= AIR * (1 + 1e-9)
