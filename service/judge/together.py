"""Heat and purge together: one verdict and one sentence that can be spoken.

The sentence is the next thing to do. Whether the window outlasts the purge is decided with 90 %
confidence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.judge.actions import HeatPhase
from service.judge.events import Verdict
from service.judge.heat_verdict import HeatFinding
from service.judge.purge_verdict import PurgeFinding
from service.judge.words import duration, spoken
from service.readings import Spread

Z_95 = 1.6449
"""Standard normal quantile of 0.95."""
Z_90 = 1.2816
"""Standard normal quantile of 0.90."""
LEAST_USEFUL_S = 30.0
"""A window shorter than this is not worth striking an arc for [s]; common practice, no source."""
_WORST_FIRST: tuple[Verdict, ...] = ("stop", "unknown", "wait", "ready")


@dataclass(frozen=True, slots=True)
class Together:
    """The part's verdict and the next step in one sentence."""

    verdict: Verdict
    next: str


def holds_s(window_s: Spread) -> float:
    """How long the window holds with 90 % confidence [s], read as normal on its early side."""
    return window_s.p50 - Z_90 * (window_s.p50 - window_s.p05) / Z_95


def outlasts(window_s: Spread, clear_in_s: Spread) -> bool:
    """Whether the window outlasts the purge with 90 % confidence.

    The purge counts as clear only when its pessimistic bound says so, which is ``p95``; one
    without an upper end is never outlasted.
    """
    return clear_in_s.p95 is not None and holds_s(window_s) > clear_in_s.p95


def closes_before(window_s: Spread, clear_in_s: Spread) -> bool:
    """Whether the window closes before the purge is clear with 90 % confidence, by the window's
    late side; one without an upper end is never sure to close."""
    end_s = clear_in_s.p50 if clear_in_s.p95 is None else clear_in_s.p95
    return closes_by_s(window_s) < end_s


def closes_by_s(window_s: Spread) -> float:
    """By when the window has closed with 90 % confidence [s], read as normal on its late side;
    infinite without an upper end."""
    if window_s.p95 is None:
        return math.inf
    return window_s.p50 + Z_90 * (window_s.p95 - window_s.p50) / Z_95


@dataclass(frozen=True, slots=True)
class PartView:
    """The two findings of one part and the two spreads of time [s] that meet."""

    phase: HeatPhase
    pass_running: bool
    heat: HeatFinding
    purge: PurgeFinding
    window_s: Spread | None
    clear_in_s: Spread | None


def judge_together(view: PartView) -> Together:
    """One verdict, the worse of both; a purge that is not judged has no say."""
    verdicts = {view.heat.verdict}
    if view.purge.judged:
        verdicts.add(view.purge.verdict)
    verdict = next(v for v in _WORST_FIRST if v in verdicts)
    return Together(verdict, _next(view))


def _next(view: PartView) -> str:
    heat, purge = view.heat, view.purge
    purge_first = purge.verdict == "stop" or (heat.verdict == "ready" and purge.verdict != "ready")
    covered = view.phase == "slow cool" and purge.verdict == "stop"
    if purge.judged and (covered or (view.phase == "bench" and purge_first)):
        return _for_the_purge(view)
    if heat.verdict != "ready" or view.pass_running:
        return heat.spoken
    if view.window_s is None:
        return spoken("start now", heat.detail)
    if view.window_s.p50 < LEAST_USEFUL_S:
        return f"Only {duration(view.window_s.p50)} left: back into the oven."
    at_least = duration(view.window_s.p05)
    if view.window_s.p05 < LEAST_USEFUL_S:
        likely = duration(view.window_s.p50)
        return f"A short bead at most: the window holds for {at_least}, probably {likely}."
    return f"Start now: the window holds for at least {at_least}."


def _for_the_purge(view: PartView) -> str:
    window_s, clear_in_s = view.window_s, view.clear_in_s
    between_passes = view.purge.verdict == "wait" and not view.pass_running
    if not between_passes or window_s is None or clear_in_s is None:
        return view.purge.spoken
    if closes_before(window_s, clear_in_s):
        return "It will not hold until the purge is clear: back into the oven."
    if window_s.p50 < clear_in_s.p50:
        return "It will probably not hold until the purge is clear: back into the oven."
    wait = duration(clear_in_s.p50 if clear_in_s.p95 is None else clear_in_s.p95)
    holds = duration(holds_s(window_s))
    if not outlasts(window_s, clear_in_s):
        return f"It may not hold: the purge needs up to {wait}, the window holds until {holds}."
    left_s = holds_s(window_s) - (clear_in_s.p95 or 0.0)
    if left_s < LEAST_USEFUL_S:
        return f"Clear in {wait}, and then the window holds for {duration(left_s)}: a short bead."
    return f"Wait {wait} for the purge: the window holds until {holds}."
