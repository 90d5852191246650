"""The heat verdict of one part: is it at a temperature to weld, and if not, what then.

A pure function of what is known at this moment. The coldest probe governs preheat, the hottest of
those beside the weld governs interpass. Interpass is judged with the arc out only, and after the
heat has had time to spread (ISO 13916: on weld metal or directly beside it, before the next run;
about 2 min for 25 mm of thickness). Doubt is ``unknown``, never ``ready``; a limit that a good
probe shows violated is said even when another probe is in doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from service.judge.actions import HeatPhase
from service.judge.channel import Standing
from service.judge.events import Verdict
from service.judge.words import degrees, duration, listed, spoken
from service.physics.cooldown import Level, Rate
from service.readings import Forecast

ARC_OUT_SETTLE_S = 10.0
"""After the arc the heat spreads from the bead to the probe; judged after so long at the earliest
(common practice, no source) ..."""
SPREAD_S_PER_MM = 120.0 / 25.0
"""... and after 2 min for every 25 mm of thickness (ISO 13916), where the thickness is known."""
BESIDE_MM = 10.0
"""A probe at most so far from the groove is "directly beside" the weld (ISO 13916 gives no number;
common practice, no source)."""
BACK_INSIDE_K = 1.0
"""Once outside a limit the reading must come this far back inside to count as inside."""


@dataclass(frozen=True, slots=True)
class ProbeView:
    """One probe of the part at this moment; the temperature is ``None`` unless it is good.

    Attributes:
        margin_k: What it may be off, either way [K]; 0 for a wired probe, whose error is the
            procedure's affair.
        at_most: ``False`` for a temperature that is only known to be at least so high (a crayon
            has melted), ``at_least`` the other way round (a crayon has not).
        from_joint_mm: Distance from the groove's edge [mm]; ``None``: not said.
    """

    channel: str
    standing: Standing
    temperature_c: float | None
    why: str | None
    margin_k: float = 0.0
    at_least: bool = True
    at_most: bool = True
    from_joint_mm: float | None = None

    @property
    def least_c(self) -> float | None:
        """The part is surely not colder here [°C]."""
        if self.temperature_c is None or not self.at_least:
            return None
        return self.temperature_c - self.margin_k

    @property
    def most_c(self) -> float | None:
        """The part is surely not hotter here [°C]."""
        if self.temperature_c is None or not self.at_most:
            return None
        return self.temperature_c + self.margin_k


@dataclass(frozen=True, slots=True)
class HeatView:
    """All that the heat verdict is made from.

    Attributes:
        arc_out_s: Time since the last pass ended [s]; ``None`` before the first.
        spread_s: Time the heat of a bead needs to spread [s].
        arc_doubt: Why the arc is not known to be out between passes; ``None``: it is.
        still_rising: The arc is out and the probe beside the weld still gets hotter.
        conflict: The two sides of the joint want what cannot both be; nobody has chosen.
        set_aside: What the side that does not govern would have wanted.
        gap_expected: Every probe in doubt is unplugged for the carry or settling after it.
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
    spread_s: float = ARC_OUT_SETTLE_S
    still_rising: bool = False
    arc_doubt: str | None = None
    conflict: str | None = None
    set_aside: str | None = None
    gap_expected: bool = False
    was_below: bool = False
    was_above: bool = False
    closes: Forecast | None = None
    opens: Forecast | None = None
    rate: Rate | None = None
    level: Level | None = None


@dataclass(frozen=True, slots=True)
class HeatFinding:
    """The verdict and what it rests on.

    Attributes:
        lead: The leading reason; it changes only when the situation does (numbers aside).
        detail: What follows from it or how long; with the lead one sentence.
        doubts: Probes that cannot be believed now, each with why.
        notes: What else to know of the verdict.
    """

    verdict: Verdict
    lead: str
    detail: str | None = None
    doubts: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    temperature_c: float | None = None
    below: bool = False
    above: bool = False

    @property
    def reasons(self) -> list[str]:
        detail = [self.detail] if self.detail else []
        return [self.lead, *detail, *self.doubts, *self.notes]

    @property
    def spoken(self) -> str:
        """Lead and detail as one sentence."""
        return spoken(self.lead, self.detail)


