"""The argon bottle in the judge: set by an action, counted each second, told with the bench."""

from __future__ import annotations

from service.judge.actions import Action, ServiceStarted, SetBottle
from service.judge.argon import Bottle
from service.judge.outlook import ArgonJson
from service.judge.state import JudgeState
from service.judge.utc import utc_text


def heed_bottle(state: JudgeState, action: Action, mono_us: int) -> None:
    """What an action says of the bottle: another one is on, or nobody has watched it."""
    if isinstance(action, SetBottle):
        state.bottle = Bottle(
            water_volume_l=action.water_volume_l,
            said_pressure_pa=action.pressure_pa,
            torch_flow_l_min=action.torch_flow_l_min,
            since_us=mono_us,
        )
    elif isinstance(action, ServiceStarted):
        state.bottle.unwatched = True


def watch_argon(state: JudgeState, now_us: int) -> None:
    """Count the second that ends at ``now_us``; tell the purges when the bottle will not do."""
    state.bottle.second(now_us, state.shop, state.channels)
    left = state.bottle.left(state.shop, state.channels, now_us)
    for track in state.heats.values():
        if track.purging is not None:
            ahead = track.purging.clear_in
            track.purging.argon_words = left.remark(None if ahead is None else ahead.time_left_s)


def argon_json(state: JudgeState) -> ArgonJson:
    """The bottle as everybody outside reads it."""
    bottle = state.bottle
    left = bottle.left(state.shop, state.channels, state.looked_us)
    since_us = bottle.since_us
    return {
        "bottle_volume_l": bottle.water_volume_l,
        "left_l": None if left.litres is None else round(left.litres, 1),
        "left_min": None if left.minutes is None else round(left.minutes, 1),
        "basis": left.basis,
        "reason": left.reason,
        "purge_l_min": round(bottle.purge_l_min, 2),
        "torch_l_min": round(bottle.torch_l_min, 2),
        "used_purge_l": round(bottle.used_purge_l, 1),
        "used_torch_l": round(bottle.used_torch_l, 1),
        "since": None if since_us is None else utc_text(since_us + state.shop.offset_us),
    }
