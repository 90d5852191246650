"""What heats took: sums worked out here by hand, and what is not known stays so."""

from __future__ import annotations

import pytest

from service.records.work import PassSpell, Spell, total, work_of


def spell(from_s: float, to_s: float) -> Spell:
    return Spell(round(from_s * 1e6), round(to_s * 1e6))


def welded(from_s: float, to_s: float, arc_s: float | None = None, **torch: float) -> PassSpell:
    arc_us = None if arc_s is None else round(arc_s * 1e6)
    return PassSpell(spell(from_s, to_s), arc_us, torch.get("l"), torch.get("l_min"))


def test_hours_oven_and_arc() -> None:
    passes = [welded(3600, 3660), welded(3700, 3790, arc_s=75)]
    work = work_of(spell(0, 7200), [spell(0, 3000), spell(4000, 4600)], passes, [], False)
    assert (work.total_s, work.oven_s, work.arc_s) == (7200, 3600, 135)
    assert work.arc_by == "arc channel and taps"
    assert work.purge_l == 0
    assert work_of(spell(0, 60), [], passes[:1], [], False).arc_by == "taps"
    assert work_of(spell(0, 60), [], passes[1:], [], False).arc_by == "arc channel"


def test_argon_of_purge_and_torch() -> None:
    passes = [welded(0, 60, l_min=8.0), welded(100, 190, arc_s=75, l_min=8.0)]
    work = work_of(spell(0, 600), [], passes, [120.0, 30.5], False)
    assert work.purge_l == 150.5
    # 8 l/min for 60 s and 75 s of arc: 8 + 10 litres.
    assert (work.torch_l, work.torch_by) == (pytest.approx(18.0), "setting")
    metered = [welded(0, 60, l=7.5), welded(100, 190, l=11.0, l_min=99.0)]
    assert work_of(spell(0, 600), [], metered, [], True).torch_l == 18.5


def test_what_is_not_metered_throughout_is_not_known() -> None:
    passes = [welded(0, 60, l_min=8.0), welded(100, 190)]
    work = work_of(spell(0, 600), [], passes, [120.0, None], False)
    assert (work.purge_l, work.torch_l, work.torch_by) == (None, None, None)
    assert work_of(spell(0, 600), [], [welded(0, 60, l_min=8.0)], [], True).torch_l is None
    assert work_of(spell(0, 600), [], [], [], True).torch_l == 0


def test_several_heats_together() -> None:
    one = work_of(spell(0, 600), [spell(0, 300)], [welded(0, 60, l_min=10)], [50.0], False)
    other = work_of(spell(0, 900), [], [welded(0, 30, arc_s=30, l=5.0)], [25.0], True)
    both = total([one, other])
    assert (both.total_s, both.oven_s, both.arc_s) == (1500, 300, 90)
    assert (both.purge_l, both.torch_l) == (75.0, 15.0)
    assert (both.arc_by, both.torch_by) == ("arc channel and taps", None)
    unknown = work_of(spell(0, 60), [], [], [None], False)
    assert total([one, unknown]).purge_l is None
    assert total([]).total_s == 0
