"""When the ten-step colour scale of AWS D18.2 may be used for a root, and when not.

The scale compares the root of a stainless tube with samples welded under so much oxygen. Whatever
else has tinted the metal makes the comparison worthless: iron has no such colours, and preheat in
air tints stainless by itself. Where it cannot be known, the scale is refused, with the reason.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from service.judge.actions import Metal, PartFacts
from service.records.heat_record import DatedLimits
from service.records.moments import joined

SAMPLE_PPM = (10, 25, 50, 100, 200, 500, 1000, 5000, 12_500, 25_000)
"""Oxygen in the argon that the sample of each step was welded under [ppm] (AWS D18.2:2009).
A guide to colours and no gas limit: moisture, dirt and finish change them too."""

TINTS_FROM_C = 250.0
"""Stainless that has been so hot in air may be tinted [°C]. An hour at 290 °C gives the palest
yellow (published tint charts, read second-hand); longer tints deeper, so 40 K less (common
practice, no source)."""

STAINLESS_CASTINGS: frozenset[Metal] = frozenset(
    (
        "cast austenitic stainless",
        "heat-resistant stainless, high carbon",
        "heat-resistant stainless, ferritic",
    )
)

_GRADES = (
    "201|202|301|302|303|304|305|308|309|310|316|317|321|330|347|348|"
    "409|410|430|434|436|439|441|444|446"
)
"""Numbers of AISI for stainless steels that tube is made of."""
_STAINLESS = re.compile(
    rf"\bstainless\b|\binox\b|\b(?:aisi|tp|ss)?[\s-]?(?:{_GRADES})(?:l|h|ti|n|ln|nb|cb|s)?\b"
    rf"(?!\s*(?:mm|cm|m|l|°|x|×)\b)|\b1\.4[0-8]\d\d\b|\bs[234]\d{{4}}\b",
    re.IGNORECASE,
)
"""Words, AISI, EN 10088 (1.40xx to 1.48xx) and UNS numbers that say stainless."""
_BY_CHROMIUM = re.compile(r"\bx\d+cr[a-z]*(\d+)", re.IGNORECASE)
"""A name of EN 10088-1, such as X5CrNi18-10: the first number after the symbols is chromium [%]."""
_NOT = re.compile(r"\b(?:not|no|non|isn't)[\s-]*stainless\b", re.IGNORECASE)


def says_stainless(words: str | None) -> bool:
    """Whether a metal named in the shop's own words is stainless for sure."""
    if words is None or _NOT.search(words):
        return False
    chromium = _BY_CHROMIUM.search(words)
    return bool(_STAINLESS.search(words)) or (chromium is not None and int(chromium[1]) >= 11)


def why_not(
    facts: PartFacts, limits: Sequence[DatedLimits], in_oven: bool, hottest_c: float | None
) -> str | None:
    """Why the scale is not for this root, in one sentence; ``None``: it is.

    Args:
        facts: Of the part, as known now.
        limits: Every version that held during the heat.
        in_oven: The part was in the oven in this heat.
        hottest_c: The highest that a probe of the part has shown before the first pass and while
            it was in the oven [°C]; ``None``: none was read.
    """
    if facts.metal not in STAINLESS_CASTINGS and not says_stainless(facts.joining_metal):
        tube = f"“{facts.joining_metal}”" if facts.joining_metal else "not said"
        return (
            "The colour scale is for stainless, never for iron. "
            f"The casting is {facts.metal} and the joining metal is {tube}: where the tube is "
            "stainless, say so in the facts of the part, such as “stainless 316L”."
        )
    floors = [low for low in (joined(each.limits)[0] for each in limits) if low is not None]
    if floors and max(floors) >= TINTS_FROM_C:
        return (
            f"The joint had to be at {max(floors):g} °C or more before any pass: preheat from "
            f"{TINTS_FROM_C:g} °C may tint stainless by itself, and the colour says nothing."
        )
    if hottest_c is not None and hottest_c >= TINTS_FROM_C:
        return (
            f"A probe of the part has shown {hottest_c:.0f} °C before the first pass or in the "
            f"oven: preheat from {TINTS_FROM_C:g} °C may tint stainless by itself, and the colour "
            "says nothing."
        )
    if hottest_c is None and (in_oven or floors):
        return (
            "The part was preheated and no probe says how hot: it may have been tinted before it "
            "was welded."
        )
    return None
