"""The service's alarm lines, through a real pseudo-terminal, to the node's second serial port."""

from __future__ import annotations

from pathlib import Path

from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess
from tests.firmware.conftest import MakeNode
from tests.firmware.node_process import LAMP, OXYGEN, SOUNDER, NodeProcess, example


def shown(node: NodeProcess, pin: int) -> set[int]:
    """What a pin has shown within a second and a bit of the node's time."""
    began_ms = node.do("look")["now_ms"]
    seen = set()
    while True:
        looked = node.do("look")
        seen.add(looked["levels"][str(pin)])
        if looked["now_ms"] - began_ms > 1_100:
            return seen


def test_a_lamp_on_a_wire_flashes_stands_and_goes_out(
    service_folder: Path, scripted_port: ScriptedPort, tmp_path: Path, make_node: MakeNode
) -> None:
    wire = ScriptedPort(tmp_path / "usb-lamp")
    wire.plug_in()
    shop = ServiceProcess(
        service_folder,
        f'[[serial]]\nport = "{scripted_port.path}"\n[notify]\nserial_port = "{wire.path}"\n',
    )
    lines = {"uart": 1, "rx": 5, "tx": 4}
    node = make_node(example() | {"alarm_lines": lines}, scripted_port)

    def lamp() -> set[int]:
        node.do("uart", text=wire.read().decode("ascii"))
        return shown(node, LAMP)

    try:
        shop.start()
        node.start()
        wait_until(lambda: shop.channel("node1/oxygen"), "the cell")
        shop.act("adopt channel", channel="node1/oxygen", channel_kind="room oxygen")
        assert lamp() == {0}
        node.do("volts", pin=OXYGEN, volts=0.33 + 15 / 8.42)  # 15 % of oxygen in the room
        wait_until(lambda: lamp() == {0, 1}, "the lamp flashes")
        assert shown(node, SOUNDER) == {0, 1}
        (alarm,) = [each for each in shop.bench()["alarms"] if each["channel"] == "node1/oxygen"]
        shop.act("acknowledge alarm", alarm_id=alarm["id"])
        wait_until(lambda: lamp() == {1}, "the lamp stands")
        assert shown(node, SOUNDER) == {0}
        node.do("volts", pin=OXYGEN, volts=2.815)
        wait_until(lambda: lamp() == {0}, "the lamp is out", 40)
    finally:
        shop.end()
        wire.unplug()
