"""What somebody says afterwards of a trip: a phase was another, a pass was longer, or never was.

A heat that has ended can be corrected as long as the judge remembers it. No reading is touched, and
nothing is deleted from the record: a correction is an entry of its own.
"""

from __future__ import annotations

from itertools import pairwise

from service.judge import actions as act
from service.judge.events import Refused, Stamp
from service.judge.shop import Heat, Shop
from service.judge.trip import WeldPass
from service.judge.trip_rules import stand_in_last_phase

# --- phases --------------------------------------------------------------------------------------


def check_correct_phase(shop: Shop, action: act.CorrectPhase) -> None:
    heat = shop.known_heat(action.heat_id)
    place = _place(heat, action.number)
    phases = [span.phase for span in heat.phases]
    if action.never:
        if place == 0:
            raise Refused("A heat begins with its first phase: end the heat instead.")
        del phases[place]
    elif action.phase is not None:
        phases[place] = action.phase
    if any(one == other for one, other in pairwise(phases)):
        raise Refused(
            "The part would go from a phase into the same phase: say of the second that it never "
            "was."
        )
    if action.began_us is not None:
        _check_began(shop, heat, place, action.began_us)
    if heat.pass_running and phases[-1] != "bench":
        raise Refused("A pass is running: end it before moving the part.")


def _place(heat: Heat, number: int) -> int:
    for place, span in enumerate(heat.phases):
        if span.number == number:
            return place
    raise Refused(f"Heat {heat.id} has no phase {number} that can be corrected.")


def _check_began(shop: Shop, heat: Heat, place: int, began_us: int) -> None:
    if place == 0:
        raise Refused("The first phase begins with the heat.")
    low_us = heat.phases[place - 1].since_utc_us
    later = heat.phases[place + 1 :]
    high_us = later[0].since_utc_us if later else _ended_utc_us(heat)
    if began_us < low_us or (high_us is not None and began_us > high_us):
        raise Refused(
            "A phase begins after the one before it and before the one after it; "
            "the time given is not between those."
        )


def apply_correct_phase(shop: Shop, stamp: Stamp, action: act.CorrectPhase) -> int:
    heat = shop.known_heat(action.heat_id)
    place = _place(heat, action.number)
    if action.never:
        del heat.phases[place]
    else:
        span = heat.phases[place]
        span.phase = action.phase or span.phase
        if action.began_us is not None:
            # Nothing begins in the future, whatever the sender's clock says.
            began_us = min(action.began_us, stamp.utc_us)
            span.since_us += began_us - span.since_utc_us
            span.since_utc_us = began_us
        span.origin, span.corrected = stamp.origin, True
    heat.steps = []  # they are not what happened any more
    stand_in_last_phase(heat)
    return 0


# --- passes --------------------------------------------------------------------------------------


def check_correct_pass(shop: Shop, action: act.CorrectPass) -> None:
    heat = shop.known_heat(action.heat_id)
    place = _place_of_pass(heat, action.number)
    weld = heat.welds[place]
    if weld.ended_utc_us is None and (action.never or action.ended_us is not None):
        raise Refused("That pass is still running: end it first.")
    if action.never:
        return
    began_us = weld.began_utc_us if action.began_us is None else action.began_us
    ended_us = weld.ended_utc_us if action.ended_us is None else action.ended_us
    low_us = heat.welds[place - 1].ended_utc_us if place else heat.began_utc_us
    later = heat.welds[place + 1 :]
    high_us = later[0].began_utc_us if later else _ended_utc_us(heat)
    bounds = [us for us in (low_us, began_us, ended_us, high_us) if us is not None]
    if bounds != sorted(bounds):
        raise Refused(
            "A pass begins after the one before it, ends after it began and before the one after "
            "it; the time given is not between those."
        )


def _place_of_pass(heat: Heat, number: int) -> int:
    for place, weld in enumerate(heat.welds):
        if weld.number == number:
            return place
    raise Refused(f"Heat {heat.id} has no pass {number} that can be corrected.")


def _ended_utc_us(heat: Heat) -> int | None:
    """When an ended heat ended [µs UTC], by the clock that its last phase was told by."""
    if heat.ended_us is None:
        return None
    last = heat.phases[-1]
    return heat.ended_us - last.since_us + last.since_utc_us


def apply_correct_pass(shop: Shop, stamp: Stamp, action: act.CorrectPass) -> int:
    heat = shop.known_heat(action.heat_id)
    place = _place_of_pass(heat, action.number)
    weld = heat.welds[place]
    heat.tacks -= weld.tack
    if action.never:
        del heat.welds[place]
        heat.passes -= 1
        heat.arc_us -= weld.arc_us or 0
    else:
        _move_pass(weld, action, stamp.utc_us)
        heat.tacks += weld.tack
        if heat.pass_running:
            heat.pass_since_us = heat.welds[-1].began_us
    ended = [each.ended_us for each in heat.welds if each.ended_us is not None]
    heat.arc_out_us = ended[-1] if ended else None
    heat.steps = []  # they are not what happened any more
    stand_in_last_phase(heat)
    return 0


def _move_pass(weld: WeldPass, action: act.CorrectPass, now_utc_us: int) -> None:
    if action.began_us is not None:
        began_us = min(action.began_us, now_utc_us)
        weld.began_us += began_us - weld.began_utc_us
        weld.began_utc_us = began_us
    if action.ended_us is not None and weld.ended_us is not None and weld.ended_utc_us is not None:
        ended_us = min(action.ended_us, now_utc_us)
        weld.ended_us += ended_us - weld.ended_utc_us
        weld.ended_utc_us = ended_us
    weld.corrected = True