_Words = tuple[Verdict, str, str | None]
"""Verdict, lead, detail."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """The probes boiled down: temperatures of the good ones, words for the others."""

    coldest_c: float | None
    hottest_c: float | None
    doubts: list[str]
    notes: list[str]
    below: bool
    above: bool


def spread_s(joint_wall_mm: float | None) -> float:
    """How long after the arc interpass is not judged [s], by the thickness at the joint [mm].

    Source: ISO 13916: about 2 min for every 25 mm after the heat is taken away.
    """
    return max(ARC_OUT_SETTLE_S, SPREAD_S_PER_MM * (joint_wall_mm or 0.0))


def beside(probes: Sequence[ProbeView]) -> list[ProbeView]:
    """The probes that interpass is judged by: on the weld or directly beside it (ISO 13916).

    With none so near the nearest must do, and with nothing said about any, all of them.
    """
    said = [p for p in probes if p.from_joint_mm is not None]
    near = [p for p in said if p.from_joint_mm is not None and p.from_joint_mm <= BESIDE_MM]
    if near or not said:
        return near or list(probes)
    nearest_mm = min(p.from_joint_mm for p in said if p.from_joint_mm is not None)
    return [p for p in said if p.from_joint_mm == nearest_mm]


def judge_heat(view: HeatView) -> HeatFinding:
    """The heat verdict with its reasons."""
    seen = _boil_down(view)
    verdict, lead, detail = _by_phase(view, seen)
    doubts = [] if detail is not None and detail == listed(seen.doubts) else seen.doubts
    shown = [p.temperature_c for p in view.probes if p.temperature_c is not None]
    return HeatFinding(
        verdict, lead, detail, doubts, seen.notes, min(shown, default=None), seen.below, seen.above
    )


def _boil_down(view: HeatView) -> _Seen:
    low = [p.least_c for p in view.probes if p.least_c is not None]
    judged = beside(view.probes)
    high = [p.most_c for p in judged if p.most_c is not None]
    coldest_c, hottest_c = min(low, default=None), max(high, default=None)
    doubts = [_doubt_words(p) for p in view.probes if p.temperature_c is None]
    live = len(doubts) < len(view.probes)
    if view.preheat_min_c is not None and not low and live:
        doubts.append("how hot it is at least is not known")
    asked = view.interpass_max_c is not None and not view.pass_running
    if asked and not high and any(p.temperature_c is not None for p in judged):
        doubts.append("how hot it is at most beside the weld is not known")
    notes = [] if view.set_aside is None else [view.set_aside]
    notes += [_hand_words(p) for p in view.probes if p.margin_k and p.temperature_c is not None]
    if view.interpass_max_c is not None and view.phase == "bench":
        notes += _position_notes(judged)
    return _Seen(
        coldest_c,
        hottest_c,
        doubts,
        notes,
        _outside_below(coldest_c, view),
        _outside_above(hottest_c, view),
    )


def _hand_words(probe: ProbeView) -> str:
    shown = degrees(probe.temperature_c or 0.0)
    if not probe.at_most:
        shown = f"at least {shown}"
    if not probe.at_least:
        shown = f"at most {shown}"
    return f"{probe.channel}: {shown}, ± {probe.margin_k:.0f} K by now"


def _position_notes(judged: Sequence[ProbeView]) -> list[str]:
    """Said where interpass rests on a probe that is too far from the weld."""
    far_mm = min((p.from_joint_mm for p in judged if p.from_joint_mm is not None), default=0.0)
    if far_mm <= BESIDE_MM:
        return []
    return [f"interpass is read {far_mm:.0f} mm from the joint: hotter beside the weld, check it"]


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
    if hottest_c is None or view.pass_running or view.arc_doubt is not None:
        return view.was_above
    inside_k = BACK_INSIDE_K if view.was_above else 0.0
    return hottest_c > view.interpass_max_c - inside_k


def _doubt_words(probe: ProbeView) -> str:
    return f"{probe.channel}: {probe.why or probe.standing.value}"


def _by_phase(view: HeatView, seen: _Seen) -> _Words:
    if view.phase == "carry":
        return _carry(view, seen)
    if not view.probes:
        return "unknown", "no thermocouple is on the part", None
    if view.conflict is not None and view.phase in ("oven", "bench"):
        return "unknown", view.conflict, "both cannot be kept, say which side governs"
    if view.phase == "oven":
        return _oven(view, seen)
    if view.phase == "slow cool":
        return _slow_cool(view, seen)
    return _bench(view, seen)


def _carry(view: HeatView, seen: _Seen) -> _Words:
    if seen.coldest_c is not None:
        return "wait", f"on the way at {degrees(seen.coldest_c)}", "say when it is on the bench"
    if not view.gap_expected:
        return "unknown", "on the way for too long without a probe", "look for the probe"
    lead = "on the way, probe unplugged"
    if view.level is None:
        return "unknown", lead, None
    spread_k = 1.645 * view.level.sd_k
    low_c, high_c = view.level.temperature_c - spread_k, view.level.temperature_c + spread_k
    return "unknown", lead, f"probably {low_c:.0f} to {high_c:.0f} °C until a settled probe speaks"


def _oven(view: HeatView, seen: _Seen) -> _Words:
    coldest_c = seen.coldest_c
    if seen.doubts or coldest_c is None:
        return "unknown", "in the oven, temperature in doubt", listed(seen.doubts)
    if view.preheat_min_c is None:
        return "wait", f"in the oven at {degrees(coldest_c)}", "no preheat limit is set"
    if not seen.below:
        return "wait", f"hot enough at {degrees(coldest_c)}", "carry it"
    lead = f"in the oven at {degrees(coldest_c)}, below preheat {degrees(view.preheat_min_c)}"
    left = _time_words(view.opens)
    return "wait", lead, None if left is None else f"{left} until hot enough"


def _slow_cool(view: HeatView, seen: _Seen) -> _Words:
    if seen.coldest_c is None:
        return "unknown", "slow cool, temperature in doubt", listed(seen.doubts)
    lead, rate = f"slow cool at {degrees(seen.coldest_c)}", view.rate
    if rate is None:
        return "wait", lead, None
    detail = f"{'cooling' if rate.c_per_h < 0 else 'warming'} {abs(rate.c_per_h):.0f} °C/h"
    limit = view.cooling_max_c_per_h
    if limit is not None and cools_too_fast(rate, limit):
        return "wait", f"{lead}, faster than {limit:.0f} °C/h", f"{detail}, cover it better"
    return "wait", lead, detail


def cools_too_fast(rate: Rate, limit_c_per_h: float) -> bool:
    """Faster than the limit with 95 % confidence (one-sided, normal)."""
    return rate.c_per_h + 1.645 * rate.sd_c_per_h < -limit_c_per_h


def _bench(view: HeatView, seen: _Seen) -> _Words:
    low_c, coldest_c = view.preheat_min_c, seen.coldest_c
    if low_c is None and view.interpass_max_c is None:
        return "unknown", "no temperature limit is set", "nothing to judge by"
    if coldest_c is not None and seen.below and low_c is not None:
        lead = f"{degrees(coldest_c)} is below preheat {degrees(low_c)}"
        if view.pass_running:
            return "wait", lead, "finish the bead, fill the crater, then re-heat"
        return "stop", lead, "back into the oven"
    if seen.doubts or (shown_c := _shown_c(view, seen)) is None:
        lead = "waiting for a settled probe" if view.gap_expected else "temperature in doubt"
        return "unknown", lead, listed(seen.doubts)
    if view.pass_running:
        return "ready", f"welding at {degrees(shown_c)}", _holds_words(view)
    return _between_passes(view, shown_c, seen)


def _shown_c(view: HeatView, seen: _Seen) -> float | None:
    """The temperature that the sentence names, once every limit has one to be held against."""
    if view.preheat_min_c is not None and seen.coldest_c is None:
        return None
    if view.interpass_max_c is not None and seen.hottest_c is None and not view.pass_running:
        return None
    return seen.coldest_c if seen.coldest_c is not None else seen.hottest_c


def _between_passes(view: HeatView, shown_c: float, seen: _Seen) -> _Words:
    hottest_c = seen.hottest_c
    if view.interpass_max_c is not None and hottest_c is not None:
        if view.arc_doubt is not None:
            return "unknown", "interpass is not judged: is the arc out?", view.arc_doubt
        if seen.above:
            lead = f"{degrees(hottest_c)} is above interpass {degrees(view.interpass_max_c)}"
            left = _time_words(view.opens)
            return "wait", lead, "let it cool" if left is None else f"{left} until below"
        if view.arc_out_s is not None and view.arc_out_s < view.spread_s:
            left = duration(view.spread_s - view.arc_out_s + 0.99)
            return "wait", "arc just out", f"let the heat spread before judging interpass, {left}"
        if view.still_rising:
            return "wait", "the probe beside the weld still rises", "let the heat spread"
    return "ready", f"{degrees(shown_c)} is within its limits", _holds_words(view)


def _holds_words(view: HeatView) -> str | None:
    closes = view.closes
    if view.preheat_min_c is None or closes is None:
        return None
    if closes.time_left_s is None:
        return None if view.pass_running else f"how long cannot be said ({closes.reason})"
    return f"the window holds for at least {duration(closes.time_left_s.p05)}"


def _time_words(forecast: Forecast | None) -> str | None:
    if forecast is None or forecast.time_left_s is None:
        return None
    return duration(forecast.time_left_s.p50)
