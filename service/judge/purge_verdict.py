"""The purge verdict of one part, apart from the heat verdict: the welder decides between them.

A pure function of what is known at this moment. Without an oxygen limit the purge is not judged:
nothing then says that it is clear. Lost gas on an open stainless root is a stop: under the arc, and
between the beads for as long as the root is hot. After the last bead the gas stays until the root
is colder than the procedure says.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import floor

from service.judge.events import Verdict
from service.judge.words import degrees, duration, spoken
from service.readings import Forecast, Spread

NOT_JUDGED = "not judged"
CLOSE_OUT = "vent open before the last inch, or trapped gas blows back through the puddle"
"""Said with every bead under gas: which one closes the joint only the welder knows."""


BY_FLOW = "estimated from flow, which cannot see a dead leg or a leaky hose"
BY_SENSOR = "a hot zirconia cell reads low in oil smoke or solvent: try it in air now and then"
MOST_MARGIN = 3.0
"""The margin of the volume is given no finer beyond this [1]."""


@dataclass(frozen=True, slots=True)
class PurgeView:
    """All that the purge verdict is made from.

    Attributes:
        ended: A purge of this heat was ended on purpose.
        lost: The gas was running and is not any more, or never came.
        flowing: The newest flow reading shows gas; ``None`` when no flow is known.
        doubt: Why the evidence is not good now; ``None`` when it is.
        clear: The pessimistic bound is below the limit and nothing is lost or in doubt.
        was_clear: It has been clear in this purge.
        gone: It has, and now even the best estimate is above the limit.
        welded: A bead has been laid and the arc is out.
        needs_gas: The root is welded and has not yet been seen below ``gas_off_below_c``.
        root_c: The root's temperature [°C]; ``None``: not known.
        root_cool_in: When it will be below.
        volume_margin: Clear by flow: up to how many times the stated volume the cavity may hold.
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
    gone: bool = False
    oxygen: Spread | None = None
    clear_in: Forecast | None = None
    basis: str = "flow"
    unproven: str | None = None
    troubles: list[str] = field(default_factory=list)
    welded: bool = False
    needs_gas: bool = False
    gas_off_below_c: float | None = None
    root_c: float | None = None
    root_cool_in: Forecast | None = None
    volume_margin: float | None = None


@dataclass(frozen=True, slots=True)
class PurgeFinding:
    """The verdict and what it rests on.

    Attributes:
        lead: The leading reason; it changes only when the situation does (numbers aside).
        detail: What follows from it or how long; with the lead one sentence.
        judged: Whether the purge has a say in the verdict of the part.
    """

    verdict: Verdict
    lead: str
    detail: str | None
    judged: bool
    basis: str
    notes: list[str] = field(default_factory=list)

    @property
    def reasons(self) -> list[str]:
        return [self.lead, *([self.detail] if self.detail else []), *self.notes]

    @property
    def spoken(self) -> str:
        """Lead and detail as one sentence."""
        return spoken(self.lead, self.detail)


_Words = tuple[Verdict, str, str | None]
"""Verdict, lead, detail."""


def judge_purge(view: PurgeView) -> PurgeFinding:
    """The purge verdict with its reasons."""
    if view.limit_ppm is None:
        return PurgeFinding("unknown", "not judged", "no oxygen limit is set", False, NOT_JUDGED)
    if not view.running and view.ended and view.needs_gas:
        return PurgeFinding(*_ended_early(view), True, view.basis)
    if not view.running and view.ended:
        ended = "the purge was ended on purpose"
        return PurgeFinding("unknown", "not judged", ended, False, NOT_JUDGED)
    verdict, lead, detail = _running(view, view.limit_ppm) if view.running else _not_started(view)
    unproven = [view.unproven] if view.unproven is not None and verdict != "ready" else []
    notes = [*unproven, *_basis_notes(view), *view.troubles, *_gas_notes(view)]
    return PurgeFinding(verdict, lead, detail, True, view.basis, notes)


