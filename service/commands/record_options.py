"""What the commands on records have in common: which database, which clock on the wall."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

from service.commands.check import config_from
from service.commands.errors import BadInput, CommandError
from service.records.local_time import UnknownZone, zone_named
from service.store.database import Store, StoreError


def add_database(parser: argparse.ArgumentParser) -> None:
    """Which database to read."""
    parser.add_argument(
        "--database", type=Path, metavar="FILE", help="absent: the config's database"
    )
    parser.add_argument("--config", metavar="FILE", type=Path, help="TOML file; absent: defaults")


def add_zone(parser: argparse.ArgumentParser) -> None:
    """Which clock local times are told by."""
    parser.add_argument(
        "--timezone",
        metavar="ZONE",
        help="for local times, such as Europe/Dublin; absent: this machine's",
    )


def zone_from(given: argparse.Namespace) -> ZoneInfo | None:
    """The zone asked for.

    Raises:
        BadInput: It is not known here.
    """
    try:
        return zone_named(given.timezone)
    except UnknownZone as error:
        raise BadInput(f"--timezone: {error}") from error


def url_from(given: argparse.Namespace) -> str:
    """Address of the database asked for.

    Raises:
        BadInput: Both a database and a config are given, or the config is wrong.
    """
    if given.database is not None and given.config is not None:
        raise BadInput("give either --database or --config, not both")
    if given.database is not None:
        return f"sqlite:///{given.database.resolve()}"
    return config_from(given.config).database_url


@contextlib.contextmanager
def opened(given: argparse.Namespace) -> Iterator[Store]:
    """The database, open beside a running service; its troubles are told as the command's."""
    try:
        store = Store.open_to_read(url_from(given))
        try:
            yield store
        finally:
            store.close()
    except StoreError as error:
        raise CommandError(str(error)) from error
