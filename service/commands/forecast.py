"""``heatwindow forecast``: how long until a probe in a log file falls through a limit."""

from __future__ import annotations

import argparse
import csv
import json
import math
import typing
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypedDict

from service.commands.errors import BadInput
from service.judge.actions import Metal
from service.physics.cooldown import Cooldown, CooldownPrior, Rate
from service.physics.heat_paths import heat_paths
from service.readings import Spread

USABLE_C = (-200.0, 1800.0)
"""Outside this no thermocouple reads; such a value is a converter's fault mark, not a reading."""
AMBIENT_C = (-60.0, 1400.0)


UNKNOWN_PART = CooldownPrior(metal="iron, unknown")
METALS = typing.get_args(Metal)


class BadLog(BadInput):
    """A log that cannot be used; the message names the file, the row and what is allowed."""


class ForecastJson(TypedDict):
    at_s: float
    until_c: float
    temperature_c: float | None
    rate_c_per_h: float | None
    time_left_s: dict[str, float | None] | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a log; ``temperature_c`` is ``None`` for "no reading"."""

    t_s: float
    channel: str
    temperature_c: float | None


def read_log(path: Path) -> list[Row]:
    """Read a log with the columns ``t_s,temp_c`` or ``t_s,channel,temp_c``.

    Raises:
        BadLog: not readable, wrong columns, a field that is not a number, time going backwards
            within a channel, or no row at all.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            return _rows(path, csv.reader(file))
    except OSError as error:
        raise BadLog(f"{path}: cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise BadLog(f"{path}: is not UTF-8 text (byte {error.start})") from error
    except csv.Error as error:
        raise BadLog(f"{path}: is not a CSV file: {error}") from error


def _rows(path: Path, lines: Any) -> list[Row]:
    header = [name.strip() for name in next(lines, [])]
    if header not in (["t_s", "temp_c"], ["t_s", "channel", "temp_c"]):
        raise BadLog(
            f"{path}: row 1 must be t_s,temp_c or t_s,channel,temp_c, not {','.join(header)!r}"
        )
    rows: list[Row] = []
    last_s: dict[str, float] = {}
    for fields in lines:
        if not any(field.strip() for field in fields):
            continue
        where = f"{path}: row {lines.line_num}"
        if len(fields) != len(header):
            raise BadLog(f"{where}: {len(fields)} fields where the header has {len(header)}")
        row = _row(where, [field.strip() for field in fields])
        if row.t_s < last_s.get(row.channel, -math.inf):
            raise BadLog(
                f"{where}: t_s {row.t_s:g} is before {last_s[row.channel]:g} of the row above; "
                "times must not go backwards"
            )
        last_s[row.channel] = row.t_s
        rows.append(row)
    if not rows:
        raise BadLog(f"{path}: has no rows below its header")
    return rows


def _row(where: str, fields: list[str]) -> Row:
    channel = fields[1] if len(fields) == 3 else ""
    if len(fields) == 3 and not channel:
        raise BadLog(f"{where}: channel is empty; it must name the channel")
    t_s = _number(where, "t_s", fields[0])
    temperature_c = _number(where, "temp_c", fields[-1]) if fields[-1] else None
    return Row(t_s, channel, temperature_c)


def _number(where: str, name: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise BadLog(f"{where}: {name} {text!r} is not a number") from None
    if not math.isfinite(value):
        raise BadLog(f"{where}: {name} {text!r} must be a finite number (empty for no reading)")
    return value


def _pick_channel(path: Path, rows: list[Row], wanted: str | None, ambient: str | None) -> str:
    names = list(dict.fromkeys(row.channel for row in rows))
    listed = ", ".join(repr(name) for name in names)
    for name in (wanted, ambient):
        if name is not None and name not in names:
            what = f"its channels are {listed}" if names != [""] else "it has no channel column"
            raise BadLog(f"{path}: no channel {name!r}; {what}")
    if wanted is not None:
        return wanted
    others = [name for name in names if name != ambient]
    if len(others) != 1:
        raise BadLog(f"{path}: say which channel with --channel; there are {listed}")
    return others[0]


def forecast_log(
    path: Path,
    until_c: float,
    at_s: list[float] | None = None,
    *,
    channel: str | None = None,
    ambient_c: float | None = None,
    ambient_channel: str | None = None,
    prior: CooldownPrior = UNKNOWN_PART,
) -> list[ForecastJson]:
    """Forecast from a log, as the ``forecast`` command does.

    Args:
        path: Log file, see ``read_log``.
        until_c: The limit [°C].
        at_s: Moments to answer for [s], in any order; ``None``: the last row's. Each answer
            uses only rows up to its own moment.
        channel: Which channel; needed when the log has several.
        ambient_c: Ambient temperature measured once [°C].
        ambient_channel: The channel that measures it.
        prior: What is known of the part.

    Returns:
        One answer for each moment, in the order given.

    Raises:
        BadLog: the log cannot be used.
    """
    rows = read_log(path)
    name = _pick_channel(path, rows, channel, ambient_channel)
    moments = at_s if at_s else [max(row.t_s for row in rows)]
    rows = sorted((r for r in rows if r.channel in (name, ambient_channel)), key=lambda r: r.t_s)
    fit = Cooldown(prior)
    answers: dict[int, ForecastJson] = {}
    place = 0
    for order in sorted(range(len(moments)), key=lambda i: moments[i]):
        while place < len(rows) and rows[place].t_s <= moments[order]:
            row = rows[place]
            place += 1
            if row.temperature_c is None or not USABLE_C[0] <= row.temperature_c <= USABLE_C[1]:
                continue
            if row.channel == ambient_channel:
                ambient_c = row.temperature_c
            else:
                fit.observe(row.t_s, row.temperature_c, ambient_c)
        answers[order] = _answer(fit, until_c, moments[order])
    return [answers[i] for i in range(len(moments))]


def _answer(fit: Cooldown, until_c: float, at_s: float) -> ForecastJson:
    forecast = fit.until_below(until_c, at_s)
    level, rate = fit.level(at_s), fit.rate()
    return {
        "at_s": at_s,
        "until_c": until_c,
        "temperature_c": None if level is None else round(level.temperature_c, 2),
        "rate_c_per_h": None if rate is None else round(rate.c_per_h, 1),
        "time_left_s": _spread_json(forecast.time_left_s),
        "reason": forecast.reason,
    }


def _spread_json(spread: Spread | None) -> dict[str, float | None] | None:
    if spread is None:
        return None
    return {
        "p05": round(spread.p05, 2),
        "p50": round(spread.p50, 2),
        "p95": None if spread.p95 is None else round(spread.p95, 2),
    }


def _minutes(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.1f} min" if seconds < 600 else f"{seconds / 60:.0f} min"


def in_words(answer: ForecastJson) -> str:
    """One answer as a welder reads it: the safe number first."""
    at_s, until_c = answer["at_s"], answer["until_c"]
    if answer["temperature_c"] is None:
        return f"At {at_s:g} s: no forecast: {answer['reason']}."
    now = f"At {at_s:g} s: {answer['temperature_c']:.0f} °C"
    if answer["rate_c_per_h"] is not None:
        rate = answer["rate_c_per_h"]
        now += f", {'cooling' if rate <= 0 else 'heating'} {abs(rate):.0f} °C/h"
    left = answer["time_left_s"]
    if left is None:
        return f"{now}. Cannot predict when it falls below {until_c:g} °C: {answer['reason']}."
    if answer["reason"] is not None:
        return f"{now}. It is {answer['reason']} {until_c:g} °C."
    low, middle, high = left["p05"], left["p50"], left["p95"]
    latest = "no upper end can be given" if high is None else f"at the latest {_minutes(high)}"
    return (
        f"{now}. Count on {_minutes(low or 0.0)} before it falls below {until_c:g} °C "
        f"(most likely {_minutes(middle or 0.0)}, {latest}; 5 % chance of less)."
    )


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"must be a finite number, not {text!r}")
    return value


def add_forecast(subparsers: Any) -> None:
    """Register ``forecast`` with the main command's sub-parsers; its handler is ``args.run``."""
    parser = subparsers.add_parser(
        "forecast",
        help="how long until a probe in a log falls through a limit",
        description="Read a log (t_s,temp_c or t_s,channel,temp_c) and say how long until the "
        "probe falls below a temperature. Advice only: the welder decides.",
    )
    parser.add_argument("log", type=Path, metavar="LOG.csv")
    parser.add_argument("--until", type=_finite, required=True, metavar="C", help="limit in °C")
    parser.add_argument(
        "--at", type=_finite, action="append", metavar="S",
        help="moment in seconds of the log; only rows up to it are used; may repeat; "
        "default: the last row",
    )  # fmt: skip
    parser.add_argument("--channel", metavar="NAME", help="which channel of the log")
    ambient = parser.add_mutually_exclusive_group()
    ambient.add_argument("--ambient", type=_finite, metavar="C", help="measured ambient in °C")
    ambient.add_argument("--ambient-channel", metavar="NAME", help="channel that measures it")
    parser.add_argument("--metal", metavar="METAL", help=f"one of: {'; '.join(METALS)}")
    parser.add_argument("--mass-kg", type=_finite, metavar="N", help="mass of the casting")
    parser.add_argument("--area-m2", type=_finite, metavar="N", help="its outer surface")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run_forecast)


