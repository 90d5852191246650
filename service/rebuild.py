"""The judge as it was, from what the database keeps: for a start after a stop or a power cut."""

from __future__ import annotations

import logging

from service.judge.actions import BeginHeat, EndHeat
from service.judge.events import Refused
from service.judge.judge import Judge
from service.store.database import Store

log = logging.getLogger(__name__)


def rebuild(store: Store, before_seq: int | None = None) -> Judge:
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
    judge = Judge()
    to_seq = None if before_seq is None else before_seq - 1
    resume_seq = _oldest_open_heat(store, to_seq)
    for acted in store.journal(to_seq=to_seq if resume_seq is None else resume_seq - 1):
        try:
            judge.recall(acted)
        except Refused as refusal:
            log.warning("journal entry %d cannot be repeated: %s", acted.stamp.seq, refusal)
    if resume_seq is not None:
        _repeat(store, judge, resume_seq, to_seq)
    return judge


def _oldest_open_heat(store: Store, to_seq: int | None) -> int | None:
    """Where in the order the oldest heat without an end began."""
    open_heats: dict[int, int] = {}
    for acted in store.journal(to_seq=to_seq):
        action = acted.action
        if isinstance(action, BeginHeat):
            open_heats[action.heat_id] = acted.stamp.seq
        elif isinstance(action, EndHeat):
            open_heats.pop(action.heat_id, None)
    return min(open_heats.values(), default=None)


def _repeat(store: Store, judge: Judge, from_seq: int, to_seq: int | None) -> None:
    count = 0
    for event in store.events(from_seq, to_seq):
        count += 1
        try:
            judge.step(event)
        except Refused as refusal:
            log.warning("what was recorded cannot be repeated: %s", refusal)
    log.info("resumed the open heats from %d readings and actions", count)
