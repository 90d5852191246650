"""Heat and purge together: one verdict and one sentence that can be spoken.

The sentence is the next thing to do. Whether the window outlasts the purge is decided with 90 %
confidence from both spreads, taken as independent.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from service.judge.actions import HeatPhase
from service.judge.events import Verdict
from service.judge.heat_verdict import HeatFinding
from service.judge.purge_verdict import PurgeFinding
from service.judge.words import duration
from service.readings import Spread

Z_95 = 1.6449
"""Standard normal quantile of 0.95."""
Z_90 = 1.2816
"""Standard normal quantile of 0.90."""
_WORST_FIRST: tuple[Verdict, ...] = ("stop", "unknown", "wait", "ready")


@dataclass(frozen=True, slots=True)
class Together:
    """The part's verdict and the next step in one sentence."""

    verdict: Verdict
    next: str


def outlasts(window_s: Spread, clear_in_s: Spread) -> bool:
    """Whether the window outlasts the purge with 90 % confidence.

    Each spread is read as normal on the side that matters: the window's early side, the purge's
    late side. A purge without an upper end is never outlasted with confidence.
    """
    if clear_in_s.p95 is None:
        return False
    early = (window_s.p50 - window_s.p05) / Z_95
    late = (clear_in_s.p95 - clear_in_s.p50) / Z_95
    return window_s.p50 - clear_in_s.p50 > Z_90 * hypot(early, late)


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
    if view.phase == "bench" and purge.judged and purge_first:
        return _for_the_purge(view)
    if heat.verdict != "ready" or view.pass_running:
        return _sentence(heat.reasons[0])
    if view.window_s is None:
        return "Start now."
    return f"Start now: the window holds for at least {duration(view.window_s.p05)}."


def _for_the_purge(view: PartView) -> str:
    if view.purge.verdict == "wait" and not view.pass_running:
        return _purge_against_window(view.purge, view.window_s, view.clear_in_s)
    return _sentence(view.purge.reasons[0])


def _purge_against_window(
    purge: PurgeFinding, window_s: Spread | None, clear_in_s: Spread | None
) -> str:
    if clear_in_s is None or window_s is None:
        return _sentence(purge.reasons[0])
    if not outlasts(window_s, clear_in_s):
        return "It will not hold until the purge is clear: back into the oven."
    return (
        f"Wait {duration(clear_in_s.p50)} for the purge: "
        f"the window holds until {duration(window_s.p05)}."
    )


def _sentence(reason: str) -> str:
    return f"{reason[:1].upper()}{reason[1:]}."
