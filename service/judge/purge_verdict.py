"""The purge verdict of one part, apart from the heat verdict: the welder decides between them.

A pure function of what is known at this moment. Without an oxygen limit the purge is not judged:
nothing then says that it is clear. Lost gas on an open stainless root is a stop.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from service.judge.events import Verdict
from service.judge.words import duration
from service.readings import Forecast, Spread

NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class PurgeView:
    """All that the purge verdict is made from.

    Attributes:
        ended: A purge of this heat was ended on purpose.
        lost: The gas was running and is not any more, or never came.
        flowing: The newest flow reading shows gas; ``None`` when no flow is known.
        doubt: Why the evidence is not good now; ``None`` when it is.
        clear: The pessimistic bound is below the limit and nothing is lost or in doubt.
    """

    limit_ppm: float | None
    running: bool
    ended: bool = False
    pass_running: bool = False
    has_volume: bool = True
    lost: bool = False
    flowing: bool | None = None
    doubt: str | None = None
    clear: bool = False
    was_clear: bool = False
    oxygen: Spread | None = None
    clear_in: Forecast | None = None
    basis: str = "flow"
    unproven: str | None = None
    troubles: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class PurgeFinding:
    """The verdict and its reasons, the leading one first.

    ``judged`` is false when the purge has no say in the verdict of the part.
    """

    verdict: Verdict
    reasons: list[str]
    judged: bool
    basis: str


def judge_purge(view: PurgeView) -> PurgeFinding:
    """The purge verdict with its reasons."""
    if view.limit_ppm is None:
        return PurgeFinding("unknown", ["not judged: no oxygen limit is set"], False, NOT_JUDGED)
    if not view.running:
        return _not_running(view)
    verdict, reasons = _running(view, view.limit_ppm)
    notes = [note for note in (view.unproven if verdict != "ready" else None,) if note]
    return PurgeFinding(verdict, [*reasons, *notes, *view.troubles], True, view.basis)


def _not_running(view: PurgeView) -> PurgeFinding:
    if view.ended:
        return PurgeFinding(
            "unknown", ["not judged: the purge was ended on purpose"], False, NOT_JUDGED
        )
    if view.pass_running:
        return PurgeFinding("stop", ["no purge behind the root"], True, view.basis)
    return PurgeFinding("wait", ["the purge has not been started"], True, view.basis)


def _running(view: PurgeView, limit_ppm: float) -> tuple[Verdict, list[str]]:
    if view.lost or view.flowing is False:
        return _lost(view)
    if view.doubt is not None:
        return "unknown", [f"purge in doubt: {view.doubt}"]
    if view.clear:
        return "ready", [_clear_words(view, limit_ppm)]
    if not view.has_volume and view.basis != "oxygen sensor":
        return "unknown", ["the cavity volume is not known: flow alone says nothing"]
    if view.pass_running and view.was_clear:
        return "stop", ["the purge is not clear any more: stop and look at the dams"]
    return "wait", [_waiting_words(view)]


def _lost(view: PurgeView) -> tuple[Verdict, list[str]]:
    if view.pass_running:
        return "stop", ["purge lost: stop, the root is open to air"]
    if view.lost:
        return "wait", ["no argon is flowing: look at the bottle, the valve and the hose"]
    return "wait", ["no argon yet: open the valve"]


def _clear_words(view: PurgeView, limit_ppm: float) -> str:
    how = "measured" if view.basis == "oxygen sensor" else "estimated from flow"
    bound = None if view.oxygen is None else view.oxygen.p95
    most = "" if bound is None else f", at most {bound:.0f} ppm oxygen"
    return f"clear below {limit_ppm:.0f} ppm ({how}{most})"


def _waiting_words(view: PurgeView) -> str:
    prefix = "welding into a purge that is not clear" if view.pass_running else "purge not clear"
    left = None if view.clear_in is None else view.clear_in.time_left_s
    if left is None:
        reason = None if view.clear_in is None else view.clear_in.reason
        return f"{prefix}: {reason or 'no time can be given'}"
    if left.p95 is None:
        return f"{prefix}: at least {duration(left.p50)}"
    return f"{prefix}: about {duration(left.p50)}, at most {duration(left.p95)}"
