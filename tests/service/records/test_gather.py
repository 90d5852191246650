"""The record of a heat that a judge really judged."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.records.gather import UnknownHeat, gather
from service.store.database import Store


def test_a_heat_is_gathered_whole(kept: Store) -> None:
    record = gather(kept, 1)
    assert record.facts.name == "pump engine manifold"
    assert [each.phase for each in record.phases] == ["oven", "carry", "bench", "slow cool"]
    assert [each.number for each in record.passes] == [1, 2]
    assert [each.name for each in record.channels if each.of_part] == [
        "tc1", "tc2", "flow1", "oxygen1",
    ]  # fmt: skip
    assert [each.name for each in record.channels if not each.of_part] == ["room1"]
    assert record.purges[0].argon_l == pytest.approx(12 * 330 / 60, rel=0.01)
    assert record.figures.last_arc_to_cover_s == pytest.approx(60, abs=0.1)
    first, second = record.passes
    assert first.oxygen_ppm is not None
    assert first.oxygen_ppm > 50
    assert second.oxygen_high_ppm == 12.0
    said = [each.verdict for each in record.verdicts if each.at_us <= second.begun_us]
    assert second.verdict == said[-1]


def test_what_was_not_as_it_should_be_is_listed(kept: Store) -> None:
    said = [each.text for each in gather(kept, 1).deviations]
    assert "Pass 1 began while the verdict was wait." in said
    assert any(text.startswith("Pass 1: oxygen up to") for text in said)
    assert "tc2 has no recorded calibration." in said
    assert not any("tc1 has no recorded calibration" in text for text in said)
    assert not any("Pass 2: oxygen" in text for text in said)


def test_notes_and_corrections_are_told_with_who_made_them(kept: Store) -> None:
    during, after, corrected = gather(kept, 1).notes
    assert (during.by, during.text) == ("Ada", "note <b>: slag in the toe")
    assert after.text == "cold, no crack seen"
    assert corrected.by == "Ada"
    assert "pass 1" in corrected.text


def test_the_carry_is_a_gap_but_no_deviation(kept: Store) -> None:
    record = gather(kept, 1)
    assert {gap.why for gap in record.gaps} == {"unplugged for the carry"}
    assert not any("gap" in each.text for each in record.deviations)


def test_an_open_heat_and_a_clock_that_was_corrected_are_said(odd: Path) -> None:
    store = Store.open_to_read(f"sqlite:///{odd}")
    try:
        record = gather(store, 1)
    finally:
        store.close()
    said = [each.text for each in record.deviations]
    assert "The heat was still open when this was made." in said
    assert any("corrected by -90.000 s during the heat" in text for text in said)
    assert [each.by_us for each in record.clock_changes] == [-90_000_000]


def test_a_clock_that_is_corrected_bends_no_figure(kept: Store, odd: Path) -> None:
    """The same casting, once with the wall clock set back by 90 s before the first pass."""
    store = Store.open_to_read(f"sqlite:///{odd}")
    try:
        bent, plain = gather(store, 1), gather(kept, 1)
    finally:
        store.close()
    for one, other in zip(bent.passes, plain.passes, strict=True):
        assert one.begun_us - bent.begun_us == pytest.approx(
            other.begun_us - plain.begun_us, abs=1e4
        )
        assert one.coldest_c == pytest.approx(other.coldest_c, abs=1)
        assert one.verdict == other.verdict
    for rate, unbent in zip(bent.figures.rates, plain.figures.rates, strict=True):
        assert rate.mean_c_per_h == pytest.approx(unbent.mean_c_per_h, abs=5)
        down = unbent.fastest_down_c_per_h or 0.0
        assert (rate.fastest_down_c_per_h or 0.0) == pytest.approx(down, rel=0.02)
    assert bent.purges[0].argon_l == pytest.approx(plain.purges[0].argon_l, abs=0.3)
    assert bent.figures.soak is not None
    assert plain.figures.soak is not None
    assert bent.figures.soak.longest_s == pytest.approx(plain.figures.soak.longest_s, abs=2)


def test_an_unknown_heat_names_those_there_are(kept: Store) -> None:
    with pytest.raises(UnknownHeat, match="no heat 7; the database has the heats 1 to 1"):
        gather(kept, 7)
