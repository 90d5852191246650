"""All outlets together, from a config."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from service.config import NotifyConfig
from service.judge.events import Outcome
from service.judge.outlook import AlarmJson
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


def test_alarms_live_before_a_start_sound_on_and_stand_in_the_state(
    tmp_path: Path, alarm: Callable[..., Outcome], wait_until: Wait
) -> None:
    """An acknowledged one is silent; one that nobody acknowledged is not forgotten by a restart."""
    states: list[dict[str, Any]] = []

    def publish(topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        if topic == "a/state":
            states.append(json.loads(payload))
        return True

    book = tmp_path / "book"
    ring = f"import os; open({str(book)!r}, 'a').write(os.environ['HEATWINDOW_ALARM_TEXT'] + ';')"
    notifier = notifier_for(
        NotifyConfig(sounder=[sys.executable, "-c", ring], sounder_every_s=3600.0, mqtt_topic="a"),
        publish,
    )
    live: list[AlarmJson] = [
        {
            "id": number,
            "kind": "purge lost",
            "part_id": 1,
            "channel": None,
            "state": state,
            "since": "2025-11-24T16:00:00.250Z",
            "text": f"alarm {number}",
        }
        for number, state in ((1, "unacknowledged"), (2, "acknowledged"), (3, "returned"))
    ]
    notifier.resume(live)
    notifier.start()
    wait_until(lambda: states != [], "the state")
    assert states[0]["sounding"] is True
    assert [(a["id"], a["since"]) for a in states[0]["alarms"]] == [
        (number, "2025-11-24T16:00:00.250Z") for number in (1, 2, 3)
    ]
    wait_until(lambda: notifier.status()[0].told == 1, "the bell")
    assert book.read_text(encoding="utf-8") == "alarm 1;"
    assert notifier.stop(10.0)
