"""``heatwindow purge``: is a logged purge clear, since when, or when will it be."""

from __future__ import annotations

import argparse
import json
import math
import statistics
import sys
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from service.commands.errors import BadInput
from service.commands.purge_log import PurgeLog, PurgeRow, read_purge_log
from service.commands.purge_options import (
    Bottle,
    add_options,
    bottle,
    cavity_volume_l,
    check_numbers,
    meter,
)
from service.physics.flow_meter import FlowMeter
from service.physics.gas import AIR_OXYGEN_PPM
from service.physics.purge import Basis, Purge, PurgeSetup
from service.readings import Spread

SAFETY = (
    "Argon displaces the air you breathe; an oxygen sensor in the part is not a room monitor. "
    "This advises; the procedure and the welder decide."
)


MOST_ALLOWANCE = 3.0
"""Past so many times the stated volume the margin is not given any finer [1]."""


@dataclass(slots=True, frozen=True)
class PurgeAnswer:
    """What a log says of its purge at the last row.

    Attributes:
        limit_ppm: Oxygen limit [ppm].
        clear: The pessimistic (95 %) oxygen is below the limit.
        clear_at_s: Start of the present clear spell, else when it will be clear with the last
            flow going on [s in the log's time], else ``None``.
        oxygen_ppm_at_end: Oxygen at the last row [ppm].
        basis: What the answer rests on.
        reason: One sentence on why.
        ended_s: Time of the last row [s].
        used_l: Argon through the meter [l].
        flow_l_min: The flow at the last row, 0 when it is not known [l/min].
        volume_allowance: True over stated volume up to which it would be clear by the flow [1].
        learnt_volume_l: Volume the cavity behaved as by the sensor [l]; ``None`` without one.
        troubles: Named troubles with what to look at.
        unused: Columns of the file that were not used.
    """

    limit_ppm: float
    clear: bool
    clear_at_s: Spread | None
    oxygen_ppm_at_end: Spread
    basis: Basis
    reason: str
    ended_s: float
    used_l: float
    flow_l_min: float
    volume_allowance: float
    learnt_volume_l: Spread | None
    troubles: list[str]
    unused: list[str]


def purge_log(
    path: Path,
    volume_l: float,
    limit_ppm: float,
    hose_volume_l: float = 0.0,
    flow_meter: FlowMeter | None = None,
) -> PurgeAnswer:
    """Work through a purge log.

    Args:
        path: The CSV file, see ``purge_log.read_purge_log``.
        volume_l: Cold cavity volume [l].
        limit_ppm: Oxygen limit [ppm].
        hose_volume_l: Hose between meter and cavity [l].
        flow_meter: The meter the log's flow was read from; ``None``: it shows true argon.

    Raises:
        BadInput: The file or an argument is wrong; the message says what and where.
    """
    if not 0.0 < limit_ppm < AIR_OXYGEN_PPM:
        raise BadInput(
            f"--limit-ppm {limit_ppm:g} must be above 0 and below air ({AIR_OXYGEN_PPM:g})"
        )
    log = read_purge_log(path)
    try:
        setup = PurgeSetup(
            volume_l, hose_volume_l, limit_ppm, interval_s=_usual_interval_s(log.rows)
        )
    except ValueError as error:
        raise BadInput(str(error)) from error
    factor = 1.0 if flow_meter is None else flow_meter.argon_per_shown()
    return _work_through(log, setup, limit_ppm, factor)


def _usual_interval_s(rows: list[PurgeRow]) -> float | None:
    gaps = [after.t_s - before.t_s for before, after in pairwise(rows)]
    return min(max(statistics.median(gaps), 1e-3), 3600.0) if gaps else None


def _work_through(
    log: PurgeLog, setup: PurgeSetup, limit_ppm: float, argon_per_shown: float
) -> PurgeAnswer:
    purge = Purge(setup, log.rows[0].t_s)
    clear_since_s: float | None = None
    for row in log.rows:
        if row.gas_temp_c is not None:
            purge.observe_gas_temperature(row.t_s, row.gas_temp_c)
        shown = row.flow_l_min
        purge.observe_flow(row.t_s, None if shown is None else argon_per_shown * shown)
        if row.oxygen_ppm is not None:
            purge.observe_oxygen(row.t_s, row.oxygen_ppm)
        if not purge.clear(limit_ppm):
            clear_since_s = None
        elif clear_since_s is None:
            clear_since_s = row.t_s
    oxygen = purge.oxygen()
    if oxygen is None:
        raise BadInput("the cavity volume is needed")
    ended_s = log.rows[-1].t_s
    if clear_since_s is not None:
        clear_at: Spread | None = Spread(clear_since_s, clear_since_s, clear_since_s)
        why = "clear"
    else:
        ahead = purge.clear_in(limit_ppm)
        clear_at = _later(ahead.time_left_s, ended_s)
        why = "not clear yet" if clear_at else f"not clear: {ahead.reason}"
    return PurgeAnswer(
        limit_ppm=limit_ppm,
        clear=clear_since_s is not None,
        clear_at_s=clear_at,
        oxygen_ppm_at_end=oxygen,
        basis=purge.basis,
        reason=_reason(why, purge.basis, oxygen, limit_ppm),
        ended_s=ended_s,
        used_l=purge.used_l,
        flow_l_min=purge.flow_l_min or 0.0,
        volume_allowance=purge.volume_may_be_over(limit_ppm) or 0.0,
        learnt_volume_l=purge.learnt_volume_l() if purge.basis == "oxygen sensor" else None,
        troubles=purge.troubles(),
        unused=log.unused,
    )


def _later(left: Spread | None, from_s: float) -> Spread | None:
    if left is None:
        return None
    p95 = None if left.p95 is None else from_s + left.p95
    return Spread(from_s + left.p05, from_s + left.p50, p95)


