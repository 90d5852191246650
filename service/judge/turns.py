"""One welder, one oven, several castings: whose turn it is, when the next one may come out.

Advice in a sentence, never done by itself. It is as sure as what it rests on: a part that nobody
can judge is nobody's turn, and a time that is not known is not made up. Which comes first does not
flap: the one that was told stays, unless another one's window closes earlier by ``KEEP_S``.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from service.judge.actions import HeatPhase
from service.judge.events import Verdict
from service.judge.heat_track import HeatTrack
from service.judge.outlook import Place
from service.judge.shop import Heat, Part, Shop
from service.judge.spreads import latest
from service.judge.together import LEAST_USEFUL_S, closes_before, closes_by_s, holds_s
from service.judge.words import duration, listed
from service.readings import Forecast, Spread

KEEP_S = 60.0
"""Another casting goes before the one that was told only if its window closes so much earlier [s]
[judgement]."""
LEAD_S = 300.0
"""From the oven's door to the first arc: carry 1 min, fit-up 3 min, brushing 1 min [s]; usual
values, common practice, no source. Only a whole gap of this and a pass is ever filled."""
PASS_S = 180.0
"""One pass [s]; a usual value, common practice, no source."""
NOW = Spread(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Casting:
    """One open heat as the welder sees it among the others.

    Attributes:
        welded: At least one pass has been welded in this heat.
        window: Time until it is below preheat; ``None``: not known, or no lower limit.
        ready_in: Time until it may be welded; ``None``: not known.
        soaked_in: In the oven, time until it is hot and soaked; ``None``: not known.
        doubt: What keeps it from being judged; ``None``: nothing.
    """

    heat_id: int
    part_id: int
    name: str
    phase: HeatPhase
    verdict: Verdict
    welded: bool = False
    pass_running: bool = False
    below: bool = False
    window: Spread | None = None
    ready_in: Spread | None = None
    soaked_in: Spread | None = None
    doubt: str | None = None

    @property
    def place(self) -> Place:
        """What is to be done with it, by itself."""
        if self.pass_running:
            return "weld on"
        if self.phase == "oven":
            hot: Place = "take out" if self.soaked_in == NOW else "heating"
            return "hold" if self.welded else hot
        return "covered" if self.phase == "slow cool" else self._on_the_bench()

    def _on_the_bench(self) -> Place:
        # Below preheat is known; any other doubt goes before a window that rests on it.
        if self.verdict == "unknown" and not self.below:
            return "in doubt"
        if self.below or (self.window is not None and self._too_short(self.window)):
            return "reheat"
        return "weld" if self.verdict == "ready" else "weld soon"

    def _too_short(self, window: Spread) -> bool:
        if window.p50 < LEAST_USEFUL_S:
            return True
        return self.ready_in is not None and closes_before(window, self.ready_in)


@dataclass(frozen=True, slots=True)
class Turn:
    """The advice for all castings together.

    Attributes:
        heat_id: Whose turn it is; ``None``: nobody's, or it cannot be told.
        text: One or two sentences that can be spoken.
        order: Heats with what is to be done with each, the next one first.
        take_out: The heat that comes out of the oven next; ``None``: none waits there.
        take_out_in: Time until it may come out; ``None`` with the reason in ``take_out_why``.
    """

    heat_id: int | None
    text: str
    order: tuple[tuple[int, Place], ...] = ()
    take_out: int | None = None
    take_out_in: Spread | None = None
    take_out_why: str | None = None


@dataclass(slots=True)
class Turns:
    """What was told last, so that the next advice does not flap."""

    told: Turn | None = None

    def look(self, shop: Shop, tracks: Collection[HeatTrack]) -> None:
        """Advise anew; with fewer than two open heats there is nothing to say."""
        if len(tracks) < 2:
            self.told = None
            return
        castings = [
            casting_of(track, shop.heats[track.heat_id], shop.parts[track.part_id])
            for track in tracks
        ]
        self.told = advise(castings, self.told)


def casting_of(track: HeatTrack, heat: Heat, part: Part) -> Casting:
    """A heat as the judge follows it."""
    together, finding = track.together, track.heat
    window = None if track.closes is None else track.closes.time_left_s
    soak = track.ahead.comes_in if track.ahead.what == "soaked" else None
    verdict: Verdict = "unknown" if together is None else together.verdict
    return Casting(
        heat_id=heat.id,
        part_id=part.id,
        name=part.name,
        phase=heat.phase,
        verdict=verdict,
        welded=heat.passes > 0,
        pass_running=heat.pass_running,
        below=finding is not None and finding.below,
        window=window,
        ready_in=_ready_in(track, verdict),
        soaked_in=None if soak is None else soak.time_left_s,
        doubt=_doubt(track) if verdict == "unknown" else None,
    )


def _ready_in(track: HeatTrack, verdict: Verdict) -> Spread | None:
    if verdict == "ready":
        return NOW
    if track.heat is None or track.purge is None or verdict in ("unknown", "stop"):
        return None
    waits: list[Forecast | None] = []
    if track.heat.verdict != "ready":
        waits.append(track.opens)
    if track.purge.judged and track.purge.verdict != "ready":
        waits.append(None if track.purging is None else track.purging.clear_in)
    found = latest(waits)
    return None if found is None else found.time_left_s


def _doubt(track: HeatTrack) -> str | None:
    if track.heat is not None and track.heat.verdict == "unknown":
        return track.heat.lead
    return None if track.purge is None else track.purge.lead


# --- the advice ---------------------------------------------------------------------------------


_ORDER: tuple[Place, ...] = (
    "weld on", "weld", "weld soon", "reheat", "in doubt", "take out", "heating", "hold", "covered",
)  # fmt: skip
_FAR_S = 1e9


def advise(castings: Sequence[Casting], told: Turn | None = None) -> Turn:
    """Whose turn it is among two or more castings.

    Args:
        castings: All open heats.
        told: What was said last.

    Returns:
        The advice; ``heat_id`` is only ever a part whose arc burns, whose verdict is ready, or that
        will be ready in a known time while no other one is.
    """
    before = None if told is None else told.heat_id
    ranked = sorted(castings, key=lambda each: (_ORDER.index(each.place), _urgency(each, before)))
    first = ranked[0]
    turn = first if first.place in ("weld on", "weld") else None
    if first.place == "weld soon" and first.ready_in is not None:
        turn = first
    sentences = [_lead(ranked, turn)]
    oven, out_in, why = _from_the_oven(ranked, told)
    if oven is not None:
        sentences.append(_oven_words(oven, out_in, why, _busy(ranked)))
    if held := [each for each in ranked if each.place == "hold"]:
        sentences.append(_hold_words(held, ranked))
    return Turn(
        None if turn is None else turn.heat_id,
        " ".join(sentences),
        tuple((each.heat_id, each.place) for each in ranked),
        None if oven is None else oven.heat_id,
        out_in,
        why,
    )


def _urgency(casting: Casting, before: int | None) -> tuple[float, int]:
    """The sooner its window closes the sooner its turn; without a window it can wait."""
    if casting.place in ("weld", "weld on"):
        closes_s = _FAR_S if casting.window is None else holds_s(casting.window)
    elif casting.place == "weld soon":
        closes_s = _FAR_S if casting.ready_in is None else casting.ready_in.p50
    else:
        wait = casting.soaked_in
        closes_s = _FAR_S if wait is None else wait.p50
    kept = KEEP_S if casting.heat_id == before else 0.0
    return closes_s - kept, casting.heat_id


def _lead(ranked: Sequence[Casting], turn: Casting | None) -> str:
    others = [each for each in ranked if each is not turn]
    if turn is None:
        return _nobody(ranked)
    if turn.place == "weld on":
        return f"{turn.name}: weld on.{_then(others)}"
    if turn.place == "weld":
        return f"{turn.name} first: {_holds(turn)}.{_then(others)}"
    wait = turn.ready_in
    about = "" if wait is None else f" in about {duration(wait.p50)}"
    return f"{turn.name} next{about}.{_then(others)}"


def _holds(casting: Casting) -> str:
    if casting.window is None:
        return "it is ready"
    return f"its window holds for {duration(holds_s(casting.window))}"


def _then(others: Sequence[Casting]) -> str:
    """What the one after it can stand, so that he knows how long he may take."""
    ready = [each for each in others if each.place == "weld"]
    if ready:
        return f" Then {ready[0].name}: {_holds(ready[0])}."
    lost = [each.name for each in others if each.place == "reheat"]
    if lost:
        return f" {listed(lost)} will not hold: back into the oven."
    return ""


def _nobody(ranked: Sequence[Casting]) -> str:
    lost = [each.name for each in ranked if each.place == "reheat"]
    if lost:
        return f"{listed(lost)} will not hold: back into the oven."
    doubtful = [each for each in ranked if each.place == "in doubt"]
    if doubtful:
        one = doubtful[0]
        why = "" if one.doubt is None else f": {one.doubt}"
        return f"Whose turn it is cannot be told, {one.name} is in doubt{why}."
    if any(each.place == "weld soon" for each in ranked):
        name = next(each.name for each in ranked if each.place == "weld soon")
        return f"Nobody's turn yet: when {name} is ready cannot be told."
    return "Nobody's turn: no casting is on the bench."


def _busy(ranked: Sequence[Casting]) -> Casting | None:
    """The casting on the bench that has the welder's hands, or will have them next."""
    busy: tuple[Place, ...] = ("weld on", "weld", "weld soon", "in doubt")
    return next((each for each in ranked if each.place in busy), None)


