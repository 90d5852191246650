"""``heatwindow import``: a heat that was exported, or the CSV file of another logger."""

from __future__ import annotations

import argparse
import csv
import sys
import typing
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from pydantic import ValidationError

from service.commands.errors import BadInput, CommandError
from service.commands.record_options import add_zone, zone_from
from service.judge.actions import Limits, Metal
from service.records.local_time import EPOCH, clock_text
from service.records.logger_csv import (
    DECIMALS,
    DELIMITERS,
    BadLoggerFile,
    Cell,
    Column,
    Mapping,
    Table,
    cells,
    read_table,
    summaries,
    usual_step_s,
)
from service.records.logger_heat import NewHeat, keep_heat
from service.records.package import NotAPackage, decode, encode
from service.records.packing import pack, unpack
from service.records.rejudge import rejudge
from service.store.database import Store, StoreError

SHOWN = 5


def add_take_in(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``import`` to the command line."""
    parser = subparsers.add_parser(
        "import", help="take in a heat, or another logger's CSV, into a database of its own"
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="as exported, or with --csv")
    parser.add_argument("--into", type=Path, metavar="DB", help="a database; made if absent")
    parser.add_argument(
        "--even-so", action="store_true", help="take it in although it judges differently now"
    )
    _add_csv(parser.add_argument_group("another logger's CSV file"))
    add_zone(parser)
    parser.set_defaults(run=run_take_in)


def _add_csv(group: argparse._ArgumentGroup) -> None:
    group.add_argument("--csv", action="store_true", help="FILE is such a file")
    group.add_argument("--preview", action="store_true", help="show how it is read, keep nothing")
    group.add_argument(
        "--time", metavar="COLUMN", action="append", default=[], help="twice for date and time"
    )
    group.add_argument(
        "--time-format",
        metavar="FORM",
        default="auto",
        help="s, min, h, or like %%d.%%m.%%Y %%H:%%M:%%S; absent: ISO 8601 or seconds",
    )
    group.add_argument("--start", metavar="TIME", help="with counted times: RFC 3339 of zero")
    group.add_argument(
        "--channel",
        metavar="NAME=COLUMN[:UNIT[:KIND]]",
        action="append",
        default=[],
        help="absent unit: degC, absent kind: thermocouple; repeat",
    )
    group.add_argument("--delimiter", choices=sorted(DELIMITERS), help="absent: what fits")
    group.add_argument("--decimal", choices=sorted(DECIMALS), default="point")
    group.add_argument("--encoding", default="utf-8-sig", help="absent: UTF-8")
    group.add_argument("--part", metavar="NAME", help="name of the part; absent: the file's")
    group.add_argument("--metal", choices=typing.get_args(Metal), default="iron, unknown")
    group.add_argument("--phase", choices=("oven", "bench"), default="oven", help="at its begin")
    group.add_argument("--preheat-min", metavar="C", type=float)
    group.add_argument("--interpass-max", metavar="C", type=float)
    group.add_argument(
        "--log", type=Path, metavar="OUT", help="write t_s,channel,temp_c for 'forecast'"
    )


def run_take_in(given: argparse.Namespace) -> int:
    """0 when it was taken in, or shown."""
    if given.csv:
        return _take_logger_file(given)
    if given.into is None or given.preview:
        raise BadInput("say --into DB: where the heat is to go; --preview goes with --csv only")
    return _take_heat(given)


# A heat of our own -------------------------------------------------------------------------------


def _take_heat(given: argparse.Namespace) -> int:
    data = _read(given.file)
    try:
        package = decode(data)
    except NotAPackage as error:
        raise BadInput(f"{given.file}: {error}") from error
    found = rejudge(package)
    if not found.same and not given.even_so:
        raise CommandError(
            f"{given.file}: judged again, {len(found.missing)} of {found.compared} recorded "
            f"changes are missing, {len(found.extra)} are new, {len(found.refused)} actions are "
            "refused: its verdicts do not follow from its readings, or another version made them; "
            "nothing was taken in (--even-so does it all the same)"
        )
    try:
        store = Store.open(_url(given.into))
        try:
            unpack(store, package, given.file.name)
            whole = encode(pack(store, package.heat_id)) == encode(package)
        finally:
            store.close()
    except StoreError as error:
        raise CommandError(str(error)) from error
    if not whole:
        raise CommandError(
            f"{given.into} does not give back what {given.file} holds: do not use that database"
        )
    same = "all the same" if found.same else "not the same, taken in even so"
    sys.stdout.write(
        f"{given.into}: heat {package.heat_id}, {len(package.readings)} readings; "
        f"{found.compared} changes judged again: {same}\n"
    )
    return 0


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror or error}") from error


def _url(path: Path) -> str:
    return f"sqlite:///{path.resolve()}"


# Another logger's ---------------------------------------------------------------------------------


def _take_logger_file(given: argparse.Namespace) -> int:
    try:
        mapping = _mapping(given)
        table = read_table(given.file, mapping)
        found = list(cells(given.file, table, mapping)) if mapping.columns else []
    except BadLoggerFile as error:
        raise BadInput(str(error)) from error
    if given.preview:
        _preview(given, table, mapping, found)
        return 0
    if not any(each.value is not None for each in found):
        raise BadInput(f"{given.file}: no number in the mapped columns; --preview shows them")
    if given.into is None and given.log is None:
        raise BadInput("say --into DB (keep it as a heat), --log OUT (for forecast) or --preview")
    if given.log is not None:
        _write_log(given.log, found)
    if given.into is not None:
        _keep(given, found, mapping)
    return 0


def _mapping(given: argparse.Namespace) -> Mapping:
    columns = tuple(Column.parsed(text) for text in given.channel)
    names = [each.channel for each in columns]
    for name in names:
        if names.count(name) > 1:
            raise BadLoggerFile(f"channel {name} is mapped {names.count(name)} times; allowed is 1")
    if not given.preview and not (columns and given.time):
        raise BadLoggerFile("say --time COLUMN and --channel NAME=COLUMN; --preview shows columns")
    if columns and not given.time:
        raise BadLoggerFile("say --time COLUMN too: which column holds the time")
    return Mapping(
        times=tuple(given.time),
        columns=columns,
        time_format=given.time_format,
        start_us=None if given.start is None else _start_us(given.start),
        zone=zone_from(given),
        delimiter=None if given.delimiter is None else DELIMITERS[given.delimiter],
        decimal=DECIMALS[given.decimal],
        encoding=given.encoding,
    )


def _start_us(text: str) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise BadLoggerFile(f"--start {text!r} is not like 2026-03-01T08:30:00Z") from error
    if moment.tzinfo is None:
        raise BadLoggerFile(f"--start {text!r} has no offset: end it with Z, or one like +01:00")
    return (moment - EPOCH) // timedelta(microseconds=1)


def _preview(
    given: argparse.Namespace, table: Table, mapping: Mapping, found: Sequence[Cell]
) -> None:
    name = next(word for word, sign in DELIMITERS.items() if sign == table.delimiter)
    say = sys.stdout.write
    say(
        f"{given.file}: {len(table.rows)} rows below line {table.first_line - 1}, {name}s between\n"
    )
    say(f"columns: {', '.join(repr(each) for each in table.header)}\n")
    for row in table.rows[:SHOWN]:
        say(f"  {' | '.join(row)}\n")
    if not found:
        return
    times_us = [each.t_us for each in found]
    first, last = (clock_text(t_us, mapping.zone) for t_us in (min(times_us), max(times_us)))
    step_s = usual_step_s(found)
    say(f"from {first} to {last}, a row usually every {step_s if step_s else '–'} s\n")
    for each in summaries(found, mapping.columns):
        values = "no number"
        if each.low is not None and each.high is not None:
            values = f"{each.good} numbers, {each.low:g} to {each.high:g} {each.unit}"
        bad = ""
        if each.first_bad is not None:
            bad = f"; {each.bad} bad, first in line {each.first_bad.line}: {each.first_bad.reason}"
        say(f"{each.channel}: {values}{bad}\n")
    for cell in found[:SHOWN]:
        value = "bad" if cell.value is None else f"{cell.value:g}"
        say(f"  {clock_text(cell.t_us, mapping.zone)}  {cell.channel}  {value} {cell.unit}\n")


def _write_log(path: Path, found: Sequence[Cell]) -> None:
    start_us = min(each.t_us for each in found)
    try:
        with path.open("w", encoding="utf-8", newline="") as out:
            writer = csv.writer(out)
            writer.writerow(("t_s", "channel", "temp_c"))
            for each in sorted(found, key=lambda one: one.t_us):
                if each.unit == "Cel":
                    value = "" if each.value is None else repr(each.value)
                    writer.writerow((repr((each.t_us - start_us) / 1e6), each.channel, value))
    except OSError as error:
        raise CommandError(f"cannot write {path}: {error.strerror}") from error
    sys.stdout.write(f"{path}: written for 'heatwindow forecast'\n")


def _keep(given: argparse.Namespace, found: Sequence[Cell], mapping: Mapping) -> None:
    try:
        limits = Limits(preheat_min_c=given.preheat_min, interpass_max_c=given.interpass_max)
    except ValidationError as error:
        fault = error.errors()[0]
        where = ".".join(str(each) for each in fault["loc"]) or "limits"
        raise BadInput(f"{where}: {fault['msg']}") from error
    part = (given.part or given.file.stem)[:80]
    try:
        store = Store.open(_url(given.into))
        try:
            keep_heat(
                store, found, mapping.columns, NewHeat(part, given.metal, limits, given.phase)
            )
        finally:
            store.close()
    except StoreError as error:
        raise CommandError(str(error)) from error
    sys.stdout.write(f"{given.into}: heat 1 of {part}, {len(found)} readings\n")
