"""Alarms on a real broker, seen by a client of their own."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from service.demo.broker import BrokerChild
from service.judge.events import Outcome
from service.notify import mqtt_topic
from service.notify.forms import TrialNotice
from service.notify.mqtt_topic import MqttTopic

Alarm = Callable[..., Outcome]
Wait = Callable[[Callable[[], bool], str], None]


class Lamp:
    """A client that listens below the topic."""

    def __init__(self, port: int) -> None:
        self.got: list[tuple[str, dict[str, Any], bool]] = []
        self._ready = threading.Event()
        self.client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
        self.client.on_connect = lambda client, *_: client.subscribe("shop/alarms/#", qos=1)
        self.client.on_subscribe = lambda *_: self._ready.set()
        self.client.on_message = self._on_message
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        assert self._ready.wait(20)

    def _on_message(self, _client: Any, _data: Any, message: paho.MQTTMessage) -> None:
        self.got.append((message.topic, json.loads(message.payload), message.retain))

    def on(self, topic: str) -> list[dict[str, Any]]:
        return [body for name, body, _ in self.got if name == f"shop/alarms/{topic}"]

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BrokerChild]:
    child = BrokerChild(Path(tmp_path_factory.mktemp("broker")), "mosquitto")
    child.start()
    yield child
    child.stop()


@pytest.fixture
def publisher(broker: BrokerChild) -> Iterator[Callable[..., bool]]:
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()

    def publish(topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        return client.publish(topic, payload, qos, retain).rc == paho.MQTT_ERR_SUCCESS

    yield publish
    client.disconnect()
    client.loop_stop()


@pytest.mark.mosquitto
def test_changes_are_published_and_the_state_is_retained(
    broker: BrokerChild,
    publisher: Callable[..., bool],
    alarm: Alarm,
    verdict: Callable[[], Outcome],
    wait_until: Wait,
) -> None:
    lamp = Lamp(broker.port)
    outlet = MqttTopic("shop/alarms", publisher)
    outlet.start()
    wait_until(lambda: lamp.on("state") != [], "the first state")
    assert lamp.on("state")[-1] == {"sounding": False, "alarms": []}
    outlet.hear(alarm(5))
    wait_until(lambda: len(lamp.on("state")) == 2, "the state with the alarm")
    expected = {
        "id": 5,
        "kind": "purge lost",
        "part_id": 3,
        "channel": None,
        "state": "unacknowledged",
        "since": "2025-11-24T16:00:00.250Z",
        "at": "2025-11-24T16:00:00.250Z",
        "text": "Pump engine manifold at 210 °C: no argon is flowing",
    }
    assert lamp.on("change") == [expected]
    assert lamp.on("state")[-1] == {"sounding": True, "alarms": [expected]}
    outlet.hear(verdict())
    wait_until(lambda: lamp.on("verdict/7") != [], "the verdict")
    assert lamp.on("verdict/7")[0]["verdict"] == "wait"
    outlet.hear(alarm(5, "acknowledged"))
    wait_until(lambda: len(lamp.on("state")) == 3, "the state after the acknowledgement")
    late = Lamp(broker.port)
    wait_until(lambda: late.on("state") != [] and late.on("verdict/7") != [], "what is retained")
    assert late.on("change") == []
    assert late.on("state")[-1]["sounding"] is False
    assert late.on("state")[-1]["alarms"][0]["state"] == "acknowledged"
    outlet.hear(alarm(5, "normal"))
    wait_until(lambda: lamp.on("state")[-1]["alarms"] == [], "the state without alarms")
    assert outlet.stop(10.0)
    for each in (lamp, late):
        each.close()


def test_a_link_that_starts_later_is_waited_for(alarm: Alarm, wait_until: Wait) -> None:
    taken: list[str] = []
    open_now = threading.Event()

    def publish(topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        if open_now.is_set():
            taken.append(topic)
        return open_now.is_set()

    outlet = MqttTopic("t", publish, retry_s=0.01)
    outlet.start()
    outlet.hear(alarm())
    open_now.set()
    wait_until(lambda: "t/change" in taken, "the change")
    assert taken[0] == "t/state"
    assert outlet.stop(10.0)
    assert outlet.status().failed == 0


def test_a_full_link_is_a_failure_that_is_seen_and_the_state_comes_after(
    alarm: Alarm, wait_until: Wait
) -> None:
    taken: list[tuple[str, dict[str, Any]]] = []
    full = threading.Event()

    def publish(topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        if not full.is_set():
            taken.append((topic, json.loads(payload)))
        return not full.is_set()

    outlet = MqttTopic("t", publish, retry_s=0.01)
    outlet.start()
    wait_until(lambda: len(taken) == 1, "the first state")
    full.set()
    outlet.hear(alarm(1))
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert "full or not started" in str(outlet.status().last_error)
    full.clear()
    outlet.hear(alarm(2))
    wait_until(lambda: len(taken) == 3, "the second change and the state")
    assert [a["id"] for a in taken[-1][1]["alarms"]] == [1, 2]
    assert outlet.stop(10.0)


def test_what_raises_in_the_link_ends_nothing(alarm: Alarm, wait_until: Wait) -> None:
    calls: list[str] = []

    def publish(topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        calls.append(topic)
        if len(calls) == 2:
            raise ValueError("topic")
        return True

    outlet = MqttTopic("t", publish, retry_s=0.01)
    outlet.start()
    outlet.hear(alarm(1))
    wait_until(lambda: outlet.status().failed == 1, "the failure")
    outlet.hear(alarm(2))
    wait_until(lambda: outlet.status().told == 1, "the next change")
    assert outlet.status().running
    assert outlet.stop(10.0)


@pytest.mark.mosquitto
def test_a_trial_lights_the_lamp_for_a_moment_and_says_the_broker_has_it(
    broker: BrokerChild, wait_until: Wait, alarm: Alarm, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Through the link's own ``publish``, which waits for the broker's confirmation."""
    monkeypatch.setattr(mqtt_topic, "FLASH_S", 0.3)
    lamp = Lamp(broker.port)
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()

    def publish(
        topic: str, payload: bytes, qos: int = 1, retain: bool = False, confirm_s: float = 0.0
    ) -> bool:
        info = client.publish(topic, payload, qos, retain)
        if confirm_s:
            info.wait_for_publish(confirm_s)
            return info.is_published()
        return True

    outlet = MqttTopic("shop/alarms", publish)
    outlet.start()
    outlet.try_out(TrialNotice(1_764_000_000_250_000))
    wait_until(lambda: outlet.status().trial.state == "told", "the trial")
    assert "the broker has confirmed it under shop/alarms/test" in outlet.status().trial.text
    wait_until(lambda: not lamp.on("state")[-1]["sounding"], "the lamp dark again")
    assert lamp.on("test")[0]["at"] == "2025-11-24T16:00:00.250Z"
    lit = [body for body in lamp.on("state") if body["sounding"]]
    assert [body["test"] for body in lit] == [True]
    kept = Lamp(broker.port)
    wait_until(lambda: kept.on("state") != [], "what the broker keeps")
    assert "test" not in kept.on("state")[0], "a test notice is never kept"
    assert outlet.stop(10.0)
    for each in (lamp, kept):
        each.close()
    client.disconnect()
    client.loop_stop()


def test_a_trial_that_no_broker_confirms_has_failed(wait_until: Wait) -> None:
    outlet = MqttTopic("a", lambda _topic, _payload, confirm_s=0.0, **_: confirm_s == 0.0)
    outlet.start()
    outlet.try_out(TrialNotice(1_764_000_000_250_000))
    wait_until(lambda: outlet.status().trial.state == "failed", "the trial")
    assert "has not confirmed it within 3 s" in outlet.status().trial.text
    assert outlet.stop(10.0)
