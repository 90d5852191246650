"""Alarms and verdicts for whoever listens on the broker: a lamp seen through the hood, say.

====================  ========  =====================================================
topic                 retained  payload (JSON)
====================  ========  =====================================================
``TOPIC/change``      no        one alarm change
``TOPIC/state``       yes       every alarm that is not normal, and ``sounding``: true
                                while one is unacknowledged
``TOPIC/verdict/N``   yes       the verdicts of heat N after they changed
``TOPIC/test``        no        a test notice; while the service runs, ``TOPIC/state`` also
                                says ``sounding`` for three seconds, with ``test``: true
====================  ========  =====================================================

Keys are those of ``/api/v1/bench``. Times are RFC 3339 UTC.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Protocol

from service.judge.events import AlarmChange, Outcome, VerdictChange
from service.notify.forms import TrialNotice, alarm_json, encoded, trial_json, verdict_json
from service.notify.outlet import Change, Outlet, TellFailed

FLASH_S = 3.0
"""How long a lamp is lit by a test notice [s, real]; a real change ends it at once."""
CONFIRM_S = 3.0
"""How long the broker may take to confirm a test notice [s, real]."""


class Publish(Protocol):
    """The broker link's way out: queue one message, at once, from any thread."""

    def __call__(
        self,
        topic: str,
        payload: bytes,
        qos: int = 1,
        retain: bool = False,
        confirm_s: float = 0.0,
    ) -> bool:
        """Whether the message was queued, or the broker confirmed it within ``confirm_s``."""


class MqttTopic(Outlet):
    """Publishes below one topic.

    Args:
        topic: The topic's beginning, without wildcards.
        publish: There is one MQTT client in the service; this is its way out.
        retry_s: Pause between two attempts [s].
    """

    def __init__(self, topic: str, publish: Publish, retry_s: float = 1.0) -> None:
        super().__init__("mqtt", "MQTT topic", (retry_s, retry_s))
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
                self._stopping.wait(self._pauses_s[0])
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

    def deliver_trial(self, notice: TrialNotice) -> str:
        """Publish it, and let whatever follows the state sound for a moment.

        Raises:
            TellFailed: The broker did not confirm it.
        """
        topic = f"{self._topic}/test"
        if not self._publish(topic, encoded(trial_json(notice)), confirm_s=CONFIRM_S):
            raise TellFailed(f"the broker has not confirmed it within {CONFIRM_S:g} s")
        if not self._thread.is_alive():
            return f"the broker has confirmed it under {topic}"
        flash = {"sounding": True, "test": True, "alarms": [], **trial_json(notice)}
        self._send("state", flash, retain=False)
        end_s = time.monotonic() + FLASH_S
        with self._work:
            self._state_due = True
            self._work.wait_for(
                lambda: self._queue or self._stopping.is_set(), end_s - time.monotonic()
            )
        self._tell_state()
        return f"the broker has confirmed it under {topic}; {self._topic}/state sounded too"

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
        if not self._publish(f"{self._topic}/{below}", encoded(body), qos=1, retain=retain):
            raise TellFailed("the broker link takes no messages: it is full or not started")
