"""``heatwindow report``: the record of one heat as a PDF to hand over."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from service.commands.errors import BadInput, CommandError
from service.commands.record_options import add_database, add_zone, opened, zone_from


def add_report(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``report`` to the command line."""
    parser = subparsers.add_parser("report", help="print the record of a heat as a PDF")
    parser.add_argument("heat", type=int, metavar="HEAT", help="number of the heat")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FILE", required=True, help="the PDF; replaced"
    )
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="absent: A4")
    parser.add_argument("--operator", metavar="NAME", help="who welded, to be printed")
    add_zone(parser)
    add_database(parser)
    parser.set_defaults(run=run_report)


def run_report(given: argparse.Namespace) -> int:
    """0 when the file is written."""
    # Imported here: the drawing library is wanted by no other command.
    from service.records.gather import UnknownHeat, gather  # noqa: PLC0415
    from service.records.print_chart import STEPS  # noqa: PLC0415
    from service.records.print_report import Printing, print_record  # noqa: PLC0415
    from service.records.traces import read_traces  # noqa: PLC0415

    zone = zone_from(given)
    with opened(given) as store:
        try:
            record = gather(store, given.heat)
        except UnknownHeat as error:
            raise BadInput(str(error)) from error
        how = Printing(given.paper, zone, given.operator, time.time_ns() // 1000)
        body = print_record(record, read_traces(store, record, STEPS), how)
    try:
        given.output.write_bytes(body)
    except OSError as error:
        raise CommandError(f"cannot write {given.output}: {error.strerror}") from error
    sys.stdout.write(
        f"{given.output}: heat {record.heat_id}, {len(record.passes)} passes, "
        f"{len(record.deviations)} deviations listed, {given.paper}\n"
    )
    return 0
