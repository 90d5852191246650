"""Clearing a volume, against printed worked examples and the dilution equation by hand."""

from __future__ import annotations

import math

import pytest
from scipy.stats import gamma

from service.physics.purge import Purge, PurgeSetup
from service.physics.purge_dilution import (
    plug_flow_ppm,
    rooms_in_row_ppm,
    volume_changes_to,
    well_mixed_ppm,
)

AIR_PPM = 209_500.0


@pytest.mark.parametrize(
    ("start", "target", "mixing", "changes", "within"),
    [
        # An inerting guide's worked figures, printed to two digits: 21 % to 10 % and to 7.7 %.
        (210_000.0, 100_000.0, 1.0, 0.74, 0.005),
        (210_000.0, 77_000.0, 1.0, 1.0, 0.005),
        # An industrial ventilation guide: 20 to 1.4 % with mixing factor 0.2, 13.3 changes.
        (200_000.0, 14_000.0, 0.2, 13.3, 0.05),
    ],
)
def test_printed_examples(
    start: float, target: float, mixing: float, changes: float, within: float
) -> None:
    assert volume_changes_to(target, start, mixing=mixing) == pytest.approx(changes, abs=within)


@pytest.mark.parametrize(
    ("target", "feed", "changes"),
    # Own calculation from the equation, printed to four figures: hence the tolerance.
    [
        (1000, 0, 5.345),
        (500, 0, 6.038),
        (100, 0, 7.647),
        (50, 0, 8.341),
        (20, 0, 9.257),
        (20, 5, 9.544),
    ],
)
def test_changes_from_air(target: float, feed: float, changes: float) -> None:
    assert volume_changes_to(target, AIR_PPM, feed) == pytest.approx(changes, abs=6e-4)


@pytest.mark.parametrize(
    ("changes", "left"), [(1, 77_071), (3, 10_430), (5, 1412), (7, 191.0), (10, 9.5)]
)
def test_left_after_changes(changes: float, left: float) -> None:
    # Own calculation; the last is printed to two figures.
    assert well_mixed_ppm(changes, AIR_PPM) == pytest.approx(left, rel=2e-3)


def test_five_litres_at_ten_a_minute() -> None:
    assert volume_changes_to(100, AIR_PPM) * 5.0 / 10.0 == pytest.approx(3.824, abs=5e-4)


def test_four_or_five_changes_are_not_clear() -> None:
    # The shop rule "four or five volumes" leaves this much in a well-mixed cavity.
    assert well_mixed_ppm(4, AIR_PPM) == pytest.approx(3837, abs=1)
    assert well_mixed_ppm(5, AIR_PPM) == pytest.approx(1412, abs=1)


def test_the_simulated_purge_agrees_with_the_closed_form() -> None:
    """Members of certain volume and mixing, no gaps: the stepped balance is the exponential."""
    purge = Purge(PurgeSetup(cavity_volume_l=5.0, volume_sd_share=0.0, feed_oxygen_ppm=0.0), 0.0)
    members = purge._by_flow
    assert members is not None
    for name, value in (("mixing", 1.0), ("meter", 1.0), ("draw_l_min", 0.0), ("stall_l_min", 0.0)):
        getattr(members, name)[:] = value
    members.feed_ppm[:] = 0.0
    for t_s in range(231):
        purge.observe_flow(float(t_s), 10.0)
    oxygen = purge.oxygen()
    assert oxygen is not None
    # Steps are solved exactly, so only rounding is left.
    expected = AIR_PPM * math.exp(-10.0 / 60.0 * 230.0 / 5.0)
    assert oxygen.p05 == pytest.approx(expected, rel=1e-9)
    assert oxygen.p95 == pytest.approx(expected, rel=1e-9)


def test_plug_flow_is_done_after_one_volume() -> None:
    assert plug_flow_ppm(0.999) == AIR_PPM
    assert plug_flow_ppm(1.0, feed_ppm=5.0) == 5.0


@pytest.mark.parametrize("rooms", [1, 2, 3, 10])
@pytest.mark.parametrize("changes", [0.0, 0.5, 1.0, 2.0, 5.0])
def test_rooms_in_a_row_wash_out_as_a_gamma_distribution(changes: float, rooms: int) -> None:
    """Residence time in N equal mixed rooms is gamma distributed with shape N (scipy's)."""
    left = gamma.sf(changes, rooms, scale=1.0 / rooms)
    assert rooms_in_row_ppm(changes, rooms, AIR_PPM) == pytest.approx(AIR_PPM * left, rel=1e-9)


def test_one_room_is_well_mixed_and_very_many_are_plug_flow() -> None:
    assert rooms_in_row_ppm(3.0, 1, AIR_PPM) == pytest.approx(well_mixed_ppm(3.0, AIR_PPM))
    assert rooms_in_row_ppm(0.7, 100, AIR_PPM) == pytest.approx(AIR_PPM, rel=2e-3)
    assert rooms_in_row_ppm(1.6, 100, AIR_PPM, 5.0) == pytest.approx(5.0, abs=1.0)


def test_limits() -> None:
    assert well_mixed_ppm(0.0) == AIR_PPM
    assert well_mixed_ppm(100.0, feed_ppm=5.0) == pytest.approx(5.0)
    assert volume_changes_to(AIR_PPM) == 0.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: volume_changes_to(5.0, feed_ppm=5.0),
        lambda: volume_changes_to(3e5),
        lambda: volume_changes_to(50.0, mixing=0.0),
        lambda: volume_changes_to(50.0, mixing=1.1),
        lambda: volume_changes_to(50.0, start_ppm=-1.0),
        lambda: well_mixed_ppm(-1.0),
        lambda: plug_flow_ppm(-1.0),
        lambda: rooms_in_row_ppm(-1.0, 3),
        lambda: rooms_in_row_ppm(1.0, 0),
        lambda: well_mixed_ppm(1.0, feed_ppm=2e6),
    ],
)
def test_refused_outside_range(call) -> None:
    with pytest.raises(ValueError, match=r"ppm|mixing|volume changes|rooms"):
        call()
