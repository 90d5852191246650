"""The bench answer: the judge's state said in the shape everybody outside reads.

Rounded to what can be known; a number that is not finite becomes ``null``.
"""

from __future__ import annotations

import math

from service.judge.ahead import Ahead
from service.judge.alarms import Alarm
from service.judge.bench_procedure import procedure_json
from service.judge.bench_trip import pass_json, question_json, trip_json
from service.judge.bottle import argon_json
from service.judge.calibration import Calibration
from service.judge.channel import ChannelTrack, Standing
from service.judge.cold_junction import UNIT
from service.judge.fitting import error_k
from service.judge.heat_track import HeatTrack, Tracks
from service.judge.joint_limits import in_force
from service.judge.losses import gradient_k, losses_json
from service.judge.outlook import (
    AlarmJson,
    BenchJson,
    ByHandJson,
    CalibrationJson,
    ChannelJson,
    HeatJson,
    InForceJson,
    LaterJson,
    LimitsJson,
    PartJson,
    PurgeJson,
    RoomAirJson,
    SpreadJson,
    TurnJson,
    WindowJson,
)
from service.judge.probe_views import probe_view
from service.judge.purge_verdict import NOT_JUDGED
from service.judge.room_air import air_standing, oxygen_percent, room_channels
from service.judge.shop import Channel, Part, Shop, guess_kind
from service.judge.state import JudgeState
from service.judge.turns import Turn
from service.judge.utc import utc_text
from service.physics.cooldown import Rate
from service.physics.weld_heat import preheat_distance_mm
from service.readings import ChannelKind, Forecast, Spread

RATE_SD_SHOWN_C_PER_H = 100.0
"""A rate less sure than this, and than half of itself, would only mislead the eye."""


def bench_json(state: JudgeState, recording: bool) -> BenchJson:
    """Everything that is known.

    Channels are shown as they stood at the last look, which the verdicts rest on too, so that the
    answer never contradicts itself; only their ages run on to ``now_us``.
    """
    shop, now_us = state.shop, state.now_us
    by_part = {track.part_id: track for track in state.heats.values()}
    tracks = state.channels
    return {
        "at": utc_text(now_us + shop.offset_us),
        "recording": recording,
        "parts": [
            _part(state, part, by_part.get(part.id)) for _, part in sorted(shop.parts.items())
        ],
        "channels": [_channel(state, track) for _, track in sorted(tracks.items())],
        "room": [_room(track, state) for track in room_channels(shop, tracks)],
        "argon": argon_json(state),
        "alarms": [_alarm(alarm) for _, alarm in sorted(state.book.alarms.items())],
        "questions": [question_json(state, each) for _, each in sorted(state.questions.items())],
        "turn": None if state.turns.told is None else _turn(state.turns.told, shop),
    }


def _turn(told: Turn, shop: Shop) -> TurnJson:
    return {
        "heat_id": told.heat_id,
        "text": told.text,
        "order": [
            {"heat_id": heat_id, "part_id": shop.heats[heat_id].part_id, "what": place}
            for heat_id, place in told.order
            if heat_id in shop.heats
        ],
        "take_out": told.take_out,
        "take_out_in_s": None
        if told.take_out_in is None
        else _seconds(Forecast(told.take_out_in, None)),
        "take_out_why": told.take_out_why,
    }


def _alarm(alarm: Alarm) -> AlarmJson:
    return {
        "id": alarm.id,
        "kind": alarm.kind,
        "part_id": alarm.part_id,
        "channel": alarm.channel,
        "state": alarm.state,
        "since": utc_text(alarm.since_us),
        "text": alarm.text,
        "advice": alarm.advice,
    }


