"""Both brokers, for real: what the service asks of a broker, and the end of the child."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from service.demo.broker import BrokerChild, BrokerFailed


class Client:
    """A paho client as the service uses it: MQTT 3.1.1, a session that persists, QoS 1."""

    def __init__(self, port: int, name: str) -> None:
        self.client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=name,
            protocol=paho.MQTTv311,
            clean_session=False,
        )
        self.got: list[bytes] = []
        self.session_present: list[bool] = []
        self.subscribed = threading.Event()
        self.client.on_connect = self._on_connect
        self.client.on_subscribe = lambda *_: self.subscribed.set()
        self.client.on_message = lambda _c, _d, message: self.got.append(message.payload)
        self.client.reconnect_delay_set(1, 1)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def _on_connect(self, client: paho.Client, _data: object, flags: object, *_: object) -> None:
        self.session_present.append(flags.session_present)  # type: ignore[attr-defined]
        client.subscribe("demo/#", qos=1)

    def publish(self, number: int) -> paho.MQTTMessageInfo:
        return self.client.publish("demo/a", str(number), qos=1)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def connect(broker: BrokerChild) -> Iterator[Callable[[str], Client]]:
    clients: list[Client] = []

    def make(name: str) -> Client:
        client = Client(broker.port, name)
        clients.append(client)
        return client

    yield make
    for client in clients:
        client.close()


def test_messages_for_a_session_that_is_away_are_kept(
    connect: Callable[[str], Client], wait_until: Callable[..., None]
) -> None:
    """MQTT 3.1.1, section 3.1.2.4: QoS 1 messages for a disconnected persistent session."""
    away, sender = connect("hw-away"), connect("hw-sender")
    assert away.subscribed.wait(20)
    away.close()
    for sent in [sender.publish(number) for number in range(300)]:
        sent.wait_for_publish(20)
    back = connect("hw-away")
    wait_until(lambda: len(set(back.got)) == 300, "300 kept messages")
    assert back.session_present == [True]
    assert back.got == [str(number).encode() for number in range(300)]


def test_a_killed_broker_comes_back_on_its_port(
    broker: BrokerChild, connect: Callable[[str], Client], wait_until: Callable[..., None]
) -> None:
    listener, sender = connect("hw-listener"), connect("hw-sender")
    assert listener.subscribed.wait(20)
    sender.publish(1)
    wait_until(lambda: listener.got == [b"1"], "a message before")
    listener.subscribed.clear()
    broker.kill()
    assert broker.pid is None
    broker.start()
    assert listener.subscribed.wait(30)
    sender.publish(2)
    wait_until(lambda: listener.got[-1:] == [b"2"], "a message after")


def test_a_taken_port_is_named(broker: BrokerChild, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    second = BrokerChild(other, broker.kind, broker.port)
    with pytest.raises(BrokerFailed, match=rf"port {broker.port}: it is already taken"):
        second.start()
    assert second.pid is None


def test_the_child_ends_when_its_parent_is_killed(
    tmp_path: Path, process_exists: Callable[[int], bool], wait_until: Callable[..., None]
) -> None:
    if sys.platform != "linux":
        pytest.skip("only Linux tells a child of its parent's end")
    program = (
        "import sys, pathlib, time\n"
        "from service.demo.broker import BrokerChild\n"
        "child = BrokerChild(pathlib.Path(sys.argv[1]), 'amqtt')\n"
        "child.start()\n"
        "print(child.pid, flush=True)\n"
        "time.sleep(600)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program, str(tmp_path)], stdout=subprocess.PIPE, text=True
    ) as parent:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        assert process_exists(pid)
        os.kill(parent.pid, signal.SIGKILL)
        wait_until(lambda: not process_exists(pid), "the end of the orphaned broker")
