"""``heatwindow backup``: a copy of the database, made while the service runs and then checked."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from service.commands.check import config_from
from service.commands.errors import CommandError


def add_backup(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``backup`` to the command line."""
    parser = subparsers.add_parser("backup", help="copy the database and check the copy")
    parser.add_argument("target", type=Path, metavar="FILE", help="must not exist yet")
    parser.add_argument("--config", metavar="FILE", type=Path, help="TOML file; absent: defaults")
    parser.set_defaults(run=run_backup)


def run_backup(given: argparse.Namespace) -> int:
    """0 when the copy has been opened and found whole."""
    url = config_from(given.config).database_url
    from service.store.backup import backup  # noqa: PLC0415 - not for --help
    from service.store.errors import StoreError  # noqa: PLC0415

    try:
        copied = backup(url, given.target)
    except StoreError as error:
        raise CommandError(str(error)) from error
    sys.stdout.write(
        f"{copied.path}: {copied.readings} readings and {copied.actions} actions, "
        f"{copied.size_bytes / 1e6:.1f} MB, opened and found whole\n"
    )
    return 0
