"""The node on a real pseudo-terminal, the real service at the other end of it."""

from __future__ import annotations

import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess
from tests.firmware.conftest import MakeNode
from tests.firmware.node_process import ARC, FLANGE, NEXT, PORT2, NodeProcess, example

KINDS = {
    "port2": "thermocouple",
    "flange": "thermocouple",
    "argon": "gas flow",
    "arc": "arc",
    "next": "button",
}


@pytest.fixture
def shop(service_folder: Path, scripted_port: ScriptedPort) -> Iterator[ServiceProcess]:
    service = ServiceProcess(service_folder, f'[[serial]]\nport = "{scripted_port.path}"\n')
    yield service
    service.end()


def channel(shop: ServiceProcess, name: str) -> dict[str, Any]:
    return shop.channel(f"node1/{name}") or {}


def link(shop: ServiceProcess) -> dict[str, Any]:
    (found,) = shop.ask("GET", "/healthz")[1]["links"]
    return found  # type: ignore[no-any-return]


def test_good_readings_and_every_fault_reach_the_page(
    shop: ServiceProcess, scripted_port: ScriptedPort, make_node: MakeNode
) -> None:
    shop.start()
    config = example()
    for each in config["inputs"][:2]:
        each["every_ms"] = 200
    node = make_node(config, scripted_port)
    node.start()
    for name, unit, value, off in [
        ("port2", "Cel", 312.5, 0.01),
        ("flange", "Cel", 300.0, 0.01),
        ("board", "Cel", 25.0, 0.01),
        ("argon", "l/min", 12.0, 3.0),
        ("oxygen", "ppm", 209_237, 30),
        ("arc", "A", 0.0, 0.01),
        ("next", "on/off", 0.0, 0.0),
    ]:
        wait_until(lambda name=name: channel(shop, name).get("value") is not None, name)
        shown = channel(shop, name)
        assert (shown["unit"], shown["value"]) == (unit, pytest.approx(value, abs=off)), name
    assert link(shop)["resets"] == 0
    assert sum(link(shop)["rejected"].values()) == 0

    for select, name, broken, reason in [
        (FLANGE, "flange", {"fault": 1}, "open circuit"),
        (FLANGE, "flange", {"fault": 2}, "short to ground"),
        (FLANGE, "flange", {"fault": 4}, "short to supply"),
        (PORT2, "port2", {"fault": 0x40}, "out of range"),
        (PORT2, "port2", {"mode": "zeros"}, "amplifier-silent"),
        (PORT2, "port2", {"mode": "ones"}, "amplifier-silent"),
    ]:
        node.chip(select, **broken)
        wait_until(
            lambda name=name, reason=reason: reason in (channel(shop, name)["reason"] or ""),
            f"{name}: {reason}",
        )
        assert channel(shop, name)["quality"] == "bad"
        node.chip(select, fault=0, mode="ok")
        wait_until(lambda name=name: channel(shop, name)["quality"] != "bad", f"{name} mended")


def test_a_reset_in_the_middle_of_a_line_costs_that_line_only(
    shop: ServiceProcess, scripted_port: ScriptedPort, make_node: MakeNode
) -> None:
    node = make_node(None, scripted_port)
    node.start()
    node.skip(200)  # nobody reads: it stands in the middle of a line, and is switched off there
    node.power_off()
    other = make_node(None, scripted_port)
    shop.start()
    other.start({"do": "chip", "select": PORT2, "temperature_c": 320.0})
    wait_until(lambda: channel(shop, "port2").get("value") == 320.0, "the readings after it")
    assert link(shop)["rejected"]["syntax"] == 1
    assert link(shop)["resets"] == 1
    assert sum(link(shop)["rejected"].values()) == 1


def test_ten_minutes_without_a_reader_are_caught_up_with_their_own_times(
    shop: ServiceProcess, scripted_port: ScriptedPort, make_node: MakeNode
) -> None:
    """The service is away, the cable is in: what the port cannot hold waits in the node."""
    began_s = time.time() - 620
    node = make_node(None, scripted_port, clock_set=True, utc_s=began_s)
    node.start({"do": "chip", "select": PORT2, "temperature_c": 400.0, "k_per_s": -0.25})
    node.skip(615)
    shop.start()
    told_ms = node.do("look")["utc_ms"]
    wait_until(lambda: newest_ms(shop) > told_ms, "the readings of now")
    assert_unbroken(shop, began_s, 614)
    assert sum(link(shop)["rejected"].values()) == 0


