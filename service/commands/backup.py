"""``heatwindow backup``: a copy of the database, made while the service runs and then checked."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from service.commands.check import config_from
from service.commands.errors import CommandError

if TYPE_CHECKING:
    from service.store.backup import Copied


def add_backup(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``backup`` to the command line."""
    parser = subparsers.add_parser("backup", help="copy the database and check the copy")
    parser.add_argument("target", type=Path, metavar="FILE", help="must not exist yet")
    parser.add_argument("--config", metavar="FILE", type=Path, help="TOML file; absent: defaults")
    parser.set_defaults(run=run_backup)


def run_backup(given: argparse.Namespace) -> int:
    """0 when the copy has been opened and found whole, photos and all."""
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
    return say_photos(copied)


def say_photos(copied: Copied) -> int:
    """Tell of the photos that went along; 1 when some that the records name are not among them."""
    if copied.photos:
        sys.stdout.write(f"photos beside it: {copied.photos}\n")
    for each in copied.unwell:
        sys.stderr.write(f"heatwindow: the photo {each}\n")
    return 1 if copied.unwell else 0
