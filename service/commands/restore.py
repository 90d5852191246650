"""``heatwindow restore``: put a backup in the place of the database."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from service.commands.backup import say_photos
from service.commands.check import config_from
from service.commands.errors import CommandError


def add_restore(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``restore`` to the command line."""
    parser = subparsers.add_parser(
        "restore", help="put a backup in the place of the database, which is set aside"
    )
    parser.add_argument("source", type=Path, metavar="FILE", help="a backup")
    parser.add_argument("--config", metavar="FILE", type=Path, help="TOML file; absent: defaults")
    parser.set_defaults(run=run_restore)


def run_restore(given: argparse.Namespace) -> int:
    """0 when the backup is in place and has been opened, photos and all."""
    url = config_from(given.config).database_url
    from service.store.backup import restore  # noqa: PLC0415 - not for --help
    from service.store.errors import StoreError  # noqa: PLC0415

    try:
        copied = restore(given.source, url)
    except StoreError as error:
        raise CommandError(str(error)) from error
    sys.stdout.write(f"{copied.path}: {copied.readings} readings and {copied.actions} actions\n")
    if copied.set_aside is not None:
        sys.stdout.write(f"what was there before is now {copied.set_aside}\n")
    return say_photos(copied)
