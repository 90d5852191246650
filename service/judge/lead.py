"""Steps that nobody tapped: what the arc, the button and the temperatures call for.

The judge asks here on every tick and at every reading of an arc or a button, takes each step as
it would take a tap, and marks it with what said so. Nothing is guessed: where an arc or a press
could mean several parts, a question is asked, and what was seen meanwhile is kept until somebody
answers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from service.judge import actions as act
from service.judge.arc import ArcEvent, ArcTrack
from service.judge.channel import Standing
from service.judge.events import Refused
from service.judge.heat_track import HeatTrack
from service.judge.phases import Around
from service.judge.press import PressKind
from service.judge.shop import Channel, Heat, Shop
from service.judge.state import JudgeState, Question
from service.judge.trip_rules import UNDO_WITHIN_US
from service.readings import ChannelKind

ANSWER_HOLDS_US = 120_000_000
"""An answer about an arc is good for the next one too, if that comes so soon after."""
SPANS_KEPT = 50
"""Passes kept under an open question."""
QUESTION_US = 900_000_000
"""A question about a press is dropped after so long: the moment has gone."""


FOLLOWS: dict[act.HeatPhase, act.HeatPhase] = {"oven": "carry", "carry": "bench"}


NextAction = act.MovePart | act.BeginPurge | act.BeginPass | act.EndPass


@dataclass(frozen=True, slots=True)
class Wanted:
    """A step to take, when it happened (shop time [µs]), and what said so."""

    action: NextAction | act.UndoStep
    at_us: int
    origin: act.Origin


# --- the obvious next step -----------------------------------------------------------------------


def next_action(state: JudgeState, heat: Heat, now_us: int) -> NextAction | None:
    """The one obvious next step of a heat, or ``None``.

    Out of the oven, onto the bench, gas on where there is an oxygen limit, then pass after pass.
    Where an arc channel watches, passes come by themselves, and what is left to say after them is
    that the part has been covered.
    """
    if heat.phase in FOLLOWS:
        return act.MovePart(heat_id=heat.id, phase=FOLLOWS[heat.phase])
    if heat.phase == "slow cool":
        return None
    if heat.pass_running:
        return act.EndPass(heat_id=heat.id)
    part = state.shop.parts[heat.part_id]
    fresh = not heat.purge_running and heat.purge_ended_us is None and heat.passes == 0
    if part.oxygen_max_ppm is not None and fresh:
        return act.BeginPurge(heat_id=heat.id)
    if not arc_watched(state, heat, now_us):
        return act.BeginPass(heat_id=heat.id)
    return act.MovePart(heat_id=heat.id, phase="slow cool") if heat.passes else None


# --- whose arc -----------------------------------------------------------------------------------


def _arcs_for(state: JudgeState, heat: Heat) -> list[Channel]:
    """Arc channels that may show this heat's arc: its part's own, else those of the shop."""
    arcs = [c for c in state.shop.channels.values() if c.kind is ChannelKind.ARC]
    own = [c for c in arcs if c.part_id == heat.part_id]
    return own or [c for c in arcs if c.part_id is None]


def arc_channels(state: JudgeState, heat: Heat) -> list[str]:
    """Arc channels of the part's own that must speak now: those of a part on the bench."""
    if heat.phase != "bench":
        return []
    return [c.name for c in state.shop.channels_of(heat.part_id, ChannelKind.ARC)]


def arc_watched(state: JudgeState, heat: Heat, now_us: int) -> bool:
    """A live arc channel would see a pass on this part."""
    channels = _arcs_for(state, heat)
    return any(state.channels[c.name].standing(now_us) is Standing.GOOD for c in channels)


def arc_doubt(state: JudgeState, heat: Heat, now_us: int) -> str | None:
    """Why the arc is not known to be out on a part without a running pass; ``None``: it is.

    With no arc channel passes are tapped and nothing is in doubt. A channel that cannot be
    believed leaves it open, until somebody says by a tap or the button that a pass has ended.
    """
    for question in state.questions.values():
        if question.kind == "arc" and heat.id in question.heat_ids:
            return f"{question.channel} has shown an arc: say on which part"
    for channel in _arcs_for(state, heat):
        track, arc = state.channels[channel.name], state.arcs.get(channel.name)
        if track.standing(now_us) is not Standing.GOOD:
            known_us = track.known_since_us if track.good_us is None else track.good_us
            if heat.pass_said_us is None or heat.pass_said_us < known_us:
                return f"{channel.name}: {track.why(now_us) or 'in doubt'}"
        elif arc is not None and arc.running and _may_be(state, channel, arc, heat):
            return f"{channel.name} shows an arc"
    return None


def _may_be(state: JudgeState, channel: Channel, arc: ArcTrack, heat: Heat) -> bool:
    if arc.heat_id is not None:
        return arc.heat_id == heat.id
    return heat in _weldable(state.shop, channel)