def _basis_notes(view: PurgeView) -> list[str]:
    """What the answer rests on: what a sensor may get wrong; by how much the volume may."""
    if not view.running:
        return []
    if view.basis != "flow":
        return [BY_SENSOR] if view.clear else []
    if not view.clear:
        return [] if view.clear_in is None else [BY_FLOW]
    if view.volume_margin is None or view.volume_margin < 1.0:
        return []  # the detail says that it is estimated
    if view.volume_margin > MOST_MARGIN:
        larger = f"holds {MOST_MARGIN:g} times what was stated"
    else:
        larger = f"is up to {floor(100 * (view.volume_margin - 1))} % larger than stated"
    return [f"{BY_FLOW}; clear even if the cavity {larger}"]


def _gas_notes(view: PurgeView) -> list[str]:
    """How long the gas is still wanted, and how the joint is closed under it."""
    if not view.running:
        return []
    notes = [_keep_words(view)] if view.welded and view.gas_off_below_c is not None else []
    if view.pass_running or view.clear:
        notes.append(CLOSE_OUT)
    return notes


def _keep_words(view: PurgeView) -> str:
    limit = degrees(view.gas_off_below_c or 0.0)
    if not view.needs_gas:
        return f"the root is below {limit}: after the last bead the gas may go off"
    words = f"after the last bead keep the gas on until the root is below {limit}"
    left = None if view.root_cool_in is None else view.root_cool_in.time_left_s
    return words if left is None else f"{words}, about {duration(left.p50)}"


def _ended_early(view: PurgeView) -> _Words:
    limit = degrees(view.gas_off_below_c or 0.0)
    if view.root_c is None:
        return "unknown", "gas off, and how hot the root is is not known", f"keep it until {limit}"
    lead = f"gas off while the root is at {degrees(view.root_c)}"
    return "stop", lead, f"argon on again until it is below {limit}"


def _not_started(view: PurgeView) -> _Words:
    if view.pass_running:
        return "stop", "no purge behind the root", None
    return "wait", "the purge has not been started", None


def _running(view: PurgeView, limit_ppm: float) -> _Words:
    if view.lost or view.flowing is False:
        return _lost(view)
    if view.doubt is not None:
        return "unknown", "purge in doubt", view.doubt
    if view.clear:
        return "ready", f"clear below {limit_ppm:.0f} ppm", _clear_words(view)
    if not view.has_volume and view.basis != "oxygen sensor":
        return "unknown", "the cavity volume is not known", "flow alone says nothing"
    return _not_clear(view)


def _not_clear(view: PurgeView) -> _Words:
    if view.pass_running and view.gone:
        return "stop", "the purge is not clear any more", "stop and look at the dams"
    if view.pass_running and view.was_clear:
        return "wait", "the purge is no longer surely clear", "more argon, look at the dams"
    lead = "welding into a purge that is not clear" if view.pass_running else "purge not clear"
    return "wait", lead, _waiting_words(view.clear_in)


def _lost(view: PurgeView) -> _Words:
    if view.pass_running:
        return "stop", "purge lost", "stop, the root is open to air"
    cooled = view.gas_off_below_c is not None and not view.needs_gas
    if view.lost and view.welded and not cooled:
        return "stop", "purge lost", "the hot root is open to air, gas back before another bead"
    if view.lost:
        return "wait", "no argon is flowing", "look at the bottle, the valve and the hose"
    return "wait", "no argon yet", "open the valve"


def _clear_words(view: PurgeView) -> str:
    how = "measured" if view.basis == "oxygen sensor" else "estimated from flow"
    bound = None if view.oxygen is None else view.oxygen.p95
    return how if bound is None else f"{how}, at most {bound:.0f} ppm oxygen"


def _waiting_words(clear_in: Forecast | None) -> str | None:
    if clear_in is None:
        return None
    left = clear_in.time_left_s
    if left is None:
        return clear_in.reason
    if left.p95 is None:
        return f"at least {duration(left.p50)} more"
    return f"about {duration(left.p50)} more, at most {duration(left.p95)}"
