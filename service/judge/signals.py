"""Readings of arcs and buttons: into their small machines, and what those call for."""

from __future__ import annotations

from collections.abc import Iterator

from service.judge.arc import ArcTrack
from service.judge.channel import ChannelTrack, Standing
from service.judge.lead import Wanted, arc_steps, press_steps
from service.judge.press import Press
from service.judge.shop import Channel
from service.judge.state import JudgeState
from service.readings import ChannelKind, Reading


def take(
    state: JudgeState, said: Channel, track: ChannelTrack, reading: Reading
) -> Iterator[Wanted]:
    """A reading of a channel that has been taken in; of an arc or a button, what it calls for."""
    good = track.standing(reading.mono_us) is Standing.GOOD and reading.value is not None
    value = reading.value or 0.0
    if said.kind is ChannelKind.ARC:
        arc = state.arcs.setdefault(said.name, ArcTrack())
        if good:
            arc.take(track.measured_us, value, track.unit, track.stale_after_us)
        yield from arc_steps(state, said, reading.mono_us)
    elif said.kind is ChannelKind.BUTTON:
        press = state.presses.setdefault(said.name, Press())
        if not good:
            press.doubt()
        else:
            kind = press.take(track.measured_us, value >= 0.5)
            if kind is not None:
                yield from press_steps(state, said, kind, reading.mono_us)


def due(state: JudgeState, now_us: int) -> Iterator[Wanted]:
    """What arcs and buttons call for by the mere passing of time."""
    for name in list(state.arcs):
        yield from arc_steps(state, state.shop.channels[name], now_us)
    for name, press in state.presses.items():
        kind = press.look(now_us)
        if kind is not None:
            yield from press_steps(state, state.shop.channels[name], kind, now_us)