def _part(state: JudgeState, part: Part, track: HeatTrack | None) -> PartJson:
    shop, tracks, now_us = state.shop, state.channels, state.looked_us
    heat = shop.heats[track.heat_id] if track is not None else None
    together = None if track is None else track.together
    limits = in_force(part)
    return {
        "id": part.id,
        "name": part.name,
        "metal": part.metal,
        "mass_kg": part.mass_kg,
        "area_m2": part.area_m2,
        "cavity_volume_l": part.cavity_volume_l,
        "hose_volume_l": part.hose_volume_l,
        "joint_wall_mm": part.joint_wall_mm,
        "preheat_measured_mm": (
            None if part.joint_wall_mm is None else preheat_distance_mm(part.joint_wall_mm)
        ),
        "thickest_mm": part.thickest_mm,
        "joining_metal": part.joining_metal,
        "filler": part.filler,
        "method": part.method,
        "size_known": part.size_known,
        "cavity_known": part.cavity_known,
        "procedure": procedure_json(shop, part, heat),
        "heat_id": None if heat is None else heat.id,
        "phase": "none" if heat is None else heat.phase,
        "verdict": "unknown" if together is None else together.verdict,
        "heat": _heat(shop, part, track, tracks, now_us),
        "purge": _purge(track),
        "next": "No heat is running." if together is None else together.next,
        "limits": LimitsJson(
            preheat_min_c=part.preheat_min_c,
            interpass_max_c=part.interpass_max_c,
            cooling_max_c_per_h=part.cooling_max_c_per_h,
            oxygen_max_ppm=part.oxygen_max_ppm,
            carry_max_s=part.carry_max_s,
            tube_preheat_min_c=part.tube_preheat_min_c,
            tube_interpass_max_c=part.tube_interpass_max_c,
            governing_side=part.governing_side,
            gas_off_below_c=part.gas_off_below_c,
            in_force=InForceJson(
                preheat_min_c=limits.preheat_min_c,
                interpass_max_c=limits.interpass_max_c,
                conflict=limits.conflict,
            ),
        ),
        "pass_running": heat is not None and heat.pass_running,
        "passes": 0 if heat is None else heat.passes,
        "trip": None if heat is None else trip_json(state, heat),
        "heat_began_at": None if heat is None else utc_text(heat.began_utc_us),
        "pass_times": [] if heat is None else [pass_json(weld, heat) for weld in heat.welds],
    }


def _heat(shop: Shop, part: Part, track: HeatTrack | None, tracks: Tracks, now_us: int) -> HeatJson:
    if track is None or track.heat is None:
        probes = shop.channels_of(part.id, ChannelKind.THERMOCOUPLE)
        seen = [probe_view(tracks[c.name], now_us).temperature_c for c in probes]
        good = [value for value in seen if value is not None]
        return {
            "verdict": "unknown",
            "reasons": ["no heat is running"],
            "temperature_c": _rounded(min(good, default=None), 1),
            "rate_c_per_h": None,
            "window": WindowJson(closes_in_s=None, opens_in_s=None, reason="no heat is running"),
            "gradient_k": None,
            "losses": None,
            "later": None,
        }
    finding = track.heat
    return {
        "verdict": finding.verdict,
        "reasons": finding.reasons,
        "temperature_c": _rounded(finding.temperature_c, 1),
        "rate_c_per_h": _rounded(_worth_showing(track.rate), 0),
        "window": _window(part, track),
        "gradient_k": gradient_k(track),
        "losses": losses_json(part, track, finding.temperature_c),
        "later": _later(track.ahead),
    }


def _later(ahead: Ahead) -> LaterJson | None:
    words = ahead.words
    if ahead.what is None or words is None:
        return None
    return {"what": ahead.what, "in_s": _seconds(ahead.comes_in), "text": words}


def _worth_showing(rate: Rate | None) -> float | None:
    """A rate [°C/h] that is known at least to half of itself; else none at all."""
    if rate is None or rate.sd_c_per_h > max(RATE_SD_SHOWN_C_PER_H, 0.5 * abs(rate.c_per_h)):
        return None
    return rate.c_per_h


def _window(part: Part, track: HeatTrack) -> WindowJson:
    closes, opens = track.closes, track.opens
    limits = in_force(part)
    if limits.conflict is not None:
        reason: str | None = f"{limits.conflict}: say which side governs"
    elif limits.preheat_min_c is None:
        reason = "no preheat limit: cooling does not close the window"
    else:
        reason = next((f.reason for f in (closes, opens) if f is not None and f.reason), None)
    return {"closes_in_s": _seconds(closes), "opens_in_s": _seconds(opens), "reason": reason}


def _purge(track: HeatTrack | None) -> PurgeJson:
    finding = None if track is None else track.purge
    purging = None if track is None else track.purging
    return {
        "verdict": "unknown" if finding is None else finding.verdict,
        "reasons": ["no heat is running"] if finding is None else finding.reasons,
        "oxygen_ppm": None if purging is None else _spread(purging.oxygen, 3),
        "clear": purging is not None and finding is not None and finding.verdict == "ready",
        "clear_in_s": None if purging is None else _clear_in(purging.clear, purging.clear_in),
        "basis": NOT_JUDGED if finding is None else finding.basis,
        "running": purging is not None,
        "flow_l_min": None if purging is None else _rounded(purging.flow_l_min, 2),
        "used_l": 0.0 if purging is None else _rounded(purging.used_l, 1) or 0.0,
    }


