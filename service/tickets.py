"""What goes through the collector's queue beside readings, and what its sender gets back."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

from service.judge.actions import Action, BeginHeat, CreatePart, UseProcedure, WriteProcedure
from service.judge.events import Acted, Stamp
from service.judge.procedure_rules import with_limits
from service.judge.shop import Shop


@dataclass(frozen=True, slots=True)
class ActResult:
    """What became of an operator's action.

    Attributes:
        seq: Its place in the order.
        part_id: The part it made or concerns, if any.
        heat_id: The heat it made or concerns, if any.
        recorded: It is safely in the journal (on a disk), not only in force.
    """

    seq: int
    part_id: int | None
    heat_id: int | None
    recorded: bool


@dataclass(slots=True)
class Ticket:
    """Where the sender of an action waits for what became of it."""

    answered: threading.Event = field(default_factory=threading.Event)
    recorded: threading.Event = field(default_factory=threading.Event)
    acted: Acted | None = None
    refusal: str | None = None


@dataclass(frozen=True, slots=True)
class Queued:
    """An action on its way to the judge."""

    stamp: Stamp
    action: Action
    ticket: Ticket | None


def numbered(action: Action, shop: Shop) -> Action:
    """The action with its id, so that the journal holds it complete."""
    made_id = shop.seen(action.token)
    if isinstance(action, CreatePart):
        return action.model_copy(update={"part_id": made_id or shop.next_part_id})
    if isinstance(action, BeginHeat):
        return action.model_copy(update={"heat_id": made_id or shop.next_heat_id})
    if isinstance(action, WriteProcedure) and action.procedure_id == 0:
        return action.model_copy(update={"procedure_id": made_id or shop.next_procedure_id})
    if isinstance(action, UseProcedure):
        return with_limits(action, shop)
    return action
