"""The simulated nodes on real wires: a pseudo-terminal read by pyserial, a real broker."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as paho
import pytest
import serial
from paho.mqtt.enums import CallbackAPIVersion

from service.demo.broker import BrokerChild
from service.demo.engine import Engine, sample_interval_s
from service.demo.nodes import TOPIC, MqttNode, SerialNode
from service.demo.shop import SimulatedShop
from service.wire.senml import decode_pack


@pytest.fixture
def node(tmp_path: Path) -> SerialNode:
    return SerialNode(SimulatedShop(0.0), tmp_path / "bench-node")


def test_lines_come_out_of_the_terminal_the_link_points_to(node: SerialNode) -> None:
    node.plug_in()
    with serial.Serial(str(node.link), timeout=5, exclusive=True) as port:
        node.send(0)
        node.send(0)
        first, second = decode_pack(port.readline()), decode_pack(port.readline())
    node.close()
    assert [first.seq, second.seq] == [0, 1]
    assert first.rejects == second.rejects == []
    assert {m.name for m in first.measurements} == {
        f"bench-node/{name}" for name in ("flange", "joint", "argon", "air", "arc", "next")
    }
    flange = first.measurements[0]
    assert flange.value == pytest.approx(322.0, abs=3.0)
    assert not node.link.exists()


def test_the_foot_button_is_pressed_and_let_go_in_one_line(node: SerialNode) -> None:
    node.plug_in()
    with serial.Serial(str(node.link), timeout=5, exclusive=True) as port:
        node.press()
        pressed = decode_pack(port.readline())
    node.close()
    assert [(m.name, m.value, m.offset_us) for m in pressed.measurements] == [
        ("bench-node/next", 1.0, -300_000),
        ("bench-node/next", 0.0, 0),
    ]


def test_the_clamp_shows_who_welds_not_where(node: SerialNode) -> None:
    shop = SimulatedShop(0.0)
    assert abs(shop.sample_arc_a()) < 4.0
    for number in (1, 2):
        shop.arc(number, True)
        assert shop.sample_arc_a() == pytest.approx(126.9, abs=3.0)
        shop.arc(number, False)
    assert abs(shop.sample_arc_a()) < 4.0


def test_unplugged_it_hangs_up_and_comes_back_as_a_new_boot(node: SerialNode) -> None:
    node.plug_in()
    port = serial.Serial(str(node.link), timeout=5)
    node.unplug()
    with pytest.raises((OSError, serial.SerialException)):
        port.read(1)
    port.close()
    node.send(0)  # into the air
    node.plug_in()
    with serial.Serial(str(node.link), timeout=5) as again:
        node.send(0)
        pack = decode_pack(again.readline())
    node.close()
    assert (pack.boot, pack.seq) == ("b2", 0)


def test_lines_nobody_reads_are_lost_and_do_not_block(node: SerialNode) -> None:
    node.plug_in()
    for _ in range(300):  # a terminal holds some 4 kB; these are 60 kB
        node.send(0)
    assert node.lost_lines > 100
    node.close()


def test_packs_arrive_with_their_source_time(
    broker: BrokerChild, wait_until: Callable[..., None]
) -> None:
    got: list[bytes] = []
    subscribed = threading.Event()
    reader = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
    reader.on_connect = lambda client, *_: client.subscribe(TOPIC, qos=1)
    reader.on_subscribe = lambda *_: subscribed.set()
    reader.on_message = lambda _c, _d, message: got.append(message.payload)
    reader.connect("127.0.0.1", broker.port)
    reader.loop_start()
    assert subscribed.wait(20)
    node = MqttNode(SimulatedShop(0.0), broker.port, "boot7")
    node.start()
    times_us = [1_764_000_000_000_000 + second * 1_000_000 for second in range(5)]
    for t_us in times_us:
        node.send(t_us)
    wait_until(lambda: len(got) >= 5, "five packs")
    node.close()
    reader.disconnect()
    reader.loop_stop()
    packs = [decode_pack(payload) for payload in got]
    assert [pack.seq for pack in packs] == [0, 1, 2, 3, 4]
    assert {pack.boot for pack in packs} == {"boot7"}
    assert [pack.measurements[0].time_us for pack in packs] == times_us
    assert json.loads(got[0])[3]["u"] == "ppm"


class FastClock:
    """A clock that a test winds on."""

    speed = 60.0

    def __init__(self) -> None:
        self.us = 0

    def monotonic_us(self) -> int:
        return self.us

    def utc_us(self) -> int:
        return 1_764_000_000_000_000 + self.us


class Counting:
    def __init__(self) -> None:
        self.times: list[int] = []

    def send(self, utc_us: int) -> None:
        self.times.append(utc_us)


def test_the_engine_samples_once_for_each_interval_that_has_come(
    wait_until: Callable[..., None],
) -> None:
    clock, node = FastClock(), Counting()
    shop = SimulatedShop(0.0)
    engine = Engine(shop, [node], clock)
    engine.start()
    wait_until(lambda: len(node.times) == 1, "the first sample")
    clock.us += int(engine.interval_s * 1e6)
    wait_until(lambda: len(node.times) == 2, "the second sample")
    engine.stop()
    assert engine.failure is None
    assert node.times[1] - node.times[0] == int(engine.interval_s * 1e6)


def test_a_node_that_breaks_is_known(wait_until: Callable[..., None]) -> None:
    class Broken:
        def send(self, utc_us: int) -> None:
            raise OSError("gone")

    engine = Engine(SimulatedShop(0.0), [Broken()], FastClock())
    engine.start()
    wait_until(lambda: engine.failure is not None, "the failure")
    engine.stop()
    assert isinstance(engine.failure, OSError)


@pytest.mark.parametrize(
    ("speed", "interval_s"), [(1.0, 1.0), (5.0, 1.0), (10.0, 2.0), (20.0, 2.0), (60.0, 6.0)]
)
def test_sampling_slows_down_with_the_pace(speed: float, interval_s: float) -> None:
    assert sample_interval_s(speed) == interval_s