def run_forecast(args: argparse.Namespace) -> int:
    """Handle ``heatwindow forecast``; 0 done, ``BadInput`` (2) for anything it cannot use."""
    low, high = AMBIENT_C
    if args.ambient is not None and not low <= args.ambient <= high:
        raise BadInput(f"--ambient {args.ambient:g} must lie in {low:g} to {high:g} °C")
    prior = _prior(args)
    answers = forecast_log(
        args.log,
        args.until,
        args.at,
        channel=args.channel,
        ambient_c=args.ambient,
        ambient_channel=args.ambient_channel,
        prior=prior,
    )
    if args.json:
        many = args.at is not None and len(args.at) > 1
        print(json.dumps(answers if many else answers[0], allow_nan=False))
    else:
        around_c = 20.0 if args.ambient is None else args.ambient
        print("\n".join(in_words(answer) + losing(answer, prior, around_c) for answer in answers))
    return 0


def _prior(args: argparse.Namespace) -> CooldownPrior:
    """What is said of the part; checked as the part's form on the page checks it."""
    if args.metal is not None and args.metal not in METALS:
        raise BadInput(f"--metal {args.metal!r} is not one of: {'; '.join(METALS)}")
    for name, value, most in (("mass-kg", args.mass_kg, 2000.0), ("area-m2", args.area_m2, 50.0)):
        if value is not None and not 0 < value <= most:
            raise BadInput(f"--{name} {value:g} must be above 0 and at most {most:g}")
    return CooldownPrior(args.metal or UNKNOWN_PART.metal, args.mass_kg, args.area_m2)


def losing(answer: ForecastJson, prior: CooldownPrior, around_c: float) -> str:
    """Where the heat goes, in a sentence; empty without a mass or while the part does not cool."""
    part_c, rate = answer["temperature_c"], answer["rate_c_per_h"]
    if prior.mass_kg is None or part_c is None or rate is None:
        return ""
    if rate >= 0 or part_c < around_c + 25.0:
        return ""
    paths = heat_paths(
        prior.metal,
        prior.mass_kg,
        prior.area_m2,
        part_c=part_c,
        rate=Rate(rate, 0.0),
        around_c=around_c,
    )
    told = {name: share for name, share in paths.percent().items() if share >= 1.0}
    shares = ", ".join(f"{name} {share:.0f} %" for name, share in told.items())
    return f" It loses {paths.total_w:.0f} W: {shares}."
