"""``heatwindow metals``: what is usual for each casting metal, with where every row comes from.

Suggestions to begin a procedure from. A shop that knows better writes its own rows into a file,
each with its own source, and gives that with ``--table``.
"""

from __future__ import annotations

import argparse
import json
import tomllib
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from service.commands.errors import BadInput
from service.physics.weld_heat import COOLING_RULES
from service.procedure.metals import DEFERS_TO, RANGES, Range, edited

NO_RATE = (
    "No row has a cooling rate: slow means the time from the last arc to the cover. Published "
    "rates belong to heat treatment and hold only in their bands:"
)


def table(path: str | None) -> Mapping[str, Range]:
    """The shipped rows, with a shop's own from a TOML file in their place.

    Each table of the file is a metal; its keys are attributes of ``Range``; ``source`` and
    ``known`` must be among them.

    Raises:
        BadInput: The file cannot be read or a row is not one; names the row.
    """
    if path is None:
        return RANGES
    try:
        rows = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{path}: {error}") from error
    merged: dict[str, Range] = dict(RANGES)
    for metal, row in rows.items():
        merged[metal] = _row(path, metal, row)
    return merged


def _row(path: str, metal: str, row: Any) -> Range:
    if not isinstance(row, dict):
        raise BadInput(f'{path}: {metal} is not a table; a row begins with ["{metal}"]')
    missing = [name for name in ("source", "known") if name not in row]
    if missing:
        raise BadInput(f"{path}: {metal}: {' and '.join(missing)} must be said of every row")
    values = dict(row)
    if isinstance(values.get("preheat_c"), list):
        values["preheat_c"] = _ends(path, metal, values["preheat_c"])
    try:
        return edited(metal, **values)[metal]
    except (TypeError, ValueError, AttributeError) as error:
        raise BadInput(f"{path}: {metal}: {error}") from error


def _ends(path: str, metal: str, given: list[Any]) -> tuple[float, float]:
    numbers = [v for v in given if isinstance(v, int | float) and not isinstance(v, bool)]
    if len(given) != 2 or len(numbers) != 2:
        raise BadInput(f"{path}: {metal}: preheat_c {given!r} must be its lower and upper end [°C]")
    return float(numbers[0]), float(numbers[1])


def add_metals(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Register the subcommand; its handler returns the exit code."""
    parser = subparsers.add_parser(
        "metals",
        help="what is usual for each casting metal, and who says so",
        description="Preheat, interpass and cooling that are usual for each casting metal, hot and "
        "cold method, each row with its source.",
        epilog=DEFERS_TO,
    )
    parser.add_argument("metal", nargs="*", metavar="METAL", help="only these; a part will do")
    parser.add_argument("--table", metavar="FILE", help="the shop's own rows (TOML)")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run_metals)


def run_metals(arguments: argparse.Namespace) -> int:
    """Run ``heatwindow metals``."""
    rows = _chosen(table(arguments.table), arguments.metal)
    if arguments.json:
        told = {metal: asdict(row) | {"shown_source": row.shown_source} for metal, row in rows}
        print(json.dumps({"metals": told, "defers_to": DEFERS_TO}, allow_nan=False))
        return 0
    for metal, row in rows:
        print("\n".join(row_lines(metal, row)), end="\n\n")
    print(NO_RATE)
    for rule in COOLING_RULES:
        low, high = rule.band_c
        print(
            f"  {rule.what}: at most {rule.fastest_c_per_h:.0f} °C/h from {high:.0f} to {low:.0f} "
            f"°C ({rule.source}; {rule.confirmed})"
        )
    print(DEFERS_TO)
    return 0


def _chosen(rows: Mapping[str, Range], wanted: list[str]) -> list[tuple[str, Range]]:
    found = [
        (metal, row)
        for metal, row in rows.items()
        if not wanted or any(word.lower() in metal.lower() for word in wanted)
    ]
    if not found:
        raise BadInput(f"no metal is called {' or '.join(wanted)}; there are {', '.join(rows)}")
    return found


def row_lines(metal: str, row: Range) -> list[str]:
    """One row as a person reads it; its source stands below it."""
    preheat = "none given"
    if row.preheat_c is not None:
        preheat = f"{row.preheat_c[0]:.0f} to {row.preheat_c[1]:.0f} °C"
    lines = [metal, f"  preheat    {preheat}"]
    if row.interpass_max_c is not None:
        lines.append(f"  interpass  at most {row.interpass_max_c:.0f} °C")
    lines.append(f"  cooling    {row.cooling}")
    if row.cold_method:
        most = f", at most {row.cold_interpass_max_c:.0f} °C" if row.cold_interpass_max_c else ""
        lines.append(f"  cold       {row.cold_method}{most} ({row.cold_known})")
    if row.caution:
        lines.append(f"  mind       {row.caution}")
    lines.append(f"  source     {row.shown_source}")
    return lines
