"""Which temperatures a joint is judged by, when its two sides have limits of their own.

A casting may ask for at least 250 °C where the stainless tube beside it must stay below 175 °C. No
temperature keeps both; then somebody has to say which side governs, and until that is said nothing
is judged. Where the sides leave a window open together, both are kept and nobody is asked.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from service.judge.actions import JointSide, Limits
from service.judge.shop import Part
from service.judge.words import degrees, listed


@dataclass(frozen=True, slots=True)
class InForce:
    """The temperatures that count now.

    Attributes:
        preheat_min_c: The least the joint may have before a pass [°C].
        interpass_max_c: The most it may have before the next pass [°C].
        conflict: What the sides want, when both cannot be kept and nobody has chosen; then there
            are no limits.
        set_aside: What the side that does not govern would have wanted, in words.
    """

    preheat_min_c: float | None
    interpass_max_c: float | None
    conflict: str | None = None
    set_aside: str | None = None


@dataclass(frozen=True, slots=True)
class _Side:
    name: JointSide
    low_c: float | None
    high_c: float | None

    @property
    def wants(self) -> str:
        ends = []
        if self.low_c is not None:
            ends.append(f"at least {degrees(self.low_c)}")
        if self.high_c is not None:
            ends.append(f"at most {degrees(self.high_c)}")
        return f"the {self.name} wants {listed(ends)}"


def in_force(part: Part | Limits) -> InForce:
    """The limits of both sides together, or those of the side that governs."""
    casting = _Side("casting", part.preheat_min_c, part.interpass_max_c)
    tube = _Side("tube", part.tube_preheat_min_c, part.tube_interpass_max_c)
    low_c = _pick(max, casting.low_c, tube.low_c)
    high_c = _pick(min, casting.high_c, tube.high_c)
    if low_c is None or high_c is None or low_c < high_c:
        return InForce(low_c, high_c)
    if part.governing_side is None:
        return InForce(None, None, conflict=f"{casting.wants}, {tube.wants}")
    first, second = (casting, tube) if part.governing_side == "casting" else (tube, casting)
    return _governed(first, second)


def _governed(first: _Side, second: _Side) -> InForce:
    """The first side's limits, and those of the second that leave them a window."""
    low_c, high_c, dropped = first.low_c, first.high_c, []
    if second.low_c is not None:
        if high_c is None or second.low_c < high_c:
            low_c = _pick(max, low_c, second.low_c)
        else:
            dropped.append(f"at least {degrees(second.low_c)}")
    if second.high_c is not None:
        if low_c is None or second.high_c > low_c:
            high_c = _pick(min, high_c, second.high_c)
        else:
            dropped.append(f"at most {degrees(second.high_c)}")
    words = f"the {first.name} governs; the {second.name}'s {listed(dropped)} is set aside"
    return InForce(low_c, high_c, set_aside=words)


def _pick(
    choose: Callable[[list[float]], float], one: float | None, other: float | None
) -> float | None:
    known = [value for value in (one, other) if value is not None]
    return choose(known) if known else None
