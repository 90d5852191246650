"""``heatwindow export``: a heat as CSV, or whole as JSON."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from service.commands.errors import BadInput, CommandError
from service.commands.record_options import add_database, add_zone, opened, zone_from
from service.records.csv_out import write_csv
from service.records.gather import UnknownHeat, gather
from service.records.package import encode
from service.records.packing import pack
from service.records.rejudge import rejudge
from service.store.database import Store


def add_export(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``export`` to the command line."""
    parser = subparsers.add_parser("export", help="write a heat as CSV, or whole as JSON")
    parser.add_argument("heat", type=int, metavar="HEAT", help="number of the heat")
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE",
        required=True,
        help="ends in .csv (readings, for a spreadsheet) or .json (the whole heat); replaced",
    )
    parser.add_argument(
        "--unchecked", action="store_true", help="JSON: do not judge the heat again to check it"
    )
    add_zone(parser)
    add_database(parser)
    parser.set_defaults(run=run_export)


def run_export(given: argparse.Namespace) -> int:
    """0 when written; 1 when written but its verdicts do not follow from its readings."""
    kind = given.output.suffix.lower()
    if kind not in (".csv", ".json"):
        raise BadInput(
            f"the file {given.output} ends in {given.output.suffix or 'nothing'!r}; "
            "allowed are .csv and .json"
        )
    zone = zone_from(given)
    with opened(given) as store:
        try:
            return _csv(store, given, zone) if kind == ".csv" else _json(store, given)
        except UnknownHeat as error:
            raise BadInput(str(error)) from error
        except OSError as error:
            raise CommandError(f"cannot write {given.output}: {error.strerror}") from error


def _csv(store: Store, given: argparse.Namespace, zone: Any) -> int:
    record = gather(store, given.heat)
    with given.output.open("w", encoding="utf-8", newline="") as out:
        count = write_csv(store, record, zone, out)
    sys.stdout.write(f"{given.output}: {count} readings of heat {given.heat}\n")
    return 0


def _json(store: Store, given: argparse.Namespace) -> int:
    package = pack(store, given.heat)
    given.output.write_bytes(encode(package))
    what = f"{len(package.readings)} readings, {len(package.acted)} actions of heat {given.heat}"
    if given.unchecked:
        sys.stdout.write(f"{given.output}: {what}\n")
        return 0
    found = rejudge(package)
    if found.same:
        sys.stdout.write(
            f"{given.output}: {what}; judged again: all {found.compared} changes the same\n"
        )
        return 0
    raise CommandError(
        f"{given.output} is written ({what}), but judged again from it "
        f"{len(found.missing)} recorded changes are missing and {len(found.extra)} are new: it was "
        "recorded by another version, or depends on what was read longer before"
    )