def _from_the_oven(
    ranked: Sequence[Casting], told: Turn | None
) -> tuple[Casting | None, Spread | None, str | None]:
    """The next to come out, when, or why that cannot be told."""
    oven = next((each for each in ranked if each.place in ("take out", "heating")), None)
    if oven is None:
        return None, None, None
    if oven.soaked_in is None:
        return oven, None, "when it is hot and soaked cannot be told"
    busy = _busy(ranked)
    if busy is None:
        return oven, oven.soaked_in, None
    was = told is not None and told.take_out == oven.heat_id and told.take_out_in is not None
    if all(_fits_between(oven, each, was) for each in ranked if each.place not in _NOT_BUSY):
        return oven, oven.soaked_in, None
    # How many passes are left nobody knows: not before the other one is under its cover.
    return oven, None, f"not before {busy.name} is under its cover{_by_then(busy)}"


_NOT_BUSY: tuple[Place, ...] = ("take out", "heating", "hold", "covered")


def _fits_between(oven: Casting, busy: Casting, was_said: bool) -> bool:
    """Whether the one on the bench must wait so long (for its interpass, for its purge) that the
    other can be brought and welded one pass meanwhile, and its own window outlasts that; counted
    back from both bounds of 90 %, and kept once said unless a minute is lacking."""
    ends_s = None if oven.soaked_in is None else oven.soaked_in.p95
    if busy.place != "weld soon" or busy.ready_in is None or ends_s is None:
        return False
    needs_s = ends_s + LEAD_S + PASS_S - (KEEP_S if was_said else 0.0)
    holds = busy.window is None or holds_s(busy.window) >= needs_s + LEAST_USEFUL_S
    return holds and holds_s(busy.ready_in) >= needs_s