def _clear_in(clear: bool, forecast: Forecast | None) -> SpreadJson | None:
    return SpreadJson(p05=0.0, p50=0.0, p95=0.0) if clear else _seconds(forecast)


def _channel(state: JudgeState, track: ChannelTrack) -> ChannelJson:
    said = state.shop.channels.get(track.name)
    kind = None if said is None else said.kind
    guess = guess_kind(track.sent_unit)
    junction = None if said is None else said.junction
    standing = track.standing(state.looked_us)
    now_utc_us = state.now_us + state.shop.offset_us
    value = None if standing is Standing.BAD else _rounded(track.value, 3)
    return {
        "name": track.name,
        "kind": None if kind is None else kind.value,
        "kind_guess": None if guess is None else guess.value,
        "value": value,
        "unit": track.unit,
        "quality": standing.value,
        "reason": track.why(state.looked_us) or _overdue(said, now_utc_us),
        "age_s": round(max(0, track.age_us(state.now_us)) / 1e6, 1),
        "part_id": None if said is None else said.part_id,
        "from_joint_mm": None if said is None else said.from_joint_mm,
        "thermocouple": None if junction is None else junction.letter,
        "cold_junction": None if junction is None else junction.channel,
        "by_hand": None if said is None else _by_hand(said),
        "error_floor_k": _rounded(error_k(state, track.name), 2),
        "emf_mv": _rounded(track.sent_value, 4) if track.sent_unit == UNIT else None,
        "calibration": None if said is None else _calibration(said.calibration, track, now_utc_us),
    }


def _by_hand(said: Channel) -> ByHandJson | None:
    entry = said.by_hand
    if entry is None:
        return None
    return {
        "method": entry.method,
        "place": entry.place,
        "plus_minus": _significant(entry.off, 3) or 0.0,
    }


def _room(track: ChannelTrack, state: JudgeState) -> RoomAirJson:
    oxygen = oxygen_percent(track, state.looked_us)
    said, now_utc_us = state.shop.channels.get(track.name), state.now_us + state.shop.offset_us
    return {
        "channel": track.name,
        "oxygen_percent": _rounded(oxygen, 2),
        "standing": air_standing(oxygen),
        "reason": track.why(state.looked_us) or _overdue(said, now_utc_us),
        "age_s": round(max(0, track.age_us(state.now_us)) / 1e6, 1),
    }


def _overdue(said: Channel | None, now_utc_us: int) -> str | None:
    calibration = None if said is None else said.calibration
    if calibration is None or not calibration.overdue(now_utc_us):
        return None
    return "its calibration is overdue"


def _calibration(
    calibration: Calibration | None, track: ChannelTrack, now_utc_us: int
) -> CalibrationJson | None:
    if calibration is None:
        return None
    due_us = calibration.due_utc_us
    return {
        "checks": [{"reads": each.reads, "true": each.true} for each in calibration.checks],
        "since": utc_text(calibration.since_utc_us),
        "due": None if due_us is None else utc_text(due_us),
        "overdue": calibration.overdue(now_utc_us),
        "note": calibration.note,
        "uncorrected": None if track.value is None else _rounded(calibration.read(track.value), 3),
    }


def _seconds(forecast: Forecast | None) -> SpreadJson | None:
    spread = None if forecast is None else forecast.time_left_s
    if spread is None:
        return None
    low, middle, high = (
        None if v is None or not math.isfinite(v) else float(round(v))
        for v in (spread.p05, spread.p50, spread.p95)
    )
    return None if low is None or middle is None else SpreadJson(p05=low, p50=middle, p95=high)


def _spread(spread: Spread | None, digits: int) -> SpreadJson | None:
    if spread is None:
        return None
    low, middle, high = (_significant(v, digits) for v in (spread.p05, spread.p50, spread.p95))
    return None if low is None or middle is None else SpreadJson(p05=low, p50=middle, p95=high)


def _significant(value: float | None, digits: int) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}")


def _rounded(value: float | None, digits: int) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(value, digits) + 0.0
