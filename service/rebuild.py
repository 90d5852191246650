"""The judge as it was, from what the database keeps: for a start after a stop or a power cut."""

from __future__ import annotations

import logging

from service.judge.actions import BeginHeat, EndHeat
from service.judge.events import Refused
from service.judge.judge import Judge
from service.store.database import Store

log = logging.getLogger(__name__)


def rebuild(store: Store) -> Judge:
    """Say the past again to a new judge.

    What was said before the oldest heat that is still open is only taken in (parts, channels,
    limits); from that heat's begin on every reading and action is judged again, which brings
    back forecasts, alarms and acknowledgements as they were.

    Args:
        store: Open, its spool recovered.

    Returns:
        A judge that has seen everything recorded, and not yet that the service has started.
    """
    judge = Judge()
    resume_seq = _oldest_open_heat(store)
    for acted in store.journal(to_seq=None if resume_seq is None else resume_seq - 1):
        try:
            judge.recall(acted)
        except Refused as refusal:
            log.warning("journal entry %d cannot be repeated: %s", acted.stamp.seq, refusal)
    if resume_seq is not None:
        _repeat(store, judge, resume_seq)
    return judge


def _oldest_open_heat(store: Store) -> int | None:
    """Where in the order the oldest heat without an end began."""
    open_heats: dict[int, int] = {}
    for acted in store.journal():
        action = acted.action
        if isinstance(action, BeginHeat):
            open_heats[action.heat_id] = acted.stamp.seq
        elif isinstance(action, EndHeat):
            open_heats.pop(action.heat_id, None)
    return min(open_heats.values(), default=None)


def _repeat(store: Store, judge: Judge, from_seq: int) -> None:
    count = 0
    for event in store.events(from_seq):
        count += 1
        try:
            judge.step(event)
        except Refused as refusal:
            log.warning("what was recorded cannot be repeated: %s", refusal)
    log.info("resumed the open heats from %d readings and actions", count)
