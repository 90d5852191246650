"""The trip of a part, its passes and the open questions, as the bench answer shows them."""

from __future__ import annotations

from service.judge.actions import MovePart
from service.judge.lead import next_action
from service.judge.outlook import (
    ArcWord,
    NextStepJson,
    PassTimesJson,
    PhaseJson,
    QuestionJson,
    StepJson,
    TripJson,
)
from service.judge.shop import Heat
from service.judge.state import JudgeState, Question
from service.judge.trip import PhaseSpan, Step, WeldPass
from service.judge.utc import utc_text
from service.judge.words import listed


def trip_json(state: JudgeState, heat: Heat) -> TripJson:
    """The trip so far, as of the last event."""
    doubt = state.heats[heat.id].arc_doubt
    return {
        "phase_origin": heat.phase_origin,
        "phases": [_phase(span) for span in heat.phases],
        "last_step": _step(state, heat.steps[-1]) if heat.steps else None,
        "next_step": _next(state, heat),
        "arc": _arc(heat, doubt),
        "arc_doubt": doubt,
        "arc_s": _arc_s(heat),
        "tacks": heat.tacks,
        "last_arc_s": _last_arc_s(heat, state.now_us),
        "covered_after_s": _seconds(heat.covered_after_us),
    }


def _phase(span: PhaseSpan) -> PhaseJson:
    return {
        "number": span.number,
        "phase": span.phase,
        "began_at": utc_text(span.since_utc_us),
        "origin": span.origin,
        "corrected": span.corrected,
    }


def _step(state: JudgeState, step: Step) -> StepJson:
    return {
        "number": step.number,
        "kind": step.kind,
        "phase": step.phase,
        "origin": step.origin,
        "at": utc_text(step.at_us + state.shop.offset_us),
    }


def _next(state: JudgeState, heat: Heat) -> NextStepJson | None:
    action = next_action(state, heat, state.looked_us)
    if action is None:
        return None
    return {"kind": action.kind, "phase": action.phase if isinstance(action, MovePart) else None}


def _arc(heat: Heat, doubt: str | None) -> ArcWord:
    if heat.pass_running:
        return "on"
    return "out" if doubt is None else "unknown"


def _arc_s(heat: Heat) -> float | None:
    watched = heat.arc_now_us is not None or any(weld.arc_us is not None for weld in heat.welds)
    return _seconds(heat.arc_us + (heat.arc_now_us or 0)) if watched or heat.arc_us else None


def _last_arc_s(heat: Heat, now_us: int) -> float | None:
    if heat.phase == "slow cool" or heat.pass_running or heat.arc_out_us is None:
        return None
    return _seconds(max(0, now_us - heat.arc_out_us))


def _seconds(us: int | None) -> float | None:
    return None if us is None else round(us / 1e6, 1)


def pass_json(weld: WeldPass, heat: Heat) -> PassTimesJson:
    """One pass of a heat."""
    running = weld.ended_us is None
    return {
        "number": weld.number,
        "began_at": utc_text(weld.began_utc_us),
        "ended_at": None if weld.ended_utc_us is None else utc_text(weld.ended_utc_us),
        "arc_s": _seconds(heat.arc_now_us if running else weld.arc_us),
        "tack": weld.tack,
        "origin": weld.origin,
        "corrected": weld.corrected,
    }


def question_json(state: JudgeState, question: Question) -> QuestionJson:
    """A question with its words."""
    heats = [state.shop.heats[heat_id] for heat_id in question.heat_ids]
    names = listed([state.shop.parts[heat.part_id].name for heat in heats])
    what = "An arc was struck" if question.kind == "arc" else "The button was pressed"
    return {
        "id": question.id,
        "kind": question.kind,
        "channel": question.channel,
        "since": utc_text(question.since_us + state.shop.offset_us),
        "heat_ids": list(question.heat_ids),
        "text": f"{what}: which part is meant? {names}.",
    }
