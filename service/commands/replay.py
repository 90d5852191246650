"""``heatwindow replay``: judge a recorded database again and compare, to the letter.

Each run of the service is repeated as it was: the judge is rebuilt from what came before, as the
start then did, and given the run's readings and actions in their recorded order. What it
concludes must be what was recorded. A difference means another version of the judge, a fault in
it, or a record that lost something; it is printed and makes the exit code 1.

Of a service that is running, what it has concluded but not yet written is not compared.
"""

from __future__ import annotations

import argparse
import datetime
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from service import __version__
from service.commands.check import config_from
from service.commands.errors import BadInput, CommandError
from service.judge.actions import ServiceStarted
from service.judge.events import (
    Acted,
    Advance,
    AlarmChange,
    Outcome,
    Refused,
    TripChange,
    VerdictChange,
)
from service.judge.judge import Judge
from service.readings import Reading
from service.rebuild import rebuild
from service.records.packing import pack, taken_in
from service.records.rejudge import rejudge
from service.store.database import Store, StoreError

Change = AlarmChange | VerdictChange | TripChange

SHOWN = 50
"""Differences printed; more are only counted."""


def add_replay(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``replay`` to the command line."""
    parser = subparsers.add_parser("replay", help="judge a recorded database again and compare")
    parser.add_argument(
        "database", nargs="?", type=Path, metavar="FILE", help="absent: the config's database"
    )
    parser.add_argument("--config", metavar="FILE", type=Path, help="TOML file; absent: defaults")
    parser.set_defaults(run=run_replay)


def run_replay(given: argparse.Namespace) -> int:
    """0 when every change is repeated exactly, 1 when not."""
    if given.database is not None and given.config is not None:
        raise BadInput("give either a database or a config, not both")
    if given.database is not None:
        url = f"sqlite:///{given.database.resolve()}"
    else:
        url = config_from(given.config).database_url
    try:
        store = Store.open_to_read(url)
    except StoreError as error:
        raise CommandError(str(error)) from error
    try:
        heats = taken_in(store)
        found = compare_heats(store, heats) if heats else compare(store)
    except StoreError as error:
        raise CommandError(str(error)) from error
    finally:
        store.close()
    report(found)
    return 0 if found.same else 1


@dataclass(frozen=True, slots=True)
class Comparison:
    """What a replay found.

    Attributes:
        events: Readings and actions given to the judge.
        runs: Starts of the service among them.
        compared: Recorded changes.
        missing: Recorded, but not concluded again.
        extra: Concluded now, but not recorded.
        versions: Of the service, as recorded at its starts.
    """

    events: int
    runs: int
    compared: int
    missing: list[Change]
    extra: list[Change]
    versions: list[str]

    @property
    def same(self) -> bool:
        """Nothing differs."""
        return not self.missing and not self.extra


@dataclass(frozen=True, slots=True)
class Run:
    """One run of the service: its place in the order, and when the next began [µs].

    ``resumed``: its judge went on from a checkpoint, which is as if it had never stopped.
    """

    first_seq: int
    last_seq: int
    until_mono_us: int | None
    version: str
    resumed: bool


def compare_heats(store: Store, heats: list[int]) -> Comparison:
    """Judge heats again that were recorded elsewhere and taken in, each by itself.

    Raises:
        StoreError: The database cannot be read.
    """
    events, compared = 0, 0
    missing: list[Change] = []
    extra: list[Change] = []
    for heat_id in heats:
        package = pack(store, heat_id)
        found = rejudge(package)
        for refusal in found.refused:
            sys.stdout.write(f"! {refusal}\n")
        events += len(package.acted) + len(package.readings)
        compared += found.compared
        missing += found.missing
        extra += found.extra
    return Comparison(events, len(heats), compared, missing, extra, [])


def compare(store: Store) -> Comparison:
    """Judge everything again.

    Raises:
        StoreError: The database cannot be read.
    """
    last_seq = store.next_seq() - 1
    recorded = _together(store.changes())
    runs = list(_runs(store, last_seq))
    concluded: set[Change] = set()
    events = 0
    judge: Judge | None = None
    for run in runs:
        if judge is None or not run.resumed:
            judge = rebuild(store, before_seq=run.first_seq)
        events += _repeat(store, judge, run, recorded, concluded)
    return Comparison(
        events=events,
        runs=len(runs),
        compared=len(recorded),
        missing=_in_order(recorded - concluded),
        extra=_in_order(concluded - recorded),
        versions=sorted({run.version for run in runs}),
    )


def _runs(store: Store, last_seq: int) -> Iterator[Run]:
    starts = [
        (acted.stamp.seq, acted.stamp.mono_us, acted.action)
        for acted in store.journal(to_seq=last_seq)
        if isinstance(acted.action, ServiceStarted)
    ]
    for (seq, _, start), (next_seq, next_mono_us, _) in pairwise(starts):
        yield Run(seq, next_seq - 1, next_mono_us, start.version, start.checkpoint_seq is not None)
    if starts:
        seq, _, start = starts[-1]
        yield Run(seq, last_seq, None, start.version, start.checkpoint_seq is not None)


def _repeat(
    store: Store, judge: Judge, run: Run, recorded: set[Change], concluded: set[Change]
) -> int:
    """One run again; how many readings and actions it had."""
    events, mono_us, offset_us = 0, 0, 0
    for event in store.events(run.first_seq, run.last_seq):
        events += 1
        mono_us, offset_us = _moment(event)
        concluded |= _together(_step(judge, event))
    # After its last reading a run went on until it stopped, and only what it recorded tells how
    # far; a later run's changes are at least as late as its start.
    within = [
        change.mono_us
        for change in recorded
        if run.until_mono_us is None or change.mono_us < run.until_mono_us
    ]
    end_us = max(within, default=mono_us)
    if end_us > mono_us:
        concluded |= _together(judge.step(Advance(end_us, end_us + offset_us)))
    return events


def _step(judge: Judge, event: Reading | Acted) -> Outcome:
    try:
        return judge.step(event)
    except Refused as refusal:
        # The journal holds accepted actions only; one refused now differs by itself.
        seq = event.stamp.seq if isinstance(event, Acted) else event.seq
        sys.stdout.write(f"! action {seq} was accepted and is refused now: {refusal}\n")
        return Outcome()


def _moment(event: Reading | Acted) -> tuple[int, int]:
    if isinstance(event, Reading):
        return event.mono_us, event.arrived_us - event.mono_us
    return event.stamp.mono_us, event.stamp.utc_us - event.stamp.mono_us


def _together(outcome: Outcome) -> set[Change]:
    return {*outcome.alarms, *outcome.verdicts, *outcome.trips}


def _in_order(changes: set[Change]) -> list[Change]:
    return sorted(changes, key=lambda change: (change.mono_us, str(change)))


def report(found: Comparison) -> None:
    """Print what was found."""
    differing = [("- recorded, not repeated", change) for change in found.missing]
    differing += [("+ repeated, not recorded", change) for change in found.extra]
    differing.sort(key=lambda pair: pair[1].mono_us)
    for sign, change in differing[:SHOWN]:
        sys.stdout.write(f"{sign}: {words(change)}\n")
    if len(differing) > SHOWN:
        sys.stdout.write(f"... and {len(differing) - SHOWN} more\n")
    for version in found.versions:
        if version != __version__:
            sys.stdout.write(f"recorded by heatwindow {version}, repeated by {__version__}\n")
    outcome = "all the same" if found.same else f"{len(differing)} differ"
    sys.stdout.write(
        f"{found.events} readings and actions in {found.runs} runs, "
        f"{found.compared} recorded changes: {outcome}\n"
    )


def words(change: Change) -> str:
    """A change in one line."""
    at = datetime.datetime.fromtimestamp(change.at_us / 1e6, datetime.UTC)
    when = f"{at:%Y-%m-%dT%H:%M:%S.%f}Z"
    if isinstance(change, AlarmChange):
        return f"{when} alarm {change.alarm_id} {change.kind} {change.state}: {change.text}"
    if isinstance(change, TripChange):
        return f"{when} heat {change.heat_id} {change.kind} {change.number}: {change.text}"
    return (
        f"{when} heat {change.heat_id} {change.phase}: {change.verdict} "
        f"(heat {change.heat}, purge {change.purge}): {change.text}"
    )
