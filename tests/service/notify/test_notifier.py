"""All outlets together, from a config."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from service.config import NotifyConfig
from service.judge.events import Outcome
from service.notify.notifier import notifier_for

Wait = Callable[[Callable[[], bool], str], None]


def test_nothing_configured_is_silent_and_harmless(alarm: Callable[..., Outcome]) -> None:
    notifier = notifier_for(NotifyConfig(), None)
    notifier.start()
    notifier.hear(alarm())
    assert notifier.status() == []
    assert notifier.stop()


def test_a_hung_sounder_delays_nobody_else(
    tmp_path: Path, alarm: Callable[..., Outcome], wait_until: Wait
) -> None:
    published: list[str] = []

    def publish(topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        published.append(topic)
        return True

    hung = [sys.executable, "-c", "import time; time.sleep(600)"]
    notifier = notifier_for(
        NotifyConfig(sounder=hung, sounder_timeout_s=120.0, mqtt_topic="a"), publish
    )
    notifier.start()
    for number in range(3):
        notifier.hear(alarm(number))
    wait_until(lambda: published.count("a/change") == 3, "three alarms on the topic")
    assert {status.name: status.running for status in notifier.status()} == {
        "sounder": True,
        "MQTT topic": True,
    }
    assert notifier.stop(10.0)


def test_a_topic_without_a_broker_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a broker"):
        notifier_for(NotifyConfig(mqtt_topic="a"), None)