def _weldable(shop: Shop, channel: Channel) -> list[Heat]:
    """Heats the channel's arc may be burning on: those on the bench, and one that was only found
    to be covered; with a channel of its own a part that is still being carried."""
    found = []
    for heat in shop.open_heats():
        if channel.part_id is not None and channel.part_id != heat.part_id:
            continue
        seen_covered = heat.phase == "slow cool" and heat.phase_origin == "readings"
        carried = heat.phase == "carry" and channel.part_id is not None
        if heat.phase == "bench" or seen_covered or carried:
            found.append(heat)
    return found


def _owner(state: JudgeState, channel: Channel, arc: ArcTrack, at_us: int) -> Heat | None:
    """The heat whose arc it is, where that is obvious."""
    heats = _weldable(state.shop, channel)
    if len(heats) == 1:
        return heats[0]
    welding = [heat for heat in heats if heat.pass_running]
    if len(welding) == 1:
        return welding[0]
    said = [heat for heat in heats if heat.id == arc.answered_id]
    return said[0] if said and at_us - arc.answered_us <= ANSWER_HOLDS_US else None


def arc_steps(state: JudgeState, channel: Channel, now_us: int) -> Iterator[Wanted]:
    """What an arc channel calls for at this moment."""
    track, arc = state.channels[channel.name], state.arcs[channel.name]
    for event in arc.look(now_us, track.standing(now_us) is Standing.GOOD):
        if event.mark == "began":
            yield from _arc_began(state, channel, arc, event)
        else:
            yield from _arc_ended(state, channel, arc, event)
    heat = None if arc.heat_id is None else state.shop.heats.get(arc.heat_id)
    if arc.running and heat is not None and heat.pass_running:
        heat.arc_now_us = arc.arc_us


def _arc_began(
    state: JudgeState, channel: Channel, arc: ArcTrack, event: ArcEvent
) -> Iterator[Wanted]:
    heat = _owner(state, channel, arc, event.at_us)
    arc.heat_id = None if heat is None else heat.id
    if heat is not None:
        yield from _strike(heat, event.at_us)
        return
    possible = _weldable(state.shop, channel)
    possible = possible or [h for h in state.shop.open_heats() if h.phase == "carry"]
    if not possible:
        return  # nothing here can be welded on: it is some other work
    question = _ask(state, "arc", channel.name, event.at_us, possible)
    question.spans = [*question.spans[1 - SPANS_KEPT :], (event.at_us, None, 0)]


def _strike(heat: Heat, at_us: int) -> Iterator[Wanted]:
    if heat.pass_running:
        return
    if heat.phase != "bench":
        yield Wanted(act.MovePart(heat_id=heat.id, phase="bench"), at_us, "readings")
    yield Wanted(act.BeginPass(heat_id=heat.id), at_us, "readings")


def _arc_ended(
    state: JudgeState, channel: Channel, arc: ArcTrack, event: ArcEvent
) -> Iterator[Wanted]:
    heat = None if arc.heat_id is None else state.shop.heats.get(arc.heat_id)
    arc.heat_id = None
    question = _question_of(state, "arc", channel.name)
    if question is not None and question.spans and question.spans[-1][1] is None:
        began_us, _, _ = question.spans[-1]
        question.spans[-1] = (began_us, event.at_us, event.arc_us)
    if heat is None or heat.ended_us is not None or not heat.pass_running:
        return
    if arc.answered_id == heat.id:
        arc.answered_us = event.at_us
    heat.arc_now_us = event.arc_us
    yield Wanted(act.EndPass(heat_id=heat.id), event.at_us, "readings")


def let_go(state: JudgeState, heat: Heat) -> None:
    """Somebody says that the arc is out: what the channel still shows is not this pass's."""
    for arc in state.arcs.values():
        if arc.heat_id == heat.id:
            arc.heat_id = None


# --- the button ----------------------------------------------------------------------------------


def press_steps(
    state: JudgeState, channel: Channel, kind: PressKind, at_us: int
) -> Iterator[Wanted]:
    """What a press calls for: "next" by a short one, "back" by a long one."""
    heats = [
        heat
        for heat in state.shop.open_heats()
        if channel.part_id is None or heat.part_id == channel.part_id
    ]
    if kind == "long":
        yield from _back(heats, at_us)
        return
    meant = _meant(heats)
    if len(meant) > 1:
        _ask(state, "next", channel.name, at_us, meant)
    for heat in meant if len(meant) == 1 else []:
        action = next_action(state, heat, at_us)
        if action is not None:
            yield Wanted(action, at_us, "button")


def _meant(heats: list[Heat]) -> list[Heat]:
    """The part at hand: the one being welded, else those out of the oven, else those in it."""
    welding = [heat for heat in heats if heat.pass_running]
    if len(welding) == 1:
        return welding
    out = [heat for heat in heats if heat.phase in ("carry", "bench")]
    return out or [heat for heat in heats if heat.phase == "oven"]


