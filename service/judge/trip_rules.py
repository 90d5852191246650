"""What each action does to a part's trip, when it must be refused, and how it is taken back.

As in ``shop_rules.py`` every rule is a check that changes nothing and a change that cannot fail.
What a person says wins over what the readings said: saying what they have said already confirms
it, and is no error.
"""

from __future__ import annotations

from service.judge import actions as act
from service.judge.events import Refused, Stamp
from service.judge.shop import Heat, Shop
from service.judge.trip import (
    PASSES_KEPT,
    PHASES_KEPT,
    STEPS_KEPT,
    PhaseSpan,
    Step,
    StepKind,
    WeldPass,
)

UNDO_WITHIN_US = 600_000_000
"""An older step is not taken back by one press; it can still be corrected."""


def _by_person(stamp: Stamp) -> bool:
    return stamp.origin != "readings"


def _note(
    heat: Heat,
    stamp: Stamp,
    kind: StepKind,
    *,
    phase: act.HeatPhase | None = None,
    was_us: int | None = None,
) -> None:
    heat.steps_taken += 1
    step = Step(heat.steps_taken, kind, stamp.mono_us, stamp.origin, phase, was_us)
    heat.steps = [*heat.steps[1 - STEPS_KEPT :], step]


# --- the heat ------------------------------------------------------------------------------------


def check_begin_heat(shop: Shop, action: act.BeginHeat) -> None:
    part = shop.part(action.part_id)
    if action.heat_id < 1 or action.heat_id in shop.heats or action.heat_id < shop.next_heat_id:
        raise Refused(f"Heat number {action.heat_id} cannot be given to a new heat.")
    if shop.heat_of(part.id) is not None:
        raise Refused(f"{part.name} is already in a heat: end that one first.")


def apply_begin_heat(shop: Shop, stamp: Stamp, action: act.BeginHeat) -> int:
    heat = shop.heats[action.heat_id] = Heat(
        action.heat_id, action.part_id, stamp.mono_us, stamp.utc_us, action.phase, stamp.mono_us
    )
    heat.phases = [PhaseSpan(1, action.phase, stamp.mono_us, stamp.utc_us, stamp.origin)]
    part = shop.part(action.part_id)
    heat.procedure_id, heat.procedure_version = part.procedure_id, part.procedure_version
    shop.next_heat_id = max(shop.next_heat_id, action.heat_id + 1)
    shop.forget_old_heats()
    return action.heat_id


def check_known(shop: Shop, action: act.PinHeat | act.WriteNote) -> None:
    if action.heat_id >= shop.next_heat_id:
        raise Refused(f"There is no heat {action.heat_id}.")


def check_end_heat(shop: Shop, action: act.EndHeat) -> None:
    if shop.open_heat(action.heat_id).pass_running:
        raise Refused("A pass is running: end it before ending the heat.")


def apply_end_heat(shop: Shop, stamp: Stamp, action: act.EndHeat) -> int:
    heat = shop.open_heat(action.heat_id)
    heat.ended_us, heat.purge_since_us = stamp.mono_us, None
    return 0


# --- moves ---------------------------------------------------------------------------------------


def check_move(shop: Shop, action: act.MovePart) -> None:
    heat = shop.open_heat(action.heat_id)
    if heat.phase == action.phase and heat.phase_origin != "readings":
        raise Refused(f"The part is already in the phase {action.phase!r}.")
    if heat.pass_running:
        raise Refused("A pass is running: end it before moving the part.")


def apply_move(shop: Shop, stamp: Stamp, action: act.MovePart) -> int:
    heat = shop.open_heat(action.heat_id)
    if heat.phase == action.phase:  # seen by the readings before, and now confirmed
        heat.phase_origin = heat.phases[-1].origin = stamp.origin
        return 0
    number = heat.phases[-1].number + 1
    span = PhaseSpan(number, action.phase, stamp.mono_us, stamp.utc_us, stamp.origin)
    heat.phases = [*heat.phases[1 - PHASES_KEPT :], span]
    stand_in_last_phase(heat)
    _note(heat, stamp, "move part", phase=action.phase)
    return 0


def stand_in_last_phase(heat: Heat) -> None:
    last = heat.phases[-1]
    heat.phase, heat.phase_since_us, heat.phase_origin = last.phase, last.since_us, last.origin
    covered = heat.phase == "slow cool" and heat.arc_out_us is not None
    heat.covered_after_us = (
        max(0, last.since_us - heat.arc_out_us) if covered and heat.arc_out_us is not None else None
    )


# --- the purge -----------------------------------------------------------------------------------


def check_begin_purge(shop: Shop, action: act.BeginPurge) -> None:
    if shop.open_heat(action.heat_id).purge_running:
        raise Refused("The purge is already running.")


