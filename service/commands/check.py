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

from service.commands.errors import BadInput
from service.config import Config, ConfigRefused, load


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
    parser.set_defaults(run=run_check)


def run_check(given: argparse.Namespace) -> int:
    """Print one line for each thing that would open; 0 all would, 1 something would not."""
    config = config_from(given.config)
    findings = findings_for(config)
    name = given.config or "no config file: defaults"
    sys.stdout.write(f"config     ok    {name}\n")
    for finding in findings:
        mark = "ok  " if finding.ok else "FAIL"
        sys.stdout.write(f"{finding.name:<10} {mark}  {finding.text}\n")
    return 0 if all(finding.ok for finding in findings) else 1


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
    for link in config.serial:
        findings.append(Finding("serial", *probes.serial_port(link.port)))
    if config.mqtt is not None:
        findings.append(Finding("mqtt", *probes.broker(config.mqtt)))
    findings.append(Finding("page", *probes.page(config.dashboard)))
    notify = config.notify
    if notify.sounder is not None:
        findings.append(Finding("sounder", *probes.program(notify.sounder[0])))
    if notify.serial_port is not None:
        findings.append(Finding("notify", *probes.serial_port(notify.serial_port)))
    known = [link.port for link in config.serial]
    if notify.serial_port is not None:
        known.append(notify.serial_port)
    for text in probes.other_ports(known):
        findings.append(Finding("unused", True, text))
    return findings
