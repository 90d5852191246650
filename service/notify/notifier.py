"""All ways of telling, as one: what the collector calls with every outcome of the judge."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from service.judge.events import AlarmChange, Outcome
from service.judge.outlook import AlarmJson
from service.notify.forms import TrialNotice
from service.notify.mail import Mail, MailServer, Security
from service.notify.mqtt_topic import MqttTopic, Publish
from service.notify.outlet import Outlet, OutletStatus
from service.notify.serial_line import SerialLine
from service.notify.sounder import Sounder
from service.notify.webhook import WebAddress, Webhook


class WantedWebhook(Protocol):
    """Its table ``[notify.webhook]``."""

    @property
    def url(self) -> str:
        """Where to post."""

    @property
    def username(self) -> str | None:
        """Who we are there."""

    @property
    def password_file(self) -> Path | None:
        """Password or token."""

    @property
    def tls_ca_file(self) -> Path | None:
        """Authority to trust."""

    @property
    def verdicts(self) -> bool:
        """Tell of verdicts too."""


class WantedEmail(Protocol):
    """Its table ``[notify.email]``."""

    @property
    def host(self) -> str:
        """The server."""

    @property
    def server_port(self) -> int:
        """Its port."""

    @property
    def security(self) -> Security:
        """How the line is secured."""

    @property
    def username(self) -> str | None:
        """Who we are there."""

    @property
    def password_file(self) -> Path | None:
        """Password."""

    @property
    def tls_ca_file(self) -> Path | None:
        """Authority to trust."""

    @property
    def sender(self) -> str:
        """Our address."""

    @property
    def recipients(self) -> list[str]:
        """Theirs."""

    @property
    def every_s(self) -> float:
        """Least time between two mails [s]."""


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

    @property
    def webhook(self) -> WantedWebhook | None:
        """An address to post to."""

    @property
    def email(self) -> WantedEmail | None:
        """A mail server."""


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

    @property
    def outlets(self) -> tuple[Outlet, ...]:
        """Each of them, for who sends a test notice without starting them."""
        return self._outlets

    def try_out(self, key: str, notice: TrialNotice) -> bool:
        """Ask one outlet for a test notice; returns at once, ``False`` if there is none such."""
        found = [outlet for outlet in self._outlets if outlet.key == key]
        for outlet in found:
            outlet.try_out(notice)
        return bool(found)


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
    if wanted.webhook is not None:
        outlets.append(_webhook(wanted.webhook))
    if wanted.email is not None:
        outlets.append(_mail(wanted.email))
    return Notifier(outlets)


def _webhook(wanted: WantedWebhook) -> Webhook:
    address = WebAddress(wanted.url, wanted.username, wanted.password_file, wanted.tls_ca_file)
    return Webhook(address, wanted.verdicts)


def _mail(wanted: WantedEmail) -> Mail:
    server = MailServer(
        wanted.host,
        wanted.server_port,
        wanted.security,
        wanted.username,
        wanted.password_file,
        wanted.tls_ca_file,
    )
    return Mail(server, wanted.sender, wanted.recipients, every_s=wanted.every_s)
