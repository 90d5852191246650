"""``heatwindow work``: hours, arc minutes, litres and oven time of heats, to quote from."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from service.commands.errors import CommandError
from service.commands.record_options import add_database, opened
from service.records.results import Results


def add_work(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``work`` to the command line."""
    parser = subparsers.add_parser("work", help="what heats took: hours, arc, argon, oven; as CSV")
    parser.add_argument("--by", choices=("heat", "part"), default="heat", help="a row for each")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FILE", help="replaced; absent: printed"
    )
    add_database(parser)
    parser.set_defaults(run=run_work)


def run_work(given: argparse.Namespace) -> int:
    """0 when written."""
    with opened(given) as store:
        text = Results(store).work_csv(given.by)
    if given.output is None:
        sys.stdout.write(text.replace("\r\n", "\n"))
        return 0
    try:
        given.output.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise CommandError(f"cannot write {given.output}: {error.strerror}") from error
    sys.stdout.write(f"{given.output}: {text.count(chr(10)) - 1} rows\n")
    return 0
