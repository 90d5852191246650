"""``heatwindow pin``: set the PIN that lets a device on the network change things."""

from __future__ import annotations

import argparse
import getpass
import sys
from pathlib import Path

from service.commands.check import config_from
from service.commands.errors import BadInput, CommandError
from service.config.pin import PinKeeper


def add_pin(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``pin`` to the command line."""
    parser = subparsers.add_parser(
        "pin", help="set the PIN that lets a device on the network change things"
    )
    parser.add_argument("--config", metavar="FILE", type=Path, help="TOML file; absent: defaults")
    parser.add_argument("--off", action="store_true", help="take the PIN away: viewing only")
    parser.set_defaults(run=run_pin)


def run_pin(given: argparse.Namespace) -> int:
    """Ask for the PIN (twice at a terminal, one line otherwise) and keep its hash."""
    keeper = PinKeeper(config_from(given.config).database_url)
    pin = None if given.off else asked_pin()
    try:
        keeper.set_pin(pin)
    except ValueError as error:
        raise BadInput(str(error)) from error
    except OSError as error:
        raise CommandError(f"{keeper.path} cannot be written: {error.strerror}") from error
    sys.stdout.write(
        "No PIN: the network may look and change nothing.\n"
        if pin is None
        else "PIN set. Every device has to sign in again.\n"
    )
    return 0


def asked_pin() -> str:
    """The PIN as typed; it is never shown and never an argument, which others could read."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().strip()
    pin = getpass.getpass("PIN (6 to 12 digits): ")
    if getpass.getpass("Once more: ") != pin:
        raise BadInput("the two are not the same; nothing is changed")
    return pin