def _by_then(busy: Casting) -> str:
    """Until when the welder is busy at the latest: the late side of the window, with 90 %."""
    if busy.place not in ("weld", "weld soon") or busy.window is None or busy.window.p95 is None:
        return ""
    return f", and its window closes in {duration(closes_by_s(busy.window))} at the latest"


def _oven_words(oven: Casting, out_in: Spread | None, why: str | None, busy: Casting | None) -> str:
    if out_in is None:
        hot = "is hot and soaked, " if oven.soaked_in == NOW else ""
        return f"{oven.name} {hot}stays in the oven: {why}."
    between = ""
    if busy is not None:
        usual = duration(LEAD_S + PASS_S)
        between = f", while {busy.name} waits (carry, fit-up, brushing, a pass: usually {usual})"
    if out_in == NOW:
        return f"{oven.name} is hot and soaked: take it out{between}."
    most = "" if out_in.p95 is None else f", at most {duration(out_in.p95)}"
    return f"{oven.name} may come out in about {duration(out_in.p50)}{most}{between}."


def _hold_words(held: Sequence[Casting], ranked: Sequence[Casting]) -> str:
    """Welded castings in the oven while others still need its heat: hold, then cool together."""
    names = listed([each.name for each in held])
    needs = [
        each.name for each in ranked
        if (not each.welded and each.place not in ("covered", "hold")) or each.place == "reheat"
    ]  # fmt: skip
    if needs:
        return (
            f"Hold {names} in the oven until {listed(needs)} is welded, then cool together: "
            "one oven cannot cool one while another is heated."
        )
    open_ones = [each.name for each in ranked if each.place in ("weld on", "weld", "weld soon")]
    if open_ones:
        return (
            f"Hold {names} in the oven until {listed(open_ones)} is in it too, then cool together."
        )
    return f"{names} may cool down in the oven."
