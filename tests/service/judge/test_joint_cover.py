"""The joint is the main leak; the judge tells the purge model how much of it is still open."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.judge import actions as act
from service.judge.joint_cover import JOINTS_MM, SLOWEST_MM_S, open_share
from service.judge.shop import Heat, Part
from service.judge.trip import WeldPass

PART = Part(1, "manifold", "ductile iron", 6.0, 0.15, None, 0.0, joint_wall_mm=2.0)
LIMITS = act.Limits(preheat_min_c=150, interpass_max_c=320, oxygen_max_ppm=100)


def weld(number: int, seconds: float, arc_s: float | None = None) -> WeldPass:
    began_us = number * 100_000_000
    ended_us = began_us + int(seconds * 1e6)
    arc_us = None if arc_s is None else int(arc_s * 1e6)
    return WeldPass(number, began_us, began_us, "tap", ended_us, ended_us, arc_us)


def heat_with(*welds: WeldPass, phase: str = "bench") -> Heat:
    tacks = sum(each.tack for each in welds)
    return Heat(1, 1, 0, 0, phase, 0, welds=list(welds), passes=len(welds), tacks=tacks)


def test_open_in_full_before_the_first_bead_and_after_tacks_alone():
    assert open_share(heat_with(), PART) == 1.0
    assert open_share(heat_with(weld(1, 2.0), weld(2, 9.0, arc_s=1.5)), PART) == 1.0


def test_every_pass_closes_what_a_slow_hand_surely_welds():
    one = open_share(heat_with(weld(1, 80.0, arc_s=60.0)), PART)
    assert one == pytest.approx(1.0 - 60.0 * SLOWEST_MM_S / JOINTS_MM)
    two = open_share(heat_with(weld(1, 80.0, arc_s=60.0), weld(2, 80.0, arc_s=60.0)), PART)
    assert 1.0 - two == pytest.approx(2.0 * (1.0 - one))
    # A tapped pass lasts longer than its arc.
    assert open_share(heat_with(weld(1, 120.0)), PART) == pytest.approx(one)


def test_a_pass_that_runs_has_closed_nothing_yet():
    running = WeldPass(1, 0, 0, "tap")
    assert open_share(heat_with(running), PART) == 1.0


def test_a_thick_wall_needs_more_layers_and_an_unknown_one_any_number():
    welds = (weld(1, 600.0, arc_s=500.0), weld(2, 600.0, arc_s=500.0))
    thin, thick = (
        1.0 - open_share(heat_with(*welds), replace(PART, joint_wall_mm=mm)) for mm in (2.5, 7.5)
    )
    assert thin == pytest.approx(3.0 * thick)
    assert open_share(heat_with(*welds), replace(PART, joint_wall_mm=None)) == 1.0
    assert open_share(heat_with(*welds, *welds, *welds), PART) == 0.0


def test_under_the_cover_the_joint_is_welded_unless_nothing_was():
    assert open_share(heat_with(weld(1, 60.0), phase="slow cool"), PART) == 0.0
    assert open_share(heat_with(phase="slow cool"), PART) == 1.0
    assert open_share(heat_with(weld(1, 2.0), phase="slow cool"), PART) == 1.0


def test_the_models_leak_shrinks_with_the_passes_and_opens_again_when_one_is_taken_back(stage):
    stage.sources["tc1"] = lambda _t: 250.0
    stage.sources["flow1"] = lambda _t: 12.0
    known = {"tc1": "thermocouple", "flow1": "gas flow"}
    stage.part(1, known, LIMITS, cavity_volume_l=0.8, joint_wall_mm=2.0)
    stage.act(act.BeginHeat(heat_id=1, part_id=1, phase="bench"))
    stage.run(10)
    stage.act(act.BeginPurge(heat_id=1))
    stage.run(5)
    model = stage.judge.state.heats[1].purging.model
    assert model.open_share == 1.0
    stage.act(act.BeginPass(heat_id=1))
    stage.run(40)
    assert model.open_share == 1.0
    stage.act(act.EndPass(heat_id=1))
    stage.run(2)
    assert model.open_share == pytest.approx(1.0 - 0.5 * 40.0 * SLOWEST_MM_S / JOINTS_MM)
    stage.act(act.MovePart(heat_id=1, phase="slow cool"))
    stage.run(2)
    assert model.open_share == 0.0
    stage.act(act.MovePart(heat_id=1, phase="bench"))
    stage.run(2)
    assert 0.0 < model.open_share < 1.0
