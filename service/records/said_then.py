"""What the judge said at any past moment of a heat, and what came of it.

The heat is judged again from its record, and asked at even steps what its page showed then. What
the judge says follows from readings and actions alone, so that is what it said at that moment, if
the service was of this version; of another one it is what this one would have said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from service.judge.actions import BeginHeat, ServiceStarted
from service.judge.events import Acted, Advance, Refused
from service.judge.judge import Judge
from service.judge.outlook import PartJson, SpreadJson
from service.judge.utc import utc_text
from service.rebuild import rebuild
from service.records.package import Package
from service.records.rejudge import is_cold_start, moment_of

STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300)
MOST_STEPS = 1000
OUT_OF_OVEN = ("carry", "bench")
_EVERY_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class Said:
    """One moment.

    Attributes:
        mono_us: When, by the shop's monotonic clock [µs].
        part: What the bench showed of the part.
    """

    mono_us: int
    part: PartJson


def step_s(package: Package) -> int:
    """Seconds between two moments so that a heat has no more than ``MOST_STEPS``."""
    times_us = [each.mono_us for each in package.readings[-1:]]
    times_us += [each.stamp.mono_us for each in package.acted]
    begun_us = next(
        each.stamp.mono_us for each in package.acted
        if isinstance(each.action, BeginHeat) and each.action.heat_id == package.heat_id
    )  # fmt: skip
    span_s = (max(times_us) - begun_us) / 1e6
    return next((each for each in STEPS_S if span_s / each <= MOST_STEPS), STEPS_S[-1])


def said_then(
    package: Package, every_s: int, progress: Callable[[float], None] = lambda _share: None
) -> Iterator[Said]:
    """What was shown of the heat's part, every so many seconds while its heat ran.

    While the service was away nothing was said, and nothing is told.

    Args:
        package: The heat.
        every_s: Between two moments, whole seconds of the shop's clock.
        progress: Told how much is done, 0 to 1, every hundredth.
    """
    every_us = every_s * 1_000_000
    judge = rebuild(package, before_seq=package.first_seq)
    offset_us, next_us, told = 0, None, 0.0
    seqs = max(package.last_seq - package.first_seq, 1)
    for event in package.events(package.first_seq, package.last_seq):
        seq, mono_us, utc_us = moment_of(event)
        started = isinstance(event, Acted) and isinstance(event.action, ServiceStarted)
        if next_us is None or started:
            next_us = -(-mono_us // every_us) * every_us
        while next_us < mono_us:
            judge.step(Advance(next_us, next_us + offset_us))
            yield from _shown(judge, package.heat_id, next_us)
            next_us += every_us
        offset_us = utc_us - mono_us
        if is_cold_start(event) and seq > package.first_seq:
            judge = rebuild(package, before_seq=seq)
        try:
            judge.step(event)
        except Refused:
            continue  # it changed nothing then either
        if (share := (seq - package.first_seq) / seqs) - told >= _EVERY_SHARE:
            told = share
            progress(share)


def _shown(judge: Judge, heat_id: int, mono_us: int) -> Iterator[Said]:
    for part in judge.bench()["parts"]:
        if part["heat_id"] == heat_id:
            yield Said(mono_us, part)


def said_json(said: Sequence[Said], utc_us: Callable[[int], int]) -> list[dict[str, Any]]:
    """Moments of ``SaidThen`` in openapi.json, with what came of each promise.

    Args:
        said: In order of time.
        utc_us: From monotonic time to that of the record [µs UTC].
    """
    came = what_came(said)
    return [
        {
            "at": utc_text(utc_us(each.mono_us)),
            "phase": each.part["phase"],
            "pass_running": each.part["pass_running"],
            "passes": each.part["passes"],
            "preheat_min_c": _low_c(each.part),
            "verdict": each.part["verdict"],
            "heat": each.part["heat"]["verdict"],
            "purge": each.part["purge"]["verdict"],
            "next": each.part["next"],
            "temperature_c": each.part["heat"]["temperature_c"],
            "rate_c_per_h": each.part["heat"]["rate_c_per_h"],
            "closes_in_s": each.part["heat"]["window"]["closes_in_s"],
            "opens_in_s": each.part["heat"]["window"]["opens_in_s"],
            "reason": each.part["heat"]["window"]["reason"],
            "oxygen_ppm": each.part["purge"]["oxygen_ppm"],
            "clear": each.part["purge"]["clear"],
            "clear_in_s": each.part["purge"]["clear_in_s"],
            "came": outcome,
        }
        for each, outcome in zip(said, came, strict=True)
    ]


def what_came(said: Sequence[Said]) -> list[dict[str, Any] | None]:
    """For each moment that promised when the window closes: what came first, and after how long.

    ``closed``: the temperature shown fell below the preheat minimum. ``pass``, ``moved``: an arc
    was lit, or the part was moved or covered, before it could. ``ended``: the heat's record did.
    ``held`` says whether a window that closed did so within the range that was told.
    """
    came: list[dict[str, Any] | None] = [None] * len(said)
    ahead: tuple[str, int] | None = None
    for place in reversed(range(len(said))):
        each = said[place]
        follows = said[place + 1] if place + 1 < len(said) else None
        if follows is None:
            ahead = ("ended", each.mono_us)
        elif follows.part["phase"] != each.part["phase"]:
            ahead = ("moved", follows.mono_us)
        elif follows.part["passes"] > each.part["passes"]:
            ahead = ("pass", follows.mono_us)
        elif _below(follows.part) and not _below(each.part):
            ahead = ("closed", follows.mono_us)
        promised = each.part["heat"]["window"]["closes_in_s"]
        if ahead is None or promised is None or _below(each.part):
            continue
        what, mono_us = ahead
        in_s = (mono_us - each.mono_us) / 1e6
        came[place] = {"what": what, "in_s": in_s, "held": _held(what, in_s, promised)}
    return came


def _low_c(part: PartJson) -> float | None:
    limits = part["limits"].get("in_force") or part["limits"]
    return limits["preheat_min_c"]


def _below(part: PartJson) -> bool:
    low_c, temperature_c = _low_c(part), part["heat"]["temperature_c"]
    return low_c is not None and temperature_c is not None and temperature_c < low_c


def _held(what: str, in_s: float, promised: SpreadJson) -> bool | None:
    """Whether the range held; ``None`` where something else came before it could be known."""
    late = promised["p95"]
    if what == "closed":
        return promised["p05"] <= in_s and (late is None or in_s <= late)
    # Still open after the last moment of its range: that is known, whatever came then.
    return False if late is not None and in_s > late else None
