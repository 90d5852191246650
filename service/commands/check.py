"""``heatwindow check``: read the config and say what would open, without opening any of it.

Nothing is disturbed: no database is created, no serial port is opened (opening resets many
boards) and the broker is asked under another client id, so that a running service keeps its
session.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

from service.commands import adoption
from service.commands.errors import BadInput
from service.commands.unit import unit_text
from service.config import Config, ConfigRefused, load
from service.sources.shipped_broker import FOLDER, VARIANTS, config_text, rights_text

RIGHTS = "rights"


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the answer.

    Attributes:
        name: What was looked at.
        ok: ``False`` when it would not open.
        text: What was found.
    """

    name: str
    ok: bool
    text: str


def add_check(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``check`` to the command line."""
    parser = subparsers.add_parser("check", help="check a config and say what would open")
    parser.add_argument("--config", metavar="FILE", type=Path, help="TOML file; absent: defaults")
    parser.add_argument(
        "--broker-config",
        metavar="WHICH",
        choices=(*VARIANTS, RIGHTS),
        help="print a mosquitto.conf instead: loopback (nodes on this machine), lan (nodes on the "
        "network); or rights, the rights.acl that goes with lan",
    )
    parser.add_argument(
        "--service-unit",
        action="store_true",
        help="print a systemd unit for this machine and config instead",
    )
    parser.add_argument(
        "--adopt",
        metavar="PORT",
        help="read this serial port from now on; a running service takes it up by itself",
    )
    parser.add_argument(
        "--baud", metavar="N", type=int, help="with --adopt: line speed; absent: 115200"
    )
    parser.add_argument(
        "--profile", metavar="P", help="with --adopt: what its lines carry; absent: senml"
    )
    parser.add_argument("--release", metavar="PORT", help="read an adopted port no more")
    parser.set_defaults(run=run_check)


def run_check(given: argparse.Namespace) -> int:
    """Print one line for each thing that would open; 0 all would, 1 something would not."""
    if given.broker_config is not None:
        return print_broker_config(given.broker_config)
    config = config_from(given.config)
    if given.service_unit:
        sys.stdout.write(unit_text(config, given.config))
        return 0
    change_ports(given, config)
    findings = findings_for(config)
    name = given.config or "no config file: defaults"
    sys.stdout.write(f"config     ok    {name}\n")
    for finding in findings:
        mark = "ok  " if finding.ok else "FAIL"
        sys.stdout.write(f"{finding.name:<10} {mark}  {finding.text}\n")
    return 0 if all(finding.ok for finding in findings) else 1


def change_ports(given: argparse.Namespace, config: Config) -> None:
    """Take a port in or let it go, as asked; the answer then shows what came of it.

    Raises:
        BadInput: The port cannot be taken in, or was not; nothing has changed.
    """
    if given.adopt is None and (given.baud is not None or given.profile is not None):
        raise BadInput("--baud and --profile say how to read the port of --adopt; give that too")
    if given.adopt is not None:
        adoption.adopt(config, given.adopt, given.baud, given.profile)
    if given.release is not None:
        adoption.release(config, given.release)


def print_broker_config(which: str) -> int:
    """The broker's file on standard output, and on standard error where it belongs."""
    if which == RIGHTS:
        sys.stdout.write(rights_text())
        sys.stderr.write(f"Save it as {FOLDER / 'rights.acl'}, beside the lan mosquitto.conf.\n")
        return 0
    sys.stdout.write(config_text("lan" if which == "lan" else "loopback"))
    sys.stderr.write("Save it as /etc/mosquitto/mosquitto.conf and restart mosquitto.\n")
    if which == "lan":
        sys.stderr.write(
            f"It needs passwords, certificates and rights in {FOLDER}: its head says how to make "
            f"them, 'heatwindow check --broker-config {RIGHTS}' prints the rights.\n"
        )
    return 0


def config_from(path: Path | None) -> Config:
    """Load a config for a command.

    Raises:
        BadInput: With every fault of the file, one to a line.
    """
    try:
        return load(path)
    except ConfigRefused as error:
        raise BadInput(str(error)) from error


def findings_for(config: Config) -> list[Finding]:
    """Look at everything the config names."""
    # Imported here: what probes ports and brokers is not needed to read a config.
    from service.commands import probes  # noqa: PLC0415

    findings = [Finding("store", *probes.store(config.database_url))]
    adopted = adoption.adopted(config)
    for link in config.serial:
        findings.append(Finding("serial", *probes.serial_port(link.port)))
    for link in adopted:
        findings.append(Finding("adopted", *probes.serial_port(link.port)))
    for log in config.log_file:
        findings.append(Finding("log file", *probes.log_file(log.path)))
    if config.mqtt is not None:
        findings.append(Finding("mqtt", *probes.broker(config.mqtt)))
    findings.append(Finding("page", *probes.page(config.dashboard)))
    notify = config.notify
    if notify.sounder is not None:
        findings.append(Finding("sounder", *probes.program(notify.sounder[0])))
    if notify.serial_port is not None:
        findings.append(Finding("notify", *probes.serial_port(notify.serial_port)))
    if notify.webhook is not None:
        findings.append(Finding("webhook", *probes.server(*notify.webhook.server)))
    if notify.email is not None:
        where = notify.email.host, notify.email.server_port
        findings.append(Finding("e-mail", *probes.server(*where)))
    known = [link.port for link in (*config.serial, *adopted)]
    if notify.serial_port is not None:
        known.append(notify.serial_port)
    for text in probes.unused_ports(known):
        findings.append(Finding("unused", True, text))
    return findings