def _back(heats: list[Heat], at_us: int) -> Iterator[Wanted]:
    """The newest step of all parts that can be taken back is taken back."""
    recent = [
        heat for heat in heats if heat.steps and at_us - heat.steps[-1].at_us < UNDO_WITHIN_US
    ]
    if not recent:
        return
    heat = max(recent, key=lambda each: (each.steps[-1].at_us, each.id))
    undo = act.UndoStep(heat_id=heat.id, number=heat.steps[-1].number)
    yield Wanted(undo, at_us, "button")


# --- where the part is ---------------------------------------------------------------------------


def phase_steps(
    state: JudgeState, track: HeatTrack, now_us: int, ambient_c: float | None
) -> Iterator[Wanted]:
    """The phase that the probes show, once it is sure; to be asked on whole seconds."""
    heat, part = state.shop.heats[track.heat_id], state.shop.parts[track.part_id]
    known_out = not heat.pass_running and arc_doubt(state, heat, now_us) is None
    around = Around(
        phase=heat.phase,
        pass_running=heat.pass_running,
        passes=heat.passes,
        arc_out_us=heat.arc_out_us if known_out else None,
        preheat_min_c=part.preheat_min_c,
        ambient_c=ambient_c,
    )
    seen = track.watch.second(now_us, state.channels, sorted(track.cooling), around)
    if seen is not None:
        move = act.MovePart(heat_id=heat.id, phase=seen.phase)
        yield Wanted(move, seen.at_us, "readings")


# --- questions -----------------------------------------------------------------------------------


def _question_of(state: JudgeState, kind: Literal["arc", "next"], channel: str) -> Question | None:
    return next(
        (q for q in state.questions.values() if q.kind == kind and q.channel == channel), None
    )


def _ask(
    state: JudgeState,
    kind: Literal["arc", "next"],
    channel: str,
    at_us: int,
    heats: list[Heat],
) -> Question:
    question = _question_of(state, kind, channel)
    if question is None:
        state.last_question += 1
        question = Question(state.last_question, kind, channel, at_us)
        state.questions[question.id] = question
    question.since_us = at_us if kind == "next" else question.since_us
    question.heat_ids = [heat.id for heat in heats]
    return question


def drop_questions(state: JudgeState, now_us: int) -> None:
    """Forget what cannot be answered any more."""
    for question in list(state.questions.values()):
        open_ids = [i for i in question.heat_ids if state.shop.heats[i].ended_us is None]
        question.heat_ids = open_ids
        late = question.kind == "next" and now_us - question.since_us > QUESTION_US
        if late or not open_ids:
            del state.questions[question.id]


def _answered(state: JudgeState, action: act.AnswerQuestion, now_us: int) -> Iterator[Wanted]:
    """What an answer calls for: the passes seen meanwhile, or the next step."""
    question = state.questions.pop(action.question_id)
    heat = None if action.heat_id is None else state.shop.heats[action.heat_id]
    if heat is None:
        return
    if question.kind == "next":
        step = next_action(state, heat, now_us)
        if step is not None:
            yield Wanted(step, now_us, "tap")
        return
    arc = state.arcs[question.channel]
    arc.answered_id, arc.answered_us = heat.id, now_us
    for began_us, ended_us, arc_us in question.spans:
        if heat.pass_running:
            continue  # somebody has begun it by hand meanwhile
        if ended_us is not None:
            yield from _strike(heat, began_us)
            heat.arc_now_us = arc_us
            yield Wanted(act.EndPass(heat_id=heat.id), ended_us, "readings")
        elif arc.running:
            arc.heat_id = heat.id
            yield from _strike(heat, began_us)


def steps_said(
    state: JudgeState, action: act.NextStep | act.AnswerQuestion, now_us: int
) -> Iterator[Wanted]:
    """What "next" or an answer by a tap calls for.

    Raises:
        Refused: There is no obvious next step, or no such question.
    """
    if isinstance(action, act.NextStep):
        step = next_action(state, state.shop.open_heat(action.heat_id), now_us)
        if step is None:
            raise Refused("No next step is obvious here: say what you are doing.")
        return iter([Wanted(step, now_us, "tap")])
    question = state.questions.get(action.question_id)
    if question is None:
        raise Refused(f"There is no question {action.question_id} any more.")
    if action.heat_id is not None and action.heat_id not in question.heat_ids:
        raise Refused(f"Heat {action.heat_id} is not one of those asked about.")
    return _answered(state, action, now_us)


def doubt_between_passes(state: JudgeState, heat_id: int, now_us: int) -> str | None:
    """As ``arc_doubt``, where it matters: on the bench, with no pass running."""
    heat = state.shop.heats[heat_id]
    if heat.phase != "bench" or heat.pass_running:
        return None
    return arc_doubt(state, heat, now_us)
