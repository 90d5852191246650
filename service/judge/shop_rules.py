"""What each action does to the shop, and when it must be refused.

Every rule is a pair: a check that raises ``Refused`` with one sentence and changes nothing, and
the change itself, which cannot fail any more. No judgement here: an operator may begin a pass on
a cold part, and the judge will say what it thinks of that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from service.judge import actions as act
from service.judge import corrections, learnt_rules, procedure_rules, trip_rules
from service.judge.by_hand import entry_of
from service.judge.calibration import Calibration
from service.judge.cold_junction import Junction
from service.judge.events import Refused, Stamp
from service.judge.probe_error import ProbeError
from service.judge.shop import SHOP_KINDS, SINGLE_KINDS, Channel, Part, Shop
from service.readings import ChannelKind

TOKENS_REMEMBERED = 1000
"""So many action tokens are kept, to recognise a repeated one."""


@dataclass(frozen=True)
class _Rule:
    check: Callable[[Shop, Any], None]
    apply: Callable[[Shop, Stamp, Any], int]


_A = TypeVar("_A")
_RULES: dict[type, _Rule] = {}


def _rule(
    kind: type[_A], check: Callable[[Shop, _A], None], apply: Callable[[Shop, Stamp, _A], int]
) -> None:
    _RULES[kind] = _Rule(check, apply)


def check(shop: Shop, action: act.Action) -> None:
    """Raise ``Refused`` if the action cannot be applied now; change nothing."""
    rule = _RULES.get(type(action))
    if rule is not None:
        rule.check(shop, action)


def apply(shop: Shop, stamp: Stamp, action: act.Action) -> bool:
    """Apply an action to the shop.

    Returns:
        ``False`` when its token was seen before: nothing is done twice.

    Raises:
        Refused: It cannot be done now; nothing has changed.
    """
    if shop.seen(action.token) is not None:
        return False
    check(shop, action)
    rule = _RULES.get(type(action))
    made_id = rule.apply(shop, stamp, action) if rule is not None else 0
    if action.token is not None:
        shop.tokens[action.token] = made_id
        while len(shop.tokens) > TOKENS_REMEMBERED:
            del shop.tokens[next(iter(shop.tokens))]
    return True


def _anything(_shop: Shop, _action: object) -> None:
    return None


# --- channels ------------------------------------------------------------------------------------


TERMINALS = (ChannelKind.COLD_JUNCTION, ChannelKind.AMBIENT)
"""What a channel that gives the temperature of terminals may be."""


def _check_adopt(shop: Shop, action: act.AdoptChannel) -> None:
    known = shop.channels.get(action.channel)
    if action.channel_kind in SHOP_KINDS and known is not None and known.part_id is not None:
        part = shop.part(known.part_id)
        raise Refused(
            f"A {action.channel_kind} channel belongs to the shop: "
            f"take {action.channel} off {part.name} first."
        )
    if action.cold_junction is not None:
        terminals = shop.channels.get(action.cold_junction)
        if terminals is not None and terminals.kind not in (None, *TERMINALS):
            raise Refused(
                f"{terminals.name} is a {terminals.kind} channel: the cold junction of "
                f"{action.channel} must be a {' or '.join(TERMINALS)} channel."
            )
    if action.channel_kind in TERMINALS:
        return
    users = [
        each.name
        for each in shop.channels.values()
        if each.junction is not None and each.junction.channel == action.channel
    ]
    if users:
        raise Refused(f"{action.channel} is the cold junction of {', '.join(users)}.")


def _apply_adopt(shop: Shop, _stamp: Stamp, action: act.AdoptChannel) -> int:
    channel = shop.channels.setdefault(action.channel, Channel(action.channel))
    channel.kind, channel.junction = action.channel_kind, None
    if action.thermocouple is not None and action.cold_junction is not None:
        channel.junction = Junction(action.thermocouple, action.cold_junction)
        terminals = shop.channels.setdefault(action.cold_junction, Channel(action.cold_junction))
        terminals.kind = terminals.kind or ChannelKind.COLD_JUNCTION
    return 0


MOST_CORRECTED: dict[ChannelKind, tuple[float, float]] = {
    ChannelKind.THERMOCOUPLE: (30.0, 0.0),
    ChannelKind.COLD_JUNCTION: (10.0, 0.0),
    ChannelKind.AMBIENT: (10.0, 0.0),
    ChannelKind.GAS_FLOW: (2.0, 0.5),
    ChannelKind.OXYGEN: (2000.0, 0.25),
    ChannelKind.ROOM_OXYGEN: (2000.0, 0.1),
    ChannelKind.TORCH_FLOW: (2.0, 0.5),
    ChannelKind.BOTTLE_PRESSURE: (1e6, 0.1),
}
"""Further out than this, in the channel's unit or as a share of the true value, a sensor has not
drifted but is damaged, of another type or scaled for another gas (common practice, no source)."""
FLOWS = (ChannelKind.GAS_FLOW, ChannelKind.TORCH_FLOW)
DEGREES = (ChannelKind.THERMOCOUPLE, ChannelKind.COLD_JUNCTION, ChannelKind.AMBIENT)
UNMEASURED = (ChannelKind.ARC, ChannelKind.BUTTON)
"""Channels whose number is compared with no standard."""


def _check_calibrate(shop: Shop, action: act.CalibrateChannel) -> None:
    channel = shop.channels.get(action.channel)
    if channel is None or channel.kind is None:
        raise Refused(f"Say first what channel {action.channel} measures.")
    if channel.kind in UNMEASURED:
        raise Refused(f"{action.channel} is a {channel.kind} channel: there is nothing to correct.")
    if action.scale is not None and channel.kind not in FLOWS:
        raise Refused(
            f"{action.channel} is a {channel.kind} channel: only a flow has such a scale."
        )
    least, share = MOST_CORRECTED[channel.kind]
    if channel.kind not in DEGREES and any(each.against != "known value" for each in action.checks):
        raise Refused(f"{action.channel} is a {channel.kind} channel: it measures no temperature.")
    for check in action.as_checks() if action.scale is None else ():
        most = max(least, share * abs(check.true))
        if abs(check.true - check.reads) > most:
            raise Refused(
                f"{check.reads:g} for a true {check.true:g} is no drift but a fault: look for it "
                f"(at most {most:g} is corrected)."
            )


def _apply_calibrate(shop: Shop, stamp: Stamp, action: act.CalibrateChannel) -> int:
    checks, at_us = action.as_checks(), stamp.utc_us
    shop.channels[action.channel].calibration = (
        Calibration(checks, at_us, action.due_us(at_us), action.words) if checks else None
    )
    return 0


def _check_rate_probe(shop: Shop, action: act.RateProbe) -> None:
    channel = shop.channels.get(action.channel)
    if channel is None or channel.kind not in DEGREES:
        raise Refused(f"{action.channel} is no channel that measures a temperature.")


def _apply_rate_probe(shop: Shop, stamp: Stamp, action: act.RateProbe) -> int:
    said = (action.letter, action.tolerance_class, action.drift_k_per_year, action.check_off_k)
    nothing = said == (None, None, 0.0, None)
    error = None if nothing else ProbeError(*said, since_utc_us=stamp.utc_us)
    shop.channels[action.channel].error = error
    return 0


def _check_assign(shop: Shop, action: act.AssignChannel) -> None:
    channel = shop.channels.get(action.channel)
    if channel is None or channel.kind is None:
        raise Refused(f"Say first what channel {action.channel} measures.")
    if action.part_id is None:
        return
    part = shop.part(action.part_id)
    if channel.kind in SHOP_KINDS:
        raise Refused(f"A {channel.kind} channel belongs to the shop and sits on no part.")
    if channel.kind in SINGLE_KINDS:
        others = [c.name for c in shop.channels_of(part.id, channel.kind)]
        if others and others != [channel.name]:
            raise Refused(
                f"{part.name} already has the {channel.kind} channel {others[0]}: "
                "take that one off first."
            )


def _apply_assign(shop: Shop, _stamp: Stamp, action: act.AssignChannel) -> int:
    channel = shop.channels[action.channel]
    channel.part_id, channel.from_joint_mm = action.part_id, action.from_joint_mm
    return 0


def _check_enter(shop: Shop, action: act.EnterReading) -> None:
    shop.part(action.part_id)
    known = shop.channels.get(action.channel)
    if known is not None and known.by_hand is None:
        raise Refused(
            f"Something sends on a channel called {action.channel!r}: name the place otherwise."
        )


def _apply_enter(shop: Shop, stamp: Stamp, action: act.EnterReading) -> int:
    channel = shop.channels.setdefault(action.channel, Channel(action.channel))
    channel.kind, channel.part_id = action.channel_kind, action.part_id
    channel.by_hand = entry_of(action, stamp.mono_us)
    if action.from_joint_mm is not None:
        channel.from_joint_mm = action.from_joint_mm
    return 0


# --- parts ---------------------------------------------------------------------------------------


def _check_create(shop: Shop, action: act.CreatePart) -> None:
    if action.part_id < 1 or action.part_id in shop.parts:
        raise Refused(f"Part number {action.part_id} cannot be given to a new part.")


def _apply_create(shop: Shop, _stamp: Stamp, action: act.CreatePart) -> int:
    part = Part(action.part_id, **action.facts.model_dump(), **action.limits.model_dump())
    shop.parts[part.id] = part
    shop.next_part_id = max(shop.next_part_id, part.id + 1)
    return part.id


def _check_part(shop: Shop, action: act.ChangePart | act.SetLimits) -> None:
    shop.part(action.part_id)


def _apply_change(shop: Shop, _stamp: Stamp, action: act.ChangePart | act.SetLimits) -> int:
    part = shop.part(action.part_id)
    said = action.facts if isinstance(action, act.ChangePart) else action.limits
    for name, value in said.model_dump().items():
        setattr(part, name, value)
    return 0


# --- what came of a heat ----------------------------------------------------------------------


def _check_said_later(shop: Shop, action: act.SayOutcome | act.AddPhoto | act.DropPhoto) -> None:
    """Of any heat that ever was, however old; what the records hold is looked at before."""
    part_id = getattr(action, "part_id", None)
    if part_id is not None:
        shop.part(part_id)
    heat_id = action.heat_id
    if heat_id is not None and heat_id >= shop.next_heat_id:
        raise Refused(f"There is no heat {heat_id}.")


# --- what the judge turns into a step ------------------------------------------------------------


def _check_heat(shop: Shop, action: act.NextStep) -> None:
    shop.open_heat(action.heat_id)


def _nothing(_shop: Shop, _stamp: Stamp, _action: object) -> int:
    return 0


# --- the service itself --------------------------------------------------------------------------


def _apply_clock(shop: Shop, _stamp: Stamp, action: act.ServiceStarted | act.ClockStepped) -> int:
    shop.offset_us = action.offset_us
    if isinstance(action, act.ServiceStarted):
        # Whatever kept the last one from recording has to be found again by the new one.
        shop.recording, shop.recording_detail = True, ""
    return 0


def _apply_started(shop: Shop, stamp: Stamp, action: act.ServiceStarted) -> int:
    """A fresh writer begins; if readings do not reach the database it will say so itself."""
    shop.recording, shop.recording_detail = True, ""
    return _apply_clock(shop, stamp, action)


def _apply_recording(shop: Shop, _stamp: Stamp, action: act.RecordingChanged) -> int:
    shop.recording, shop.recording_detail = action.recording, action.detail
    return 0


_rule(act.AdoptChannel, _check_adopt, _apply_adopt)
_rule(act.CalibrateChannel, _check_calibrate, _apply_calibrate)
_rule(act.AssignChannel, _check_assign, _apply_assign)
_rule(act.EnterReading, _check_enter, _apply_enter)
_rule(act.CreatePart, _check_create, _apply_create)
_rule(act.ChangePart, _check_part, _apply_change)
_rule(act.SetLimits, _check_part, _apply_change)
_rule(act.WriteProcedure, procedure_rules.check_write, procedure_rules.apply_write)
_rule(act.UseProcedure, procedure_rules.check_use, procedure_rules.apply_use)
_rule(act.TickStep, procedure_rules.check_tick, procedure_rules.apply_tick)
_rule(act.TakeBackTick, procedure_rules.check_take_back, procedure_rules.apply_take_back)
_rule(act.BeginHeat, trip_rules.check_begin_heat, trip_rules.apply_begin_heat)
_rule(act.MovePart, trip_rules.check_move, trip_rules.apply_move)
_rule(act.RateProbe, _check_rate_probe, _apply_rate_probe)
_rule(act.PinHeat, trip_rules.check_known, lambda _shop, _stamp, _action: 0)
_rule(act.WriteNote, trip_rules.check_known, lambda _shop, _stamp, _action: 0)
_rule(act.SayOutcome, _check_said_later, _nothing)
_rule(act.AddPhoto, _check_said_later, _nothing)
_rule(act.DropPhoto, _check_said_later, _nothing)
_rule(act.EndHeat, trip_rules.check_end_heat, trip_rules.apply_end_heat)
_rule(act.BeginPurge, trip_rules.check_begin_purge, trip_rules.apply_begin_purge)
_rule(act.EndPurge, trip_rules.check_end_purge, trip_rules.apply_end_purge)
_rule(act.BeginPass, trip_rules.check_begin_pass, trip_rules.apply_begin_pass)
_rule(act.EndPass, trip_rules.check_end_pass, trip_rules.apply_end_pass)
_rule(act.UndoStep, trip_rules.check_undo, trip_rules.apply_undo)
_rule(act.CorrectPhase, corrections.check_correct_phase, corrections.apply_correct_phase)
_rule(act.CorrectPass, corrections.check_correct_pass, corrections.apply_correct_pass)
_rule(act.NextStep, _check_heat, _nothing)
_rule(act.AnswerQuestion, _anything, _nothing)
_rule(act.ForgetLearnt, learnt_rules.check_forget, learnt_rules.apply_forget)
_rule(act.LearntTold, learnt_rules.check_told, learnt_rules.apply_told)
_rule(act.ServiceStarted, _anything, _apply_started)
_rule(act.ClockStepped, _anything, _apply_clock)
_rule(act.RecordingChanged, _anything, _apply_recording)