def newest_ms(shop: ServiceProcess) -> float:
    rows = shop.stored("node1/port2")
    return rows[-1][0] / 1000 if rows else 0.0


def assert_unbroken(shop: ServiceProcess, began_s: float, least: int) -> None:
    """One reading for each second since power-up, each once, each with its own time and value."""
    rows = shop.stored("node1/port2")
    assert len(rows) >= least
    for (a_us, _), (b_us, _) in pairwise(rows):
        assert 0.9e6 < b_us - a_us < 1.1e6, (a_us, b_us)
    for t_us, value in rows:
        # the probe cools by 0.25 K a second from 400 °C; a frame is up to a second old
        assert value == pytest.approx(400 - 0.25 * (t_us / 1e6 - began_s), abs=0.3)


def begin(shop: ServiceProcess) -> int:
    """A part on the bench with everything the node measures; its heat."""
    for name, kind in KINDS.items():
        wait_until(lambda name=name: channel(shop, name).get("value") is not None, name)
        shop.act("adopt channel", channel=f"node1/{name}", channel_kind=kind)
    part_id = shop.act(
        "create part",
        facts={"name": "Pump engine manifold"},
        limits={"preheat_min_c": 200, "interpass_max_c": 350},
    )["part_id"]
    for name in ("port2", "flange"):
        shop.act("assign channel", channel=f"node1/{name}", part_id=part_id)
    return int(shop.act("begin heat", part_id=part_id, phase="bench")["heat_id"])


def part(shop: ServiceProcess) -> dict[str, Any]:
    (found,) = shop.bench()["parts"]
    return found  # type: ignore[no-any-return]


def heat(shop: ServiceProcess) -> dict[str, Any]:
    return part(shop)["heat"]  # type: ignore[no-any-return]


def too_cold(told: dict[str, Any]) -> bool:
    why = " ".join(told["reasons"])
    return told["verdict"] in ("wait", "stop") and "below" in why and "200" in why


def without_arc() -> dict[str, Any]:
    config = example()
    config["inputs"] = [each for each in config["inputs"] if each["name"] != "arc"]
    return config


def test_a_press_begins_a_pass_and_another_ends_it(
    shop: ServiceProcess,
    scripted_port: ScriptedPort,
    make_node: MakeNode,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delitem(KINDS, "arc")
    shop.start()
    node = make_node(without_arc(), scripted_port)
    node.start()
    begin(shop)
    press(shop, node)
    wait_until(lambda: passes(shop) == [("button", None)], "the pass")
    press(shop, node)
    wait_until(lambda: passes(shop)[0][1] is not None, "its end")
    presses = [value for _, value in shop.stored("node1/next")]
    assert sum(1 for pair in pairwise(presses) if pair == (0.0, 1.0)) == 2
    assert len(passes(shop)) == 1


def press(shop: ServiceProcess, node: NodeProcess) -> None:
    """A thumb in a glove, on a button that has been left alone for a while."""
    heard = len(shop.stored("node1/next"))
    wait_until(lambda: len(shop.stored("node1/next")) >= heard + 2, "the button at rest")
    node.do("press", pin=NEXT, edges_ms=[0, 3, 5, 150])


def passes(shop: ServiceProcess) -> list[tuple[Any, Any]]:
    return shop.rows("SELECT origin, ended_us FROM weld_pass ORDER BY number")


def test_from_the_chip_to_the_verdict(
    shop: ServiceProcess, scripted_port: ScriptedPort, make_node: MakeNode
) -> None:
    """Warm enough and steady: ready. An arc: a pass, by itself. Too cold: not ready, and said."""
    shop.start()
    node = make_node(None, scripted_port)
    node.start(
        *[{"do": "chip", "select": each, "temperature_c": 230.0} for each in (PORT2, FLANGE)]
    )
    begin(shop)
    wait_until(lambda: heat(shop)["verdict"] == "ready", "ready", 60)

    node.do("volts", pin=ARC, volts=1.65 + 70 / 200)
    wait_until(lambda: passes(shop) == [("readings", None)], "the pass")
    node.do("volts", pin=ARC, volts=1.65)
    wait_until(lambda: passes(shop)[0][1] is not None, "its end")

    for each in (PORT2, FLANGE):
        node.chip(each, temperature_c=215.0, k_per_s=-1.0)
    wait_until(lambda: too_cold(heat(shop)), "not ready, and why", 60)

    for each in (PORT2, FLANGE):
        node.chip(each, mode="ones")
    wait_until(lambda: part(shop)["verdict"] == "unknown", "doubt")
