"""The heat verdict of one part: is it at a temperature to weld, and if not, what then.

A pure function of what is known at this moment. The coldest relevant probe governs preheat, the
hottest governs interpass, and interpass is judged with the arc out only (ISO 13916: on weld metal
or directly beside it, before the next run). Doubt is ``unknown``, never ``ready``; a limit that a
good probe shows violated is said even when another probe is in doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.judge.actions import HeatPhase
from service.judge.channel import Standing
from service.judge.events import Verdict
from service.judge.words import degrees, duration, listed
from service.physics.cooldown import Level, Rate
from service.readings import Forecast

ARC_OUT_SETTLE_S = 10.0
"""After the arc the heat spreads from the bead to the probe; judged after so long (practice)."""
BACK_INSIDE_K = 1.0
"""Once outside a limit the reading must come this far back inside to count as inside."""


@dataclass(frozen=True, slots=True)
class ProbeView:
    """One probe of the part at this moment; the temperature is ``None`` unless it is good."""

    channel: str
    standing: Standing
    temperature_c: float | None
    why: str | None


@dataclass(frozen=True, slots=True)
class HeatView:
    """All that the heat verdict is made from.

    Attributes:
        arc_out_s: Time since the last pass ended [s]; ``None`` before the first.
        carry_s: Time since the part left the oven with its probes expected to be unplugged [s];
            ``None`` when no gap is expected any more.
        was_below, was_above: What was found last time, for the way back inside a limit.
        closes: Time until the coldest probe falls below preheat.
        opens: Time until the part is between its limits.
        level: The coldest probe's temperature by the model, while nothing is read.
    """

    phase: HeatPhase
    pass_running: bool
    probes: Sequence[ProbeView]
    preheat_min_c: float | None = None
    interpass_max_c: float | None = None
    cooling_max_c_per_h: float | None = None
    arc_out_s: float | None = None
    carry_s: float | None = None
    was_below: bool = False
    was_above: bool = False
    closes: Forecast | None = None
    opens: Forecast | None = None
    rate: Rate | None = None
    level: Level | None = None


@dataclass(frozen=True, slots=True)
class HeatFinding:
    """The verdict, its reasons (the leading one first), and what it rests on."""

    verdict: Verdict
    reasons: list[str]
    temperature_c: float | None = None
    below: bool = False
    above: bool = False
    in_doubt: bool = False


@dataclass(frozen=True, slots=True)
class _Seen:
    """The probes boiled down: temperatures of the good ones, words for the others."""

    coldest_c: float | None
    hottest_c: float | None
    doubts: list[str]
    below: bool
    above: bool


def judge_heat(view: HeatView) -> HeatFinding:
    """The heat verdict with its reasons."""
    good = [p.temperature_c for p in view.probes if p.temperature_c is not None]
    coldest_c, hottest_c = (min(good), max(good)) if good else (None, None)
    seen = _Seen(
        coldest_c,
        hottest_c,
        [_doubt_words(p) for p in view.probes if p.temperature_c is None],
        _outside_below(coldest_c, view),
        _outside_above(hottest_c, view),
    )
    verdict, reasons = _by_phase(view, seen)
    in_doubt = bool(seen.doubts) or not good
    return HeatFinding(verdict, reasons, coldest_c, seen.below, seen.above, in_doubt)


def _outside_below(coldest_c: float | None, view: HeatView) -> bool:
    if view.preheat_min_c is None:
        return False
    if coldest_c is None:
        return view.was_below
    inside_k = BACK_INSIDE_K if view.was_below else 0.0
    return coldest_c < view.preheat_min_c + inside_k


def _outside_above(hottest_c: float | None, view: HeatView) -> bool:
    if view.interpass_max_c is None:
        return False
    if hottest_c is None or view.pass_running:
        return view.was_above
    inside_k = BACK_INSIDE_K if view.was_above else 0.0
    return hottest_c > view.interpass_max_c - inside_k


def _doubt_words(probe: ProbeView) -> str:
    return f"{probe.channel}: {probe.why or probe.standing.value}"


def _by_phase(view: HeatView, seen: _Seen) -> tuple[Verdict, list[str]]:
    if view.phase == "carry":
        return _carry(view, seen)
    if not view.probes:
        return "unknown", ["no thermocouple is on the part"]
    if view.phase == "oven":
        return _oven(view, seen)
    if view.phase == "slow cool":
        return _slow_cool(view, seen)
    return _bench(view, seen)


def _carry(view: HeatView, seen: _Seen) -> tuple[Verdict, list[str]]:
    if seen.coldest_c is None:
        return "unknown", [_carried(view), *seen.doubts]
    words = f"on the way at {_shown(seen.coldest_c)}: say when it is on the bench"
    return "wait", [words, *seen.doubts]


def _carried(view: HeatView) -> str:
    if view.level is None:
        return "on the way from the oven: no probe speaks yet"
    spread = 1.645 * view.level.sd_k
    low, high = view.level.temperature_c - spread, view.level.temperature_c + spread
    return (
        f"on the way from the oven, probe unplugged: probably {low:.0f} to {high:.0f} °C "
        "until a settled probe speaks"
    )


def _oven(view: HeatView, seen: _Seen) -> tuple[Verdict, list[str]]:
    coldest_c, doubts = seen.coldest_c, seen.doubts
    if doubts or coldest_c is None:
        return "unknown", [f"in the oven, temperature in doubt: {listed(doubts)}"]
    if view.preheat_min_c is None:
        return "wait", [f"in the oven at {_shown(coldest_c)}, no preheat limit set"]
    if not seen.below:
        return "wait", [f"hot enough at {_shown(coldest_c)}: carry it"]
    left = _time_words(view.opens)
    until = f"{left} until hot enough" if left else "not hot enough yet"
    return "wait", [
        f"in the oven at {_shown(coldest_c)}: {until} ({degrees(view.preheat_min_c)} preheat)"
    ]


def _slow_cool(view: HeatView, seen: _Seen) -> tuple[Verdict, list[str]]:
    coldest_c, doubts = seen.coldest_c, seen.doubts
    if coldest_c is None:
        return "unknown", [f"slow cool, temperature in doubt: {listed(doubts)}"]
    limit = view.cooling_max_c_per_h
    text = f"slow cool at {_shown(coldest_c)}"
    if view.rate is not None:
        text += f", {_rate_words(view.rate)}"
        if limit is not None and cools_too_fast(view.rate, limit):
            return "wait", [f"{text}: faster than {limit:.0f} °C/h, cover it better", *doubts]
    return "wait", [text, *doubts]


def cools_too_fast(rate: Rate, limit_c_per_h: float) -> bool:
    """Faster than the limit with 95 % confidence (one-sided, normal)."""
    return rate.c_per_h + 1.645 * rate.sd_c_per_h < -limit_c_per_h


def _bench(view: HeatView, seen: _Seen) -> tuple[Verdict, list[str]]:
    coldest_c, hottest_c, doubts = seen.coldest_c, seen.hottest_c, seen.doubts
    if view.preheat_min_c is None and view.interpass_max_c is None:
        return "unknown", ["no temperature limit is set: nothing to judge by", *doubts]
    if coldest_c is not None and seen.below and view.preheat_min_c is not None:
        return _too_cold(view, coldest_c, view.preheat_min_c, doubts)
    if doubts or coldest_c is None or hottest_c is None:
        lead = "probe gap after the carry" if view.carry_s is not None else "temperature in doubt"
        return "unknown", [f"{lead}: {listed(doubts)}"]
    if view.pass_running:
        return "ready", [f"welding at {_shown(coldest_c)}{_left_words(view)}"]
    return _between_passes(view, coldest_c, hottest_c, seen.above)


def _too_cold(
    view: HeatView, coldest_c: float, preheat_min_c: float, doubts: list[str]
) -> tuple[Verdict, list[str]]:
    state = f"{_shown(coldest_c)} is below preheat {degrees(preheat_min_c)}"
    if view.pass_running:
        return "wait", [f"{state}: finish the bead, fill the crater, then re-heat", *doubts]
    return "stop", [f"{state}: back into the oven", *doubts]


def _between_passes(
    view: HeatView, coldest_c: float, hottest_c: float, above: bool
) -> tuple[Verdict, list[str]]:
    if view.interpass_max_c is not None:
        if above:
            left = _time_words(view.opens)
            return "wait", [
                f"{_shown(hottest_c)} is above interpass {degrees(view.interpass_max_c)}: "
                + (f"{left} until below" if left else "let it cool")
            ]
        if view.arc_out_s is not None and view.arc_out_s < ARC_OUT_SETTLE_S:
            return "wait", ["arc just out: let the heat spread before judging interpass"]
    return "ready", [f"{_shown(coldest_c)} is between its limits{_left_words(view)}"]


def _shown(temperature_c: float | None) -> str:
    return "no temperature" if temperature_c is None else degrees(temperature_c)


def _rate_words(rate: Rate) -> str:
    direction = "cooling" if rate.c_per_h < 0 else "warming"
    return f"{direction} {abs(rate.c_per_h):.0f} °C/h"


def _time_words(forecast: Forecast | None) -> str | None:
    if forecast is None or forecast.time_left_s is None:
        return None
    return duration(forecast.time_left_s.p50)


def _left_words(view: HeatView) -> str:
    if view.preheat_min_c is None:
        return ""
    closes = view.closes
    if closes is None or closes.time_left_s is None:
        reason = "" if closes is None or closes.reason is None else f": {closes.reason}"
        return f", how long cannot be said{reason}"
    return f", for at least {duration(closes.time_left_s.p05)}"
