"""What a step of a part's trip means to the models that follow it, and how it is told.

``shop_rules.py`` changes what the shop has said; here the heat's track is told, and the change is
put into words for the record.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.judge import actions as act
from service.judge.events import Stamp, TripChange
from service.judge.fitting import oxygen_overdue
from service.judge.heat_track import HeatTrack
from service.judge.lead import let_go
from service.judge.shop import Heat
from service.judge.state import JudgeState
from service.judge.trip import Step

TRIP_ACTIONS = (
    act.MovePart,
    act.BeginPurge,
    act.EndPurge,
    act.BeginPass,
    act.EndPass,
    act.UndoStep,
    act.CorrectPhase,
    act.CorrectPass,
)
"""Actions that are steps of a trip, or about them."""

TripAction = (
    act.MovePart
    | act.BeginPurge
    | act.EndPurge
    | act.BeginPass
    | act.EndPass
    | act.UndoStep
    | act.CorrectPhase
    | act.CorrectPass
)

ANEW = "counted anew: the purge was ended and begun again"

PHASE_WORDS: dict[act.HeatPhase, str] = {
    "oven": "back in the oven",
    "carry": "out of the oven",
    "bench": "on the bench",
    "slow cool": "covered",
}
ORIGIN_WORDS: dict[act.Origin, str] = {
    "tap": "",
    "button": " (by the button)",
    "readings": " (seen in the readings)",
}


@dataclass(frozen=True, slots=True)
class Before:
    """What a step will have changed: the phase, the last step that could be taken back, and the
    number of the last pass."""

    phase: act.HeatPhase
    phase_origin: act.Origin
    steps_taken: int
    step: Step | None
    weld: int


def before(state: JudgeState, action: act.Action) -> Before | None:
    """How things stand before an action of the trip; ``None`` for any other action."""
    if not isinstance(action, TRIP_ACTIONS):
        return None
    heat = state.shop.heats.get(action.heat_id)
    if heat is None:
        return None
    step = heat.steps[-1] if heat.steps else None
    weld = heat.welds[-1].number if heat.welds else 0
    return Before(heat.phase, heat.phase_origin, heat.steps_taken, step, weld)


@dataclass(frozen=True, slots=True)
class _Done:
    """One step that has been taken."""

    state: JudgeState
    heat: Heat
    track: HeatTrack | None
    """``None``: the heat has ended."""
    stamp: Stamp
    action: TripAction
    was: Before

    @property
    def undone(self) -> Step | None:
        return self.was.step if isinstance(self.action, act.UndoStep) else None

    @property
    def by_person(self) -> bool:
        return self.stamp.origin != "readings"


def follow(state: JudgeState, stamp: Stamp, action: act.Action, was: Before) -> list[TripChange]:
    """Tell the heat's track what was done, and put it into words.

    Args:
        stamp: When the step happened, and what said so.
        was: From ``before``.
    """
    if not isinstance(action, TRIP_ACTIONS):
        return []
    heat = state.shop.heats[action.heat_id]
    done = _Done(state, heat, state.heats.get(action.heat_id), stamp, action, was)
    if done.track is not None:
        _tell_models(done, done.track)
        _tell_watch(done, done.track)
    return [_told(done)]


def _tell_models(done: _Done, track: HeatTrack) -> None:
    heat, was, mono_us = done.heat, done.was, done.stamp.mono_us
    part = done.state.shop.parts[heat.part_id]
    overdue = oxygen_overdue(done.state, part.id, mono_us)
    if heat.phase != was.phase:
        track.moved(was.phase, heat.phase, mono_us)
    if heat.phase == "carry":
        track.gap_since_us = heat.phase_since_us
    match (done.action.kind, None if done.undone is None else done.undone.kind):
        case ("begin purge", _):
            track.purge_begins(part, mono_us, sensor_overdue=overdue)
        case ("undo step", "end purge"):
            track.purge_begins(part, mono_us, ANEW, sensor_overdue=overdue)
        case ("end purge", _) | ("undo step", "begin purge"):
            track.purge_ends(mono_us)
        case ("begin pass", _) | ("undo step", "end pass"):
            # One that was seen before is only confirmed, and changes nothing.
            if heat.steps_taken != was.steps_taken or done.undone is not None:
                track.changed(mono_us, "arc on")
        case ("end pass", _) | ("undo step", "begin pass"):
            track.changed(mono_us, "arc off")
            if done.by_person:
                let_go(done.state, heat)
        case _:
            pass


def _tell_watch(done: _Done, track: HeatTrack) -> None:
    heat, was, now_us = done.heat, done.was, done.state.now_us
    if heat.phase == was.phase:
        return
    track.watch.moved(heat.phase, now_us, by_person=done.by_person)
    if was.phase_origin == "readings" and isinstance(done.action, act.UndoStep | act.CorrectPhase):
        track.watch.deny(was.phase, now_us)


def _told(done: _Done) -> TripChange:
    state, heat, stamp, action = done.state, done.heat, done.stamp, done.action
    number = _number(done)
    span = next((s for s in heat.phases if s.number == number), None)
    moved = span is not None and isinstance(action, act.MovePart | act.CorrectPhase)
    name = state.shop.parts[heat.part_id].name
    return TripChange(
        heat_id=heat.id,
        number=number,
        kind=action.kind,
        undone=None if done.undone is None else done.undone.kind,
        phase=span.phase if moved and span is not None else None,
        origin=stamp.origin,
        by=action.by if isinstance(action, act.CorrectPhase | act.CorrectPass) else None,
        since_us=span.since_utc_us if moved and span is not None else stamp.utc_us,
        arc_us=heat.welds[-1].arc_us if isinstance(action, act.EndPass) else None,
        at_us=state.now_us + state.shop.offset_us,
        mono_us=state.now_us,
        text=f"{name}: {_words(done)}{ORIGIN_WORDS[stamp.origin]}",
    )


def _number(done: _Done) -> int:
    """The place on the trip of the phase meant, or the number of the pass; 0 for the gas."""
    heat, undone = done.heat, done.undone
    match done.action:
        case act.CorrectPhase(number=number) | act.CorrectPass(number=number):
            return number
        case act.UndoStep():
            if undone is None or undone.kind == "move part":
                return heat.phases[-1].number + 1
            return done.was.weld if "pass" in undone.kind else 0
        case act.MovePart():
            return heat.phases[-1].number
        case act.BeginPass() | act.EndPass():
            return heat.welds[-1].number
        case _:
            return 0


def _words(done: _Done) -> str:
    heat = done.heat
    ended = "tack" if heat.welds and heat.welds[-1].tack else "pass"
    words: dict[str, str] = {
        "move part": PHASE_WORDS[heat.phase],
        "begin pass": f"pass {_number(done)} begun",
        "end pass": f"{ended} {_number(done)} ended",
        "begin purge": "purge begun",
        "end purge": "purge ended",
        "undo step": f"taken back: {'a step' if done.undone is None else done.undone.kind}",
        "correct phase": f"phase {_number(done)} corrected",
        "correct pass": f"pass {_number(done)} corrected",
    }
    return words[done.action.kind]
