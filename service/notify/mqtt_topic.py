"""Alarms and verdicts for whoever listens on the broker: a lamp seen through the hood, say.

====================  ========  =====================================================
topic                 retained  payload (JSON)
====================  ========  =====================================================
``TOPIC/change``      no        one alarm change
``TOPIC/state``       yes       every alarm that is not normal, and ``sounding``: true
                                while one is unacknowledged
``TOPIC/verdict/N``   yes       the verdicts of heat N after they changed
====================  ========  =====================================================

Keys are those of ``/api/v1/bench``. Times are RFC 3339 UTC.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from typing import Protocol

from service.judge.events import AlarmChange, Outcome, VerdictChange
from service.notify.outlet import Change, Outlet, TellFailed


class Publish(Protocol):
    """The broker link's way out: queue one message, at once, from any thread."""

    def __call__(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        """Returns whether the message was queued."""


class MqttTopic(Outlet):
    """Publishes below one topic.

    Args:
        topic: The topic's beginning, without wildcards.
        publish: There is one MQTT client in the service; this is its way out.
        retry_s: Pause between two attempts [s].
    """

    def __init__(self, topic: str, publish: Publish, retry_s: float = 1.0) -> None:
        super().__init__("MQTT topic", retry_s)
        self._topic = topic
        self._publish = publish
        self._live: dict[int, AlarmChange] = {}
        self._state_due = True

    def hear(self, outcome: Outcome) -> None:
        """Queue the changes; the retained state is kept apart, so it survives a full queue."""
        with self._work:
            for change in outcome.alarms:
                self._live.pop(change.alarm_id, None)
                if change.state != "normal":
                    self._live[change.alarm_id] = change
                self._state_due = True
        super().hear(outcome)

    def resume(self, live: Sequence[AlarmChange]) -> None:
        """They belong to the state that is published at the start."""
        with self._work:
            self._live = {change.alarm_id: change for change in live}

    def wants(self, change: Change) -> bool:
        """Alarms and verdicts."""
        return True

    def _run(self) -> None:
        # What an earlier run left retained at the broker is not true any more. The link may
        # start after us; until it has, there is nobody to tell anything to.
        while not self._stopping.is_set():
            try:
                self._tell_state()
                break
            except TellFailed:
                self._stopping.wait(self._retry_s)
        super()._run()

    def deliver(self, change: Change) -> None:
        """Publish one change, and the state if it differs from the one last published.

        Raises:
            TellFailed: The message was not queued.
        """
        if isinstance(change, VerdictChange):
            self._send(f"verdict/{change.heat_id}", verdict_json(change), retain=True)
            return
        self._send("change", alarm_json(change), retain=False)
        self._tell_state()

    def _tell_state(self) -> None:
        with self._work:
            if not self._state_due:
                return
            live = list(self._live.values())
            self._state_due = False
        sounding = any(change.state == "unacknowledged" for change in live)
        body = {"sounding": sounding, "alarms": [alarm_json(change) for change in live]}
        try:
            self._send("state", body, retain=True)
        except TellFailed:
            with self._work:
                self._state_due = True
            raise

    def _send(self, below: str, body: dict[str, object], *, retain: bool) -> None:
        payload = json.dumps(body, ensure_ascii=False, allow_nan=False).encode()
        if not self._publish(f"{self._topic}/{below}", payload, qos=1, retain=retain):
            raise TellFailed("the broker link takes no messages: it is full or not started")


def alarm_json(change: AlarmChange) -> dict[str, object]:
    """An alarm as on the bench, with the time of the change."""
    return {
        "id": change.alarm_id,
        "kind": change.kind,
        "part_id": change.part_id,
        "channel": change.channel,
        "state": change.state,
        "since": _rfc3339(change.since_us),
        "at": _rfc3339(change.at_us),
        "text": change.text,
    }


def verdict_json(change: VerdictChange) -> dict[str, object]:
    """A heat's verdicts."""
    return {
        "heat_id": change.heat_id,
        "phase": change.phase,
        "verdict": change.verdict,
        "heat": change.heat,
        "purge": change.purge,
        "at": _rfc3339(change.at_us),
        "text": change.text,
    }


def _rfc3339(t_us: int) -> str:
    """Microseconds UTC as RFC 3339, to the millisecond."""
    seconds, micros = divmod(t_us, 1_000_000)
    at = datetime.datetime.fromtimestamp(seconds, datetime.UTC)
    return f"{at:%Y-%m-%dT%H:%M:%S}.{micros // 1000:03d}Z"
