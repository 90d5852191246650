"""All ways of telling, as one: what the collector calls with every outcome of the judge."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Protocol

from service.judge.events import AlarmChange, Outcome
from service.judge.outlook import AlarmJson
from service.notify.mqtt_topic import MqttTopic, Publish
from service.notify.outlet import Outlet, OutletStatus
from service.notify.serial_line import SerialLine
from service.notify.sounder import Sounder


class Wanted(Protocol):
    """The ``[notify]`` table (``service.config.NotifyConfig`` is one)."""

    @property
    def sounder(self) -> list[str] | None:
        """Program and arguments."""

    @property
    def sounder_every_s(self) -> float:
        """Repetition [s]."""

    @property
    def sounder_timeout_s(self) -> float:
        """Longest run [s]."""

    @property
    def serial_port(self) -> str | None:
        """Port for text lines."""

    @property
    def serial_baud(self) -> int:
        """Its speed [bit/s]."""

    @property
    def mqtt_topic(self) -> str | None:
        """Topic below which alarms are published."""


class Notifier:
    """Hands every outcome to every outlet.

    Args:
        outlets: Those configured; none is fine.
    """

    def __init__(self, outlets: Sequence[Outlet]) -> None:
        self._outlets = tuple(outlets)

    def resume(self, alarms: Sequence[AlarmJson]) -> None:
        """Take over the alarms that were live before this start, before ``start``.

        Args:
            alarms: As on the bench of the rebuilt judge.
        """
        live = [_as_change(alarm) for alarm in alarms]
        for outlet in self._outlets:
            outlet.resume(live)

    def start(self) -> None:
        """Start every outlet's thread."""
        for outlet in self._outlets:
            outlet.start()

    def hear(self, outcome: Outcome) -> None:
        """Take what changed; never blocks. For the collector's ``listeners``."""
        for outlet in self._outlets:
            outlet.hear(outcome)

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End every outlet; whether all have ended."""
        ended = [outlet.stop(timeout_s) for outlet in self._outlets]  # each, even after a failure
        return all(ended)

    def status(self) -> list[OutletStatus]:
        """How each is doing."""
        return [outlet.status() for outlet in self._outlets]


def _as_change(alarm: AlarmJson) -> AlarmChange:
    """A live alarm as the change that it was last; it has been spoken already."""
    since = datetime.datetime.fromisoformat(alarm["since"])
    since_us = round(since.timestamp() * 1_000_000)
    return AlarmChange(
        alarm_id=alarm["id"],
        kind=alarm["kind"],
        part_id=alarm["part_id"],
        channel=alarm["channel"],
        state=alarm["state"],
        since_us=since_us,
        at_us=since_us,
        mono_us=since_us,
        text=alarm["text"],
        speak=False,
    )


def notifier_for(wanted: Wanted, publish: Publish | None) -> Notifier:
    """The outlets of a ``[notify]`` table.

    Args:
        wanted: The table.
        publish: The broker link's ``publish``; ``None`` without a broker.

    Raises:
        ValueError: A topic is wanted and there is no broker (the config check refuses this).
    """
    outlets: list[Outlet] = []
    if wanted.sounder is not None:
        outlets.append(Sounder(wanted.sounder, wanted.sounder_every_s, wanted.sounder_timeout_s))
    if wanted.serial_port is not None:
        outlets.append(SerialLine(wanted.serial_port, wanted.serial_baud))
    if wanted.mqtt_topic is not None:
        if publish is None:
            raise ValueError("notify.mqtt_topic needs a broker")
        outlets.append(MqttTopic(wanted.mqtt_topic, publish))
    return Notifier(outlets)
