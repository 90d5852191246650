"""``heatwindow retain``: throw away old readings by level, and say how long the disk lasts.

Nothing goes by itself. It may run beside the service, from a timer: it writes an hour of a channel
at a time, and the service's writer sets by what it cannot commit meanwhile.
"""

from __future__ import annotations

import argparse
import sys
import time

from sqlalchemy.exc import DatabaseError

from service.commands.errors import BadInput, CommandError
from service.commands.record_options import add_database, opened, url_from
from service.store import engine, retention
from service.store.errors import plain

LEVELS = {0: "readings", 10: "sums of 10 s", 60: "sums of 60 s"}


def add_retain(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``retain`` to the command line."""
    parser = subparsers.add_parser(
        "retain", help="throw away old readings by level, and say how long the disk lasts"
    )
    for span_s, option in (
        (0, "--readings-days"),
        (10, "--sums-10s-days"),
        (60, "--sums-60s-days"),
    ):
        parser.add_argument(
            option,
            metavar="DAYS",
            type=float,
            dest=f"days_{span_s}",
            help=f"keep {LEVELS[span_s]} so long, {retention.LEAST_DAYS:g} at least; "
            "absent: for good",
        )
    parser.add_argument("--dry-run", action="store_true", help="only count what would go")
    add_database(parser)
    parser.set_defaults(run=run_retain)


def run_retain(given: argparse.Namespace) -> int:
    """0 when done, or when there was nothing to do."""
    days = {
        span_s: getattr(given, f"days_{span_s}")
        for span_s in LEVELS
        if getattr(given, f"days_{span_s}") is not None
    }
    with opened(given) as store:  # its schema is looked at here
        path = store.path
    if days:
        writing = engine.writer_engine(engine.database_path(url_from(given)))
        try:
            gone = retention.throw_away(
                writing, days, time.time_ns() // 1000, only_count=given.dry_run
            )
        except ValueError as error:
            raise BadInput(str(error)) from error
        except DatabaseError as error:
            raise CommandError(f"cannot write the database {path}: {plain(error)}") from error
        finally:
            writing.dispose()
        went = "would go" if given.dry_run else "went"
        for span_s, count in gone.rows.items():
            age = f"older than {days[span_s]:g} d"
            sys.stdout.write(f"{LEVELS[span_s]}: {count} rows {age} {went}\n")
    with opened(given) as store, store.connect() as connection:
        found = retention.space(connection, str(path.parent))
    sys.stdout.write(f"{path}: {found.text}\n")
    return 0