def _reason(why: str, basis: Basis, oxygen: Spread, limit_ppm: float) -> str:
    rests_on = "estimated from flow" if basis == "flow" else "by the oxygen sensor and the flow"
    most = math.inf if oxygen.p95 is None else oxygen.p95
    return f"{why}; at most {ppm(most)} against a limit of {ppm(limit_ppm)}, {rests_on}"


def ppm(value: float) -> str:
    """Oxygen as a welder reads it: two figures, per cent above one per cent."""
    if not math.isfinite(value):
        return "an unknown amount"
    if value >= 10_000:
        return f"{value / 10_000:.1f} %"
    digits = 1 - math.floor(math.log10(value)) if value > 0 else 1
    return f"{round(value, min(digits, 1)):g} ppm"


def as_json(answer: PurgeAnswer) -> dict[str, Any]:
    """The answer as the JSON object of the command's ``--json``."""
    return {
        "limit_ppm": answer.limit_ppm,
        "clear": answer.clear,
        "clear_at_s": _spread(answer.clear_at_s),
        "oxygen_ppm_at_end": _spread(answer.oxygen_ppm_at_end),
        "basis": answer.basis,
        "reason": answer.reason,
    }


def _spread(spread: Spread | None) -> dict[str, float | None] | None:
    if spread is None:
        return None
    return {"p05": spread.p05, "p50": spread.p50, "p95": spread.p95}


def as_text(answer: PurgeAnswer, gas_left: Bottle | None = None) -> str:
    """The answer in the words of the shop, one statement a line."""
    oxygen, at = answer.oxygen_ppm_at_end, answer.clear_at_s
    lines = [_headline(answer, at)]
    most = ppm(oxygen.p95) if oxygen.p95 is not None else "an unknown amount"
    lines.append(
        f"Oxygen at {answer.ended_s:g} s: about {ppm(oxygen.p50)}, "
        f"between {ppm(oxygen.p05)} and {most} (9 in 10)."
    )
    if answer.basis == "flow":
        lines.append(
            "Estimated from flow: flow cannot see a dead leg, a leaky hose or a bad bottle. "
            "Only an oxygen sensor can."
        )
        if answer.volume_allowance > 0.2:
            lines.append(_allowance(answer.volume_allowance, answer.clear))
    else:
        lines.append(
            "By the oxygen sensor at the outlet, together with the flow. A hot zirconia cell reads "
            "low in oil smoke or solvent, and a sampling pump can draw air in past the foil."
        )
    if answer.learnt_volume_l is not None:
        lines.append(
            f"The cavity behaved as {answer.learnt_volume_l.p50:.2g} l "
            f"({answer.learnt_volume_l.p05:.2g} to {answer.learnt_volume_l.p95:.2g}): "
            "a volume to give next time."
        )
    lines.append(f"Argon used: {answer.used_l:.1f} l.")
    if gas_left is not None:
        lines.append(gas_left.text())
    lines.extend(f"Look: {trouble}." for trouble in answer.troubles)
    lines.append(SAFETY)
    return "\n".join(lines)


def _headline(answer: PurgeAnswer, at: Spread | None) -> str:
    limit = ppm(answer.limit_ppm)
    if answer.clear and at is not None:
        return f"CLEAR below {limit} since {at.p50:g} s."
    if at is None or at.p95 is None:
        return f"NOT CLEAR below {limit}: {answer.reason.removeprefix('not clear: ')}."
    if at.p50 > answer.ended_s:
        likely = f"most likely below it at {at.p50:.0f} s"
    else:
        likely = "most likely below it already, but not surely"
    return (
        f"NOT CLEAR below {limit} yet: {likely}. With this flow going on: clear at {at.p95:.0f} s "
        f"(in {_duration(at.p95 - answer.ended_s)})."
    )


def _allowance(allowance: float, clear: bool) -> str:
    if allowance > MOST_ALLOWANCE:
        larger = f"even if the cavity holds {MOST_ALLOWANCE:g} times the stated volume"
    elif allowance >= 1.0:
        percent = math.floor(100 * (allowance - 1))
        larger = f"as long as the cavity is at most {percent} % larger than stated"
    else:
        return f"A cavity of {100 * allowance:.0f} % of the stated volume would be clear by now."
    return f"{'Clear' if clear else 'Below the limit'} {larger}, and has no dead leg."


def _duration(seconds: float) -> str:
    whole = math.ceil(seconds)
    return f"{whole} s" if whole < 120 else f"{whole // 60} min {whole % 60:02d} s"


def add_purge(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Register the subcommand; its handler returns the exit code."""
    parser = subparsers.add_parser(
        "purge",
        help="when a logged purge is clear",
        description=(
            "Says whether a logged purge is clear at its last row, since when, or when it will be."
        ),
    )
    parser.add_argument(
        "log", metavar="LOG.csv", type=Path, help="t_s,flow_l_min[,oxygen_ppm][,gas_temp_c]"
    )
    add_options(parser)
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run_purge)


def run_purge(arguments: argparse.Namespace) -> int:
    """Run ``heatwindow purge``; 0 when the question was answered, clear or not."""
    check_numbers(arguments)
    answer = purge_log(
        arguments.log,
        cavity_volume_l(arguments),
        arguments.limit_ppm,
        arguments.hose_volume_l,
        meter(arguments),
    )
    gas_left = bottle(arguments, answer.flow_l_min)
    if answer.unused:
        sys.stderr.write(f"heatwindow: not used: column {', column '.join(answer.unused)}\n")
    if arguments.json:
        print(json.dumps(as_json(answer), allow_nan=False))
    else:
        sys.stdout.write(as_text(answer, gas_left) + "\n")
    return 0
