"""Reading a purge log: a CSV file, checked row by row."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from service.commands.errors import BadInput

REQUIRED = ("t_s", "flow_l_min")
OPTIONAL = ("oxygen_ppm", "gas_temp_c")

_RANGES = {
    "t_s": (-1e12, 1e12),
    # A thermal meter's zero may lie a little below nothing.
    "flow_l_min": (-0.5, 500.0),
    "oxygen_ppm": (0.0, 1e6),
    "gas_temp_c": (-50.0, 1400.0),
}


@dataclass(slots=True, frozen=True)
class PurgeRow:
    """One row: time [s], flow [l/min], oxygen [ppm], gas in the cavity [°C]; None: no reading."""

    t_s: float
    flow_l_min: float | None
    oxygen_ppm: float | None
    gas_temp_c: float | None


@dataclass(slots=True, frozen=True)
class PurgeLog:
    """A log whose times increase, with at least one row.

    Attributes:
        rows: The readings.
        has_oxygen: The file has an oxygen column.
        unused: Columns in the file that are not used.
    """

    rows: list[PurgeRow]
    has_oxygen: bool
    unused: list[str]


def read_purge_log(path: Path) -> PurgeLog:
    """Read a purge log.

    Args:
        path: A CSV file with the columns t_s and flow_l_min, and perhaps oxygen_ppm and
            gas_temp_c, in any order. An empty cell is no reading.

    Raises:
        BadInput: The file cannot be read or is not such a log; names the row and the reason.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            return _read(csv.reader(file), path)
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise BadInput(f"{path}: is not a UTF-8 text file (byte {error.start})") from error
    except csv.Error as error:
        raise BadInput(f"{path}: is not a CSV file: {error}") from error


def _read(lines: Iterator[list[str]], path: Path) -> PurgeLog:
    header = [name.strip() for name in next(lines, [])]
    missing = [name for name in REQUIRED if name not in header]
    if missing:
        raise BadInput(
            f"{path}: row 1: no column {' and no column '.join(missing)}; the header must hold "
            f"{', '.join(REQUIRED)} and may hold {', '.join(OPTIONAL)}"
        )
    known = (*REQUIRED, *OPTIONAL)
    twice = [name for name in known if header.count(name) > 1]
    if twice:
        raise BadInput(f"{path}: row 1: column {twice[0]} is there twice")
    rows: list[PurgeRow] = []
    for number, cells in enumerate(lines, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        rows.append(_row(header, cells, number, path))
        if len(rows) > 1 and rows[-1].t_s <= rows[-2].t_s:
            raise BadInput(
                f"{path}: row {number}: t_s {rows[-1].t_s:g} is not after the row before "
                f"({rows[-2].t_s:g}); times must increase"
            )
    if not rows:
        raise BadInput(f"{path}: there are no rows below the header")
    unused = [name for name in header if name not in known]
    return PurgeLog(rows, "oxygen_ppm" in header, unused)


def _row(header: list[str], cells: list[str], number: int, path: Path) -> PurgeRow:
    if len(cells) != len(header):
        raise BadInput(
            f"{path}: row {number}: {len(cells)} cells where the header has {len(header)} columns"
        )
    values: dict[str, float | None] = dict.fromkeys((*REQUIRED, *OPTIONAL))
    for name, cell in zip(header, cells, strict=True):
        if name in values:
            values[name] = _number(name, cell.strip(), number, path)
    t_s = values["t_s"]
    if t_s is None:
        raise BadInput(f"{path}: row {number}: t_s is empty; every row needs its time")
    return PurgeRow(t_s, values["flow_l_min"], values["oxygen_ppm"], values["gas_temp_c"])


def _number(name: str, cell: str, number: int, path: Path) -> float | None:
    if not cell:
        return None
    try:
        value = float(cell)
    except ValueError:
        raise BadInput(f"{path}: row {number}: {name} {cell!r} is not a number") from None
    low, high = _RANGES[name]
    if not math.isfinite(value) or not low <= value <= high:
        raise BadInput(
            f"{path}: row {number}: {name} {cell} is outside {low:,.10g} to {high:,.10g}"
        )
    return value
