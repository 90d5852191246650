"""Pacing and faults on a clock that the test moves."""

from __future__ import annotations

import threading

import pytest

from service.demo.faults import FAULTS, FaultName, FaultScript
from service.demo.instruments import OPEN_CIRCUIT
from service.demo.pacing import Pacing, StoryEnded
from service.demo.shop import SimulatedShop


class JumpingClock:
    """Shop time runs on by 50 s at every look."""

    speed = 10.0

    def __init__(self) -> None:
        self.us = 0

    def monotonic_us(self) -> int:
        self.us += 50_000_000
        return self.us

    def utc_us(self) -> int:
        return self.us


class Plug:
    """A node and a broker at once: what is done to it, in order."""

    def __init__(self) -> None:
        self.done: list[str] = []

    def plug_in(self) -> None:
        self.done.append("plugged in")

    def unplug(self) -> None:
        self.done.append("unplugged")

    def start(self) -> None:
        self.done.append("started")

    def kill(self) -> None:
        self.done.append("killed")


@pytest.fixture
def pacing() -> Pacing:
    return Pacing(JumpingClock(), threading.Event())


def test_a_pause_lets_its_time_pass_and_does_what_is_due(pacing: Pacing) -> None:
    done: list[str] = []
    pacing.later(500.0, lambda: done.append("second"))
    pacing.later(10.0, lambda: done.append("first"))
    pacing.later(9000.0, lambda: done.append("much later"))
    pacing.pause(600.0)
    assert done == ["first", "second"]


def test_waiting_ends_when_it_happens_or_when_patience_does(pacing: Pacing) -> None:
    looks = iter([False, False, True])
    assert pacing.wait_until(lambda: next(looks), 1000.0) is True
    assert pacing.wait_until(lambda: False, 10.0) is False


def test_stopping_ends_every_wait() -> None:
    stop = threading.Event()
    stop.set()
    pacing = Pacing(JumpingClock(), stop)
    for wait in (lambda: pacing.pause(60.0), pacing.wait_for_stop):
        with pytest.raises(StoryEnded):
            wait()


def play(
    name: FaultName | None, pacing: Pacing
) -> tuple[Plug, list[str], SimulatedShop, list[str]]:
    """All moments of the first casting with half a minute after each; what was seen meanwhile."""
    plug, told, shop, joints = Plug(), [], SimulatedShop(0.0), []
    script = FaultScript(name, shop=shop, node=plug, broker=plug, pacing=pacing, tell=told.append)
    for moment in ("soaking", "purging", "between passes", "cooling"):
        script.at(moment, 1)  # type: ignore[arg-type]
        joints.append(str(shop.sample(1).joint))
        script.at(moment, 2)  # type: ignore[arg-type]
        pacing.pause(300.0)
        joints.append(str(shop.sample(1).joint))
    return plug, told, shop, joints


@pytest.mark.parametrize("name", [None, *FAULTS])
def test_a_fault_begins_once_and_ends_once(name: FaultName | None, pacing: Pacing) -> None:
    plug, told, _, joints = play(name, pacing)
    expected = {"dead-broker": ["killed", "started"], "unplugged-node": ["unplugged", "plugged in"]}
    assert plug.done == expected.get(name or "", [])
    spoken = [line.partition(":")[0] for line in told]
    assert spoken == ([] if name in (None, "kinked-hose") else ["FAULT begins", "FAULT ends"])
    assert (OPEN_CIRCUIT in joints) is (name == "open-thermocouple")
    assert joints[-1] != OPEN_CIRCUIT


def test_only_the_kinked_hose_makes_the_stall_long(pacing: Pacing) -> None:
    for name in (None, *FAULTS):
        script = FaultScript(
            name, shop=SimulatedShop(0.0), node=Plug(), broker=Plug(), pacing=pacing, tell=print
        )
        assert (script.kink_s is not None) is (name == "kinked-hose")


def test_a_kinked_hose_lets_nothing_through() -> None:
    shop = SimulatedShop(0.0)
    shop.set_argon(1, 16.0)
    assert shop.sample(1).argon_l_min == pytest.approx(16.16, abs=0.3)
    shop.kink_hose(1, True)
    assert shop.sample(1).argon_l_min == 0.0
    shop.kink_hose(1, False)
    assert shop.sample(1).argon_l_min > 15.0


def test_a_carried_casting_comes_to_the_bench_with_cold_probes_and_air_inside() -> None:
    shop = SimulatedShop(0.0)
    shop.set_argon(1, 16.0)
    shop.advance_to(120.0)
    assert shop.oxygen_ppm(1) < 1000.0
    shop.unplug_and_carry(1)
    shop.advance_to(132.0)
    carried = shop.sample(1)
    assert carried.body == carried.joint == OPEN_CIRCUIT
    shop.set_down(1)
    down = shop.sample(1)
    assert isinstance(down.joint, float)
    assert down.joint < 25.0
    assert shop.oxygen_ppm(1) == pytest.approx(209_500)
    shop.advance_to(160.0)
    assert shop.sample(1).joint == pytest.approx(shop.joint_c(1), abs=3.0)


def test_welding_warms_the_joint_and_covering_slows_the_fall() -> None:
    shop = SimulatedShop(0.0)
    shop.unplug_and_carry(1)
    shop.set_down(1)
    shop.advance_to(30.0)
    before_c = shop.joint_c(1)
    shop.arc(1, True)
    shop.advance_to(60.0)
    shop.arc(1, False)
    assert shop.joint_c(1) > before_c + 20.0
    shop.advance_to(300.0)
    bare_c = shop.joint_c(1)
    shop.advance_to(360.0)
    bare_fall = bare_c - shop.joint_c(1)
    shop.cover(1)
    shop.advance_to(420.0)
    covered_c = shop.joint_c(1)
    shop.advance_to(480.0)
    assert covered_c - shop.joint_c(1) < 0.25 * bare_fall
