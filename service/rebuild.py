"""The judge as it was, from what the database keeps: for a start after a stop or a power cut."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Protocol

import numpy as np

from service import __version__
from service.judge.actions import BeginHeat, EndHeat
from service.judge.checkpoint import CheckpointError, decode
from service.judge.events import Acted, Outcome, Refused
from service.judge.judge import Judge
from service.judge.sense import SenseState
from service.judge.state import JudgeState
from service.readings import Reading
from service.store.changes import newest_change_us
from service.store.database import Store

log = logging.getLogger(__name__)


@dataclass(slots=True)
class _Passed:
    """What was judged again: how many readings and actions, and what came of it."""

    count: int = 0
    outcome: Outcome = field(default_factory=Outcome)


@cache
def checkpoint_version() -> str:
    """Names everything a judge's state depends on: our own code for it, and numpy.

    A state is only taken up by the very code that left it. A change of a formula without a new
    version number would else go on from numbers that it would never have come to.
    """
    digest = hashlib.sha256()
    service = resources.files("service")
    for room in ("judge", "physics", "procedure", "readings.py", "units.py"):
        for name, source in _sources(service / room, room):
            digest.update(f"{name}\0{len(source)}\0".encode() + source)
    return f"{__version__} {digest.hexdigest()[:16]} numpy {np.__version__}"


def _sources(place: Traversable, name: str) -> Iterator[tuple[str, bytes]]:
    if place.is_file():
        if name.endswith(".py"):
            yield name, place.read_bytes()
        return
    for inner in sorted(place.iterdir(), key=lambda each: each.name):
        yield from _sources(inner, f"{name}/{inner.name}")


def resume(store: Store) -> tuple[Judge, int | None]:
    """The judge for a start of the service.

    Its newest checkpoint that can be read is taken up, and what was recorded after it is judged
    again; without one, everything is rebuilt.

    Args:
        store: Open, its spool recovered.

    Returns:
        A judge that has seen everything recorded, and not yet that the service has started; and
        the event its checkpoint came after, ``None`` if it was rebuilt.
    """
    for seq, data in store.load_checkpoints():
        try:
            judge = _restored(data)
            passed = _go_on(store, judge, seq + 1)
        except CheckpointError as error:
            log.warning("the judge's checkpoint after event %d is not used: %s", seq, error)
        except Exception:
            log.exception("the judge's checkpoint after event %d is not used", seq)
        else:
            log.info("resumed from a checkpoint and %d readings and actions after it", passed.count)
            _owe_unrecorded(store, judge, passed)
            return judge, seq
    judge, passed = _rebuilt(store, None)
    _owe_unrecorded(store, judge, passed)
    return judge, None


def _owe_unrecorded(store: Store, judge: Judge, passed: _Passed) -> None:
    """What a kill kept from being recorded is told with the judge's next outcome.

    A reading is committed a moment before what was concluded from it.
    """
    with store.connect() as connection:
        last_us = newest_change_us(connection) or 0
    owed = judge.state.owed
    owed.alarms[:0] = [each for each in passed.outcome.alarms if each.mono_us > last_us]
    owed.verdicts[:0] = [each for each in passed.outcome.verdicts if each.mono_us > last_us]
    owed.trips[:0] = [each for each in passed.outcome.trips if each.mono_us > last_us]


def _restored(data: bytes) -> Judge:
    kept = decode(data, checkpoint_version())
    match kept:
        case (JudgeState() as state, SenseState() as gate):
            return Judge(state, gate)
        case _:
            raise CheckpointError("it holds no judge")


class Past(Protocol):
    """What a judge is rebuilt from: a database, or the record of a heat that was handed over."""

    def journal(self, from_seq: int = 0, to_seq: int | None = None) -> Iterator[Acted]:
        """Actions in order, both ends included."""

    def events(self, from_seq: int, to_seq: int | None = None) -> Iterator[Reading | Acted]:
        """Readings and actions in order, both ends included."""


def rebuild(store: Past, before_seq: int | None = None) -> Judge:
    """Say the past again to a new judge.

    What was said before the oldest heat that is still open is only taken in (parts, channels,
    limits); from that heat's begin on every reading and action is judged again, which brings
    back forecasts, alarms and acknowledgements as they were.

    Args:
        store: Open, its spool recovered.
        before_seq: Take only what came before this place in the order, as a start then did;
            absent: everything.

    Returns:
        A judge that has seen everything recorded, and not yet that the service has started.
    """
    return _rebuilt(store, before_seq)[0]


def _rebuilt(store: Past, before_seq: int | None) -> tuple[Judge, _Passed]:
    judge = Judge()
    to_seq = None if before_seq is None else before_seq - 1
    resume_seq = _oldest_open_heat(store, to_seq)
    for acted in store.journal(to_seq=to_seq if resume_seq is None else resume_seq - 1):
        try:
            judge.recall(acted)
        except Refused as refusal:
            log.warning("journal entry %d cannot be repeated: %s", acted.stamp.seq, refusal)
    if resume_seq is None:
        return judge, _Passed()
    passed = _go_on(store, judge, resume_seq, to_seq, tolerant=True)
    log.info("resumed the open heats from %d readings and actions", passed.count)
    return judge, passed


def _oldest_open_heat(store: Past, to_seq: int | None) -> int | None:
    """Where in the order to begin: at the oldest heat without an end, and before that at every heat
    that was still on its trip then. The steps of a trip are partly found in the readings, so none
    may be judged from its middle."""
    begun: dict[int, int] = {}
    ended: dict[int, int] = {}
    for acted in store.journal(to_seq=to_seq):
        action = acted.action
        if isinstance(action, BeginHeat):
            begun[action.heat_id] = acted.stamp.seq
        elif isinstance(action, EndHeat):
            ended[action.heat_id] = acted.stamp.seq
    first = min((seq for heat_id, seq in begun.items() if heat_id not in ended), default=None)
    for heat_id, seq in sorted(begun.items(), key=lambda each: -each[1]):
        if first is not None and seq < first < ended[heat_id]:
            first = seq
    return first


def _go_on(
    store: Past, judge: Judge, from_seq: int, to_seq: int | None = None, *, tolerant: bool = False
) -> _Passed:
    """Judge again what was recorded.

    With ``tolerant`` an event on which the judge fails is logged and passed over, as it was when
    it first came: a service that cannot start would be worse.
    """
    passed = _Passed()
    for event in store.events(from_seq, to_seq):
        passed.count += 1
        try:
            outcome = judge.step(event)
        except Refused as refusal:
            log.warning("what was recorded cannot be repeated: %s", refusal)
        except Exception:
            if not tolerant:
                raise
            log.exception("the judge failed on event %d", _place(event))
        else:
            passed.outcome.alarms += outcome.alarms
            passed.outcome.verdicts += outcome.verdicts
            passed.outcome.trips += outcome.trips
    return passed


def _place(event: Reading | Acted) -> int:
    return event.seq if isinstance(event, Reading) else event.stamp.seq
