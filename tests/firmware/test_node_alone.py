"""The node by itself: what it writes on its serial port, read by the service's own decoder."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Any

import pytest

from service.readings import Measurement
from service.wire.senml import decode_pack
from tests.firmware.conftest import MakeNode
from tests.firmware.node_process import (
    ARC,
    ARGON,
    FLANGE,
    LAMP,
    NEXT,
    OXYGEN,
    PORT2,
    RESET,
    WATCHDOG_BIT,
    NodeProcess,
    example,
)


def packs(node: NodeProcess) -> list[list[dict[str, Any]]]:
    """Everything it has written, each line a pack without fault."""
    lines = (node.folder / "output.log").read_bytes().splitlines()
    assert not [reject for line in lines for reject in decode_pack(line).rejects]
    return [json.loads(line) for line in lines]


def said(node: NodeProcess, channel: str) -> list[Measurement]:
    """What it has said of one channel, as the service reads it."""
    lines = (node.folder / "output.log").read_bytes().splitlines()
    found = [each for line in lines for each in decode_pack(line).measurements]
    return [each for each in found if each.name == f"node1/{channel}"]


def after(node: NodeProcess, seconds: float, channel: str) -> list[Measurement]:
    """What it says of one channel from now on."""
    before = len(said(node, channel))
    node.skip(seconds)
    return said(node, channel)[before:]


def test_every_input_is_told_once_a_second_in_its_unit(make_node: MakeNode) -> None:
    node = make_node()
    node.start({"do": "pin", "pin": NEXT, "level": 1})
    node.skip(60)
    # a second probe's cold junction is a channel; 150 pulses/s at 750 a litre are 12 l/min;
    # 2.815 V is (2.815 − 0.33) · 8.42 = 20.92 % and 1.65 V no current
    for channel, unit, value, off in [
        ("port2", "Cel", 312.5, 0.01),
        ("flange", "Cel", 300.0, 0.01),
        ("board", "Cel", 25.0, 0.01),
        ("argon", "l/min", 12.0, 0.6),
        ("oxygen", "ppm", 209_237, 30),
        ("arc", "A", 0.0, 0.01),
        ("next", "on/off", 0.0, 0.0),
    ]:
        told = said(node, channel)
        assert 58 <= len(told) <= 61, channel
        assert {each.unit for each in told} == {unit}
        assert all(each.value == pytest.approx(value, abs=off) for each in told), told[:3]
    boots = {pack[0]["boot"] for pack in packs(node)}
    assert len(boots) == 1
    assert [pack[0]["seq"] for pack in packs(node)] == list(range(len(packs(node))))


def test_no_times_while_the_clock_is_unset_and_whole_seconds_once_it_is(
    make_node: MakeNode,
) -> None:
    unset, set_ = make_node(), make_node(clock_set=True, utc_s=1_772_352_900)
    for node in (unset, set_):
        node.start()
        node.skip(10)
    for pack in packs(unset):
        assert "bt" not in pack[0]
        assert all(-0.1 < record.get("t", 0) <= 0 for record in pack), "only its short wait"
    for pack in packs(set_):
        assert isinstance(pack[0]["bt"], int)
        assert 1_772_352_900 <= pack[0]["bt"] <= 1_772_352_911
        assert all(0 <= record.get("t", 0) < 30 for record in pack)
    times_us = [each.time_us for each in said(set_, "port2")]
    gaps_s = [(b - a) / 1e6 for a, b in pairwise(times_us)]  # type: ignore[operator]
    assert all(0.9 < gap < 1.1 for gap in gaps_s)


def test_each_power_up_has_another_mark(make_node: MakeNode) -> None:
    node = make_node()
    for _ in range(3):
        node.start()
        node.skip(2)
        node.power_off()
    assert len({pack[0]["boot"] for pack in packs(node)}) == 3


@pytest.mark.parametrize(
    ("select", "channel", "broken", "reason"),
    [
        (FLANGE, "flange", {"fault": 1}, "open-circuit"),
        (FLANGE, "flange", {"fault": 2}, "short-to-ground"),
        (FLANGE, "flange", {"fault": 4}, "short-to-supply"),
        (FLANGE, "flange", {"mode": "zeros"}, "amplifier-silent"),
        (FLANGE, "flange", {"mode": "ones"}, "amplifier-silent"),
        (PORT2, "port2", {"fault": 0x01}, "open-circuit"),
        (PORT2, "port2", {"fault": 0x02}, "out-of-range"),
        (PORT2, "port2", {"fault": 0x40}, "out-of-range"),
        (PORT2, "port2", {"fault": 0x80}, "out-of-range"),
        (PORT2, "port2", {"mode": "zeros"}, "amplifier-silent"),
        (PORT2, "port2", {"mode": "ones"}, "amplifier-silent"),
    ],
)
def test_each_fault_is_told_within_two_seconds_and_is_over_when_it_is_mended(
    make_node: MakeNode, select: int, channel: str, broken: dict[str, Any], reason: str
) -> None:
    node = make_node()
    node.start()
    assert [each.reason for each in after(node, 5, channel)][-1] is None
    node.chip(select, **broken)
    reasons = [each.reason for each in after(node, 10, channel)]
    assert reasons[2:] == [reason] * len(reasons[2:])
    other = "port2" if channel == "flange" else "flange"
    assert said(node, other)[-1].reason is None, "the other probe on the same bus is read"
    node.chip(select, fault=0, mode="ok")
    mended = after(node, 10, channel)[2:]
    assert [each.reason for each in mended] == [None] * len(mended)
    assert mended[-1].value == (300.0 if channel == "flange" else 312.5)


def test_a_chip_that_lost_its_settings_gets_them_again_and_never_reads_nought(
    make_node: MakeNode,
) -> None:
    node = make_node()
    node.start()
    node.skip(3)
    given = node.do("look")["starts"][str(PORT2)]
    for _ in range(5):
        node.chip(PORT2, shock=True)
        node.skip(4)
    assert node.do("look")["starts"][str(PORT2)] == 6 * given
    assert {each.value for each in said(node, "port2") if each.value is not None} == {312.5}
    counts = [pack[0]["noise"] for pack in packs(node) if "noise" in pack[0]]
    assert counts[-1] == 5, "one frame each was lost to it"


def test_torn_frames_are_left_out_and_counted(make_node: MakeNode) -> None:
    node = make_node()
    node.start()
    node.skip(3)
    torn = [
        {"temperature_c": 900.0},
        {"fault": 1},
        {"raw": "00000000"},
        {"raw": "ffffffff"},
        {"temperature_c": -40.0},
    ]
    for each in torn:
        node.chip(FLANGE, next=[each])
        told = after(node, 3, "flange")
        assert {(one.value, one.reason) for one in told} == {(300.0, None)}
    counts = [pack[0]["noise"] for pack in packs(node) if "noise" in pack[0]]
    assert counts == [1, 2, 3, 4, 5]


def test_a_sensor_out_of_its_volts_says_so(make_node: MakeNode) -> None:
    node = make_node()
    node.start()
    node.do("volts", pin=OXYGEN, volts=0.0)  # its wire has come off
    told = after(node, 5, "oxygen")[1:]
    assert {(each.value, each.reason) for each in told} == {(None, "out-of-range")}


def test_a_straight_line_chip_can_send_its_voltage_and_its_terminals(make_node: MakeNode) -> None:
    """11.209 mV with the terminals at 25 °C is type K at 300 °C: 12.209 mV (NIST SRD 60) less the
    1.000 mV of the terminals; the chip itself would call it 296.57 °C."""
    config = example()
    config["inputs"][1]["emf"] = True
    node = make_node(config)
    node.start()
    node.chip(FLANGE, temperature_c=296.57)
    told = after(node, 5, "flange")[1:]
    assert {each.unit for each in told} == {"mV"}
    assert all(each.value == pytest.approx(11.209, abs=0.011) for each in told), "a step is 0.25 K"
    assert {each.value for each in said(node, "board")} == {25.0}


def test_no_pulses_are_no_flow(make_node: MakeNode) -> None:
    node = make_node()
    node.start()
    node.do("pulses", pin=ARGON, hz=0)
    assert {each.value for each in after(node, 5, "argon")[1:]} == {0.0}


def test_an_arc_is_told_when_it_is_struck_not_when_the_second_is_over(make_node: MakeNode) -> None:
    node = make_node(clock_set=True)
    node.start()
    node.skip(5.3)
    struck_us = node.do("look")["utc_ms"] * 1000
    node.do("volts", pin=ARC, volts=1.65 + 60 / 200)
    told = [each for each in after(node, 3, "arc") if (each.value or 0) > 50]
    assert told[0].value == pytest.approx(60, abs=0.1)
    assert 0 <= told[0].time_us - struck_us < 200_000  # type: ignore[operator]


@pytest.mark.parametrize(
    ("edges_ms", "levels"),
    [
        ([0, 80], [1, 0]),
        ([0, 2, 3, 5, 8, 90, 91, 93], [1, 0]),  # contacts bounce
        ([0, 3], []),  # a spark beside the cable
        ([0, 1500], [1, 0]),
    ],
    ids=["a press", "bouncing", "a spark", "held"],
)
def test_a_press_is_told_with_its_times(
    make_node: MakeNode, edges_ms: list[int], levels: list[int]
) -> None:
    node = make_node(clock_set=True)
    node.start()
    node.skip(2)
    node.do("press", pin=NEXT, edges_ms=edges_ms)
    found = [(each.time_us, each.value) for each in after(node, 4, "next")]
    changes = [
        later
        for earlier, later in zip([(0, 0.0), *found], found, strict=False)
        if earlier[1] != later[1]
    ]
    assert [value for _, value in changes] == levels
    assert [each[0] for each in found] == sorted(each[0] or 0 for each in found)
    if levels:
        held_ms = (changes[1][0] - changes[0][0]) / 1000  # type: ignore[operator]
        assert held_ms == pytest.approx(edges_ms[-1], abs=60), (
            "rounds are long when time is skipped"
        )


def test_a_full_buffer_drops_the_oldest_and_counts_them(
    make_node: MakeNode, scripted_port: Any
) -> None:
    config = example() | {"buffer_samples": 100}
    node = make_node(config, scripted_port)
    node.start()
    node.skip(900)  # nobody reads its port, which holds some minutes' lines all the same
    data = scripted_port.drain()
    node.skip(5)
    whole = [json.loads(line) for line in (data + scripted_port.drain()).split(b"\n")[:-1]]
    lost = [pack[0]["lost"] for pack in whole if "lost" in pack[0]][-1]
    assert lost > 1000
    made = 1 + 7 * 904  # the arc's first is told at once; the last second's are on their way
    assert 0 <= sum(len(pack) for pack in whole) + lost - made <= 14, "written or counted"


def test_a_chip_that_never_answers_is_ended_by_the_watchdog(make_node: MakeNode) -> None:
    node = make_node()
    node.start()
    node.skip(2)
    node.chip(PORT2, mode="hang")
    assert node.ended() == WATCHDOG_BIT


def test_a_fault_of_its_own_is_told_and_the_board_is_reset(make_node: MakeNode) -> None:
    node = make_node()
    node.start()
    node.do("volts", pin=ARC, volts="no number")
    assert node.ended() == RESET
    assert "Traceback" in node.log()


def test_the_switch_that_keeps_it_out(make_node: MakeNode) -> None:
    node = make_node()
    node.start({"do": "pin", "pin": 12, "level": 0})
    assert node.ended() == 0
    assert "staying out" in node.log()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"nod": "x"}, "unknown key 'nod'; known are alarm_lines, buffer_samples"),
        ({"node": ""}, "node '' must have a length from 1 to 40"),
        ({"node": "a/b"}, "node 'a/b' becomes a topic level: no / + #"),
        ({"lamp": "15"}, "lamp '15' has the wrong type"),
        ({"lamp": True}, "lamp True must not be true or false"),
        ({"spi": None}, "thermocouples need a table spi"),
        ({"mqtt": {"host": "10.0.0.2"}}, "mqtt needs a table wifi"),
        ({"mqtt": {}}, "mqtt: 'host' is missing"),
        ({"watchdog_ms": 60_000}, "watchdog_ms 60000 must be from 0 to 8300"),
        ({"inputs": []}, "inputs [] must have a length from 1 to 32"),
        ({"inputs": [{"kind": "nose"}]}, "input 1: kind 'nose' must be one of analog, max31855"),
        (
            {"inputs": [{"kind": "max31856", "name": "x", "select": 1, "type": "Z"}]},
            "input 1 (max31856): type 'Z' must be one of B, E, J, K, N, R, S, T",
        ),
        (
            {"inputs": [{"kind": "max31855", "name": "x", "select": 1, "emf": True}]},
            "x sends emf and needs a cold_junction name",
        ),
        (
            {"inputs": [{"kind": "switch", "name": "a b", "pin": 1}]},
            "name 'a b' must be letters, digits and - . _ /",
        ),
        (
            {"inputs": [{"kind": "switch", "name": "a", "pin": each} for each in (1, 2)]},
            "name 'a' stands more than once",
        ),
    ],
    ids=lambda value: None if isinstance(value, str) else "-".join(value),
)
def test_a_config_file_that_breaks_a_rule_is_refused_with_its_place(
    make_node: MakeNode, change: dict[str, Any], told: str
) -> None:
    node = make_node(example() | change)
    node.start()
    assert node.ended() == 0
    assert told in node.log()
    assert "config.json" in node.log()
    assert "Traceback" not in node.log()


def test_the_example_holds_no_secret(make_node: MakeNode) -> None:
    config = example()
    assert (config["wifi"], config["mqtt"]) == (None, None)
    node = make_node(config)
    node.start()
    node.skip(1)
    assert node.level(LAMP) == 0