def apply_begin_purge(shop: Shop, stamp: Stamp, action: act.BeginPurge) -> int:
    heat = shop.open_heat(action.heat_id)
    _note(heat, stamp, "begin purge", was_us=heat.purge_ended_us)
    heat.purge_since_us, heat.purge_ended_us = stamp.mono_us, None
    return 0


def check_end_purge(shop: Shop, action: act.EndPurge) -> None:
    if not shop.open_heat(action.heat_id).purge_running:
        raise Refused("No purge is running.")


def apply_end_purge(shop: Shop, stamp: Stamp, action: act.EndPurge) -> int:
    heat = shop.open_heat(action.heat_id)
    heat.purge_since_us, heat.purge_ended_us = None, stamp.mono_us
    _note(heat, stamp, "end purge")
    return 0


# --- passes --------------------------------------------------------------------------------------


def check_begin_pass(shop: Shop, action: act.BeginPass) -> None:
    heat = shop.open_heat(action.heat_id)
    if heat.pass_running and heat.welds[-1].origin != "readings":
        raise Refused("A pass is already running.")
    if heat.phase != "bench":
        raise Refused(
            f"Passes are welded on the bench, and the part is in the phase {heat.phase!r}: "
            "move it to the bench first."
        )


def apply_begin_pass(shop: Shop, stamp: Stamp, action: act.BeginPass) -> int:
    heat = shop.open_heat(action.heat_id)
    if _by_person(stamp):
        heat.pass_said_us = stamp.mono_us
    if heat.pass_running:  # seen by the arc channel before, and now confirmed
        heat.welds[-1].origin = stamp.origin
        return 0
    heat.pass_since_us, heat.passes = stamp.mono_us, heat.passes + 1
    number = heat.welds[-1].number + 1 if heat.welds else 1
    weld = WeldPass(number, stamp.mono_us, stamp.utc_us, stamp.origin)
    heat.welds = [*heat.welds[1 - PASSES_KEPT :], weld]
    _note(heat, stamp, "begin pass", was_us=heat.arc_out_us)
    return 0


def check_end_pass(shop: Shop, action: act.EndPass) -> None:
    if not shop.open_heat(action.heat_id).pass_running:
        raise Refused("No pass is running.")


def apply_end_pass(shop: Shop, stamp: Stamp, action: act.EndPass) -> int:
    heat = shop.open_heat(action.heat_id)
    if _by_person(stamp):
        heat.pass_said_us = stamp.mono_us
    _note(heat, stamp, "end pass", was_us=heat.arc_out_us)
    weld = heat.welds[-1]
    weld.ended_us, weld.ended_utc_us, weld.arc_us = stamp.mono_us, stamp.utc_us, heat.arc_now_us
    heat.pass_since_us, heat.arc_out_us = None, stamp.mono_us
    heat.arc_us += heat.arc_now_us or 0
    heat.arc_now_us = None
    heat.tacks += weld.tack
    return 0


# --- taking back ---------------------------------------------------------------------------------


def check_undo(shop: Shop, action: act.UndoStep) -> None:
    heat = shop.open_heat(action.heat_id)
    if not heat.steps:
        raise Refused("There is no step to take back.")
    last = heat.steps[-1]
    if last.number != action.number:
        raise Refused("Another step has been taken since: that one cannot be taken back any more.")
    if heat.pass_running and last.kind == "move part":
        raise Refused("A pass is running: end it before moving the part.")


def apply_undo(shop: Shop, stamp: Stamp, action: act.UndoStep) -> int:
    heat = shop.open_heat(action.heat_id)
    step = heat.steps.pop()
    match step.kind:
        case "move part":
            del heat.phases[-1]
            stand_in_last_phase(heat)
        case "begin pass":
            _take_pass_away(heat, stamp, step)
        case "end pass":
            _go_on_with_pass(heat, stamp, step)
        case "begin purge":
            heat.purge_since_us, heat.purge_ended_us = None, step.was_us
        case "end purge":
            heat.purge_since_us, heat.purge_ended_us = stamp.mono_us, None
    return 0


def _take_pass_away(heat: Heat, stamp: Stamp, step: Step) -> None:
    del heat.welds[-1]
    heat.passes -= 1
    heat.pass_since_us, heat.arc_out_us, heat.arc_now_us = None, step.was_us, None
    heat.pass_said_us = stamp.mono_us


def _go_on_with_pass(heat: Heat, stamp: Stamp, step: Step) -> None:
    weld = heat.welds[-1]
    heat.tacks -= weld.tack
    heat.arc_us -= weld.arc_us or 0
    heat.arc_now_us = weld.arc_us
    weld.ended_us = weld.ended_utc_us = weld.arc_us = None
    heat.pass_since_us, heat.arc_out_us = weld.began_us, step.was_us
    heat.pass_said_us = stamp.mono_us
