"""``heatwindow notify``: send a test notice by each configured outlet and say whether it went.

It works beside a running service, and without one: nothing of the service's is touched. A serial
port that the service holds is the exception; that one is tried on the page.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from service.commands.broker_visit import NoBroker, confirmed, visit
from service.commands.check import config_from
from service.commands.errors import BadInput
from service.config import Config, MqttConfig
from service.notify.forms import TrialNotice
from service.notify.notifier import Notifier, notifier_for
from service.notify.outlet import Outlet, TellFailed

KEYS = ("sounder", "serial", "mqtt", "webhook", "email")


def add_notify(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``notify`` to the command line."""
    parser = subparsers.add_parser("notify", help="send a test notice by each configured outlet")
    parser.add_argument("--config", metavar="FILE", type=Path, help="TOML file with [notify]")
    parser.add_argument(
        "outlets",
        metavar="OUTLET",
        nargs="*",
        help=f"of {', '.join(KEYS)}; absent: all that are configured",
    )
    parser.set_defaults(run=run_notify)


def run_notify(given: argparse.Namespace) -> int:
    """Print one line for each outlet; 0 all have told, 1 one has not."""
    config = config_from(given.config)
    wanted = chosen(notifier_for_trial(config), given.outlets)
    went = [try_one(outlet, TrialNotice(time.time_ns() // 1000)) for outlet in wanted]
    return 0 if all(went) else 1


def notifier_for_trial(config: Config) -> Notifier:
    """The outlets, none of them started; the topic is published by a client of its own."""
    mqtt = config.mqtt
    return notifier_for(config.notify, None if mqtt is None else _Publisher(mqtt))


def chosen(notifier: Notifier, keys: list[str]) -> list[Outlet]:
    """The outlets of these keys, or all.

    Raises:
        BadInput: One of them, or any at all, is not configured.
    """
    unknown = [key for key in keys if key not in KEYS]
    if unknown:
        raise BadInput(f"{', '.join(unknown)} is no outlet; there are {', '.join(KEYS)}")
    outlets = {outlet.key: outlet for outlet in notifier.outlets}
    if not outlets:
        raise BadInput("no outlet is configured: the table [notify] of the config names them")
    missing = [key for key in keys if key not in outlets]
    if missing:
        raise BadInput(f"{', '.join(missing)} is not configured; {', '.join(outlets)} is")
    return [outlets[key] for key in keys or outlets]


def try_one(outlet: Outlet, notice: TrialNotice) -> bool:
    """Send one test notice and print what became of it."""
    try:
        text, ok = outlet.deliver_trial(notice), True
    except TellFailed as error:
        text, ok = str(error), False
    finally:
        outlet.close()
    sys.stdout.write(f"{outlet.name:<12} {'ok  ' if ok else 'FAIL'}  {text}\n")
    sys.stdout.flush()
    return ok


class _Publisher:
    """The broker link's way out, for one message at a time."""

    def __init__(self, mqtt: MqttConfig) -> None:
        self._mqtt = mqtt

    def __call__(
        self,
        topic: str,
        payload: bytes,
        qos: int = 1,
        retain: bool = False,
        confirm_s: float = 0.0,
    ) -> bool:
        try:
            with visit(self._mqtt, "notify") as client:
                return confirmed(client, topic, payload, confirm_s)
        except NoBroker as error:
            raise TellFailed(str(error)) from error
