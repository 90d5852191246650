"""Channels between what they send and what the judge counts with.

What is said of a channel must fit what it sends; and what it sends is turned into the judge's unit
and corrected by its calibration, at the moment it arrives.
"""

from __future__ import annotations

from service.judge import actions as act
from service.judge import cold_junction
from service.judge.by_hand import HOLDS_US, as_reading
from service.judge.channel import ChannelTrack, Standing
from service.judge.cold_junction import Junction
from service.judge.events import Refused, Stamp
from service.judge.heat_track import HeatTrack
from service.judge.room import make_room
from service.judge.sense import SenseState
from service.judge.shop import UNIT_OF_KIND, Channel
from service.judge.state import JudgeState
from service.readings import ChannelKind, Quality, Reading


def track_of(state: JudgeState, name: str, mono_us: int) -> ChannelTrack:
    """The channel's track; a new one for a name never heard before."""
    track = state.channels.get(name)
    if track is None:
        make_room(state.channels, state.shop.channels, lambda each: each.heard_us or 0)
        track = state.channels[name] = ChannelTrack(name, mono_us)
    return track


def take_by_hand(state: JudgeState, stamp: Stamp, action: act.EnterReading) -> None:
    """A typed reading on its own channel, and to the heat it was taken in."""
    track = track_of(state, action.channel, stamp.mono_us)
    track.by_hand, track.kind, track.update_us = True, action.channel_kind, HOLDS_US
    track.take(as_reading(action, stamp.seq, stamp.mono_us, stamp.utc_us))
    heat = state.shop.heat_of(action.part_id)
    if heat is not None and action.channel_kind is ChannelKind.THERMOCOUPLE:
        state.heats[heat.id].hand_entered(action, state.shop.parts[action.part_id], stamp.mono_us)


def error_k(state: JudgeState, name: str) -> float | None:
    """How far a probe may be off at what it reads now [K]; ``None``: not known."""
    said, track = state.shop.channels.get(name), state.channels.get(name)
    if said is None or said.error is None or track is None or track.value is None:
        return None
    utc_us = state.now_us + state.shop.offset_us
    return said.error.floor_k(track.value, said.calibration, utc_us)


def tell_errors(state: JudgeState, heat: HeatTrack) -> None:
    """Let the forecasts of a heat's probes allow for what is known of their errors."""
    for name, cooling in heat.cooling.items():
        cooling.error_k = error_k(state, name)


def as_judged(state: JudgeState, said: Channel, sent: Reading) -> Reading:
    """A reading in the judge's unit, corrected by its channel's calibration."""
    reading = sent
    if said.junction is not None and sent.unit == cold_junction.UNIT:
        reading = _in_degrees(state, sent, said.junction)
    if said.calibration is not None and reading.value is not None:
        reading = reading._replace(value=said.calibration.corrected(reading.value))
    return reading


def _in_degrees(state: JudgeState, sent: Reading, junction: Junction) -> Reading:
    """A voltage as a temperature, by what its terminals say at this moment."""
    if sent.value is None:
        return sent._replace(unit="Cel")
    terminals = state.channels[junction.channel]
    live = terminals.standing(sent.mono_us) is Standing.GOOD
    found = junction.temperature_c(sent.value, terminals.good_value if live else None)
    if isinstance(found, str):
        reason = sent.reason if sent.quality is Quality.BAD else found
        return sent._replace(unit="Cel", value=None, quality=Quality.BAD, reason=reason)
    return sent._replace(unit="Cel", value=found)


def check_fits(state: JudgeState, action: act.Action) -> None:
    """Raise ``Refused`` if a channel sends something else than is said of it."""
    if isinstance(action, act.AdoptChannel):
        _check_unit(state, action)


def _check_unit(state: JudgeState, action: act.AdoptChannel) -> None:
    unit = _sends(state, action.channel)
    if action.cold_junction is not None:
        terminals = _sends(state, action.cold_junction)
        if terminals not in (None, "Cel"):
            raise Refused(
                f"Channel {action.cold_junction} sends {terminals}: it cannot tell the "
                "temperature of a cold junction."
            )
        if unit not in (None, cold_junction.UNIT):
            raise Refused(
                f"Channel {action.channel} sends {unit}, not a voltage in mV: no thermocouple "
                "type and no cold junction belong to it."
            )
    elif unit == cold_junction.UNIT and action.channel_kind is ChannelKind.THERMOCOUPLE:
        raise Refused(
            f"Channel {action.channel} sends mV: say also which type the thermocouple is, and "
            "which channel measures its cold junction."
        )
    elif unit is not None and unit not in UNIT_OF_KIND[action.channel_kind]:
        raise Refused(f"Channel {action.channel} sends {unit}, which is no {action.channel_kind}.")


def _sends(state: JudgeState, channel: str) -> str | None:
    track = state.channels.get(channel)
    return None if track is None else track.sent_unit


def take_up(state: JudgeState, gate: SenseState, action: act.Action, mono_us: int) -> None:
    """Tell a channel's track, and the gate, what has just been said of it."""
    match action:
        case act.AdoptChannel():
            for name in (action.channel, action.cold_junction):
                if name is not None:
                    said = state.shop.channels[name]
                    track_of(state, name, mono_us).adopted(said.kind)
                    tell_gate(gate, said)
        case act.AssignChannel():
            track_of(state, action.channel, mono_us).new_contact(mono_us)
        case act.CalibrateChannel():
            track_of(state, action.channel, mono_us).recalibrated()
        case act.UpdateTimeTold():
            track_of(state, action.channel, mono_us).update_us = action.update_us
        case _:
            pass


def oxygen_overdue(state: JudgeState, part_id: int, mono_us: int) -> bool:
    """Whether the part's oxygen sensor should have been checked before now."""
    utc_us = mono_us + state.shop.offset_us
    return any(
        channel.calibration is not None and channel.calibration.overdue(utc_us)
        for channel in state.shop.channels_of(part_id, ChannelKind.OXYGEN)
    )


def tell_gate(gate: SenseState, channel: Channel) -> None:
    """What the gate must know of a channel."""
    if channel.kind is not None:
        gate.kinds[channel.name] = channel.kind
    if channel.junction is not None:
        gate.junctions[channel.name] = channel.junction
    else:
        gate.junctions.pop(channel.name, None)


def feed(heat: HeatTrack, kind: ChannelKind | None, track: ChannelTrack, value: float) -> bool:
    """Hand a good reading to the model it is for; whether gas has come or gone with it."""
    if kind is ChannelKind.THERMOCOUPLE:
        heat.cooling[track.name].take(track.measured_us, value)
    elif kind is ChannelKind.GAS_FLOW and heat.purging is not None:
        return heat.purging.take_flow(value)
    return False
