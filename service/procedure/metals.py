"""Ranges by casting metal, to begin a procedure from: suggestions, never limits by themselves.

Each row says where it comes from and how well that is known. The foundry's and the filler maker's
data, a qualified procedure and a local code go first (``DEFERS_TO``). EN 1011-2 does not cover
castings and is not used here. A window may lack a lower end (cast austenitic stainless), and no
row has a cooling rate: "slow" means the time from the last arc to the cover. A shop that knows
better edits a row with :func:`edited` and names its own source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

Known = Literal["read", "from memory", "common practice, no source"]
"""How a row is known: read in its source, remembered, or shop practice."""

DEFERS_TO = (
    "The foundry's and the filler maker's data, a qualified procedure and local codes go first."
)
PREHEAT_BAND_C = (20.0, 650.0)
"""Never past dull red: 650 °C (oxy-fuel handbook, read)."""


@dataclass(frozen=True, slots=True)
class Range:
    """What is usual for one metal. No cooling rate and no oxygen limit: those belong to the job.

    Attributes:
        preheat_c: Lowest and highest usual preheat [°C], within 20 to 650, by the hot method;
            ``None``: none is used, or none can be given for all of them.
        interpass_max_c: Usual highest interpass temperature by the hot method [°C]; ``None``: not
            given (the preheat's upper end is then the usual guide).
        cooling: How it is cooled, in words.
        caution: What to look out for.
        source: Where the row comes from; never empty.
        known: How well.
        cold_method: How it is welded nearly cold, in words; empty: it is not usual.
        cold_interpass_max_c: Highest temperature beside the bead by the cold method [°C].
        cold_known: How well the cold method is known.

    Raises:
        ValueError: a temperature outside its range, ends the wrong way round, or no source.
    """

    preheat_c: tuple[float, float] | None
    interpass_max_c: float | None
    cooling: str
    caution: str
    source: str
    known: Known
    cold_method: str = ""
    cold_interpass_max_c: float | None = None
    cold_known: Known = "common practice, no source"

    def __post_init__(self) -> None:
        low, high = PREHEAT_BAND_C
        for name, value in (
            ("preheat_c", self.preheat_c[0] if self.preheat_c else None),
            ("preheat_c", self.preheat_c[1] if self.preheat_c else None),
            ("interpass_max_c", self.interpass_max_c),
            ("cold_interpass_max_c", self.cold_interpass_max_c),
        ):
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                raise ValueError(f"{name} {value!r} must lie in {low:g} to {high:g} °C")
        if self.preheat_c is not None and not self.preheat_c[0] <= self.preheat_c[1]:
            first, last = self.preheat_c
            raise ValueError(f"preheat_c {first:g} to {last:g} °C: the lower end comes first")
        if not self.source.strip():
            raise ValueError("source must say where the row comes from")
        for name, known in (("known", self.known), ("cold_known", self.cold_known)):
            if known not in get_args(Known):
                raise ValueError(f"{name} {known!r} must be one of {', '.join(get_args(Known))}")

    @property
    def shown_source(self) -> str:
        """The source as it is shown beside the row, with how far it is confirmed."""
        if self.known == "read":
            return self.source
        return f"{self.source}; {self.known}, confirm"


_SHORT_BEADS = (
    "nickel filler, beads of 20 to 30 mm, each peened at once and left until a hand bears it"
)
"""Practised welders' rule for iron; no source was read."""

RANGES: dict[str, Range] = {
    "iron, unknown": Range(
        (260.0, 330.0), None, "slow, covered",
        "where all irons' ranges meet; try a short bead on a corner that does not matter",
        "overlap of the rows for grey and pearlitic ductile iron", "common practice, no source",
        _SHORT_BEADS, 60.0,
    ),
    "grey iron": Range(
        (260.0, 650.0), None, "under a blanket, in vermiculite or in the oven, overnight",
        "heat slowly and the whole casting, and hold it there; never past dull red; "
        "300 to 330 °C is given for arc welding (from memory); bake oil out at 370 °C or more "
        "for about an hour",
        "repair handbook page citing AWS A5.15", "read",
        _SHORT_BEADS, 60.0,
    ),
    "ductile iron": Range(
        (150.0, 315.0), None, "slow, covered",
        "ferritic 100 to 200 °C where thick or complex; pearlitic or heat-treated at least 250; "
        "highly stressed 320 to 330",
        "repair handbook page citing AWS A5.15; welding institute's answer on spheroidal irons",
        "read",
        _SHORT_BEADS, 60.0,
    ),
    "compacted graphite iron": Range(
        (150.0, 300.0), None, "slow, covered", "as ductile iron", "as ductile iron", "from memory",
        _SHORT_BEADS, 60.0,
    ),
    "malleable iron": Range(
        (300.0, 330.0), None, "slow, covered",
        "pearlitic; ferritic up to 150 °C; brazing is often the better repair",
        "welding institute's job sheet on cast irons", "from memory",
        _SHORT_BEADS, 60.0,
    ),
    "high-silicon-molybdenum ductile iron": Range(
        (250.0, 400.0), None, "slow, no draught", "brittle when cold: no cold method",
        "foundry practice", "from memory",
    ),
    "austenitic iron": Range(
        (300.0, 350.0), None, "slow",
        "flake grades; the cold way is for the grades that are welded with little heat",
        "guide of the nickel producers, text not seen", "from memory",
        "some grades at 20 to 150 °C, thin electrodes, short beads, little heat", 150.0,
        "from memory",
    ),
    "cast austenitic stainless": Range(
        None, 150.0, "in air",
        "no preheat; not for high-carbon or ferritic heat-resistant grades, which have own rows",
        "welding practice for austenitic castings (150 to 175 °C)", "from memory",
    ),
    "heat-resistant stainless, high carbon": Range(
        None, None, "as the foundry says",
        "0.2 to 0.5 % carbon (manifolds, furnace parts): after service often brittle; the limits "
        "of low-carbon castings do not hold; ask the foundry, and for a solution anneal first",
        "no table was read", "from memory",
    ),
    "heat-resistant stainless, ferritic": Range(
        (150.0, 300.0), None, "slow, covered; no long stay between 400 and 550 °C",
        "brittle when cold and after service near 475 °C; grain grows with heat: small beads",
        "practice for ferritic chromium steels", "from memory",
    ),
    "carbon steel": Range(
        None, None, "by the procedure",
        "preheat follows from composition, thickness and hydrogen: see the procedure",
        "no table is meant for all of them", "common practice, no source",
    ),
}  # fmt: skip
"""Usual ranges by metal (the words of ``service.judge.actions.Metal``); starting points to edit."""


def edited(metal: str, *, source: str, known: Known, **values: Any) -> Mapping[str, Range]:
    """The table with one row changed by the shop; the shipped table stays as it is.

    Args:
        metal: Which row; one that the table does not have yet begins empty.
        source: Where the shop's figures come from; must be named.
        known: How well they are known.
        **values: Other attributes of :class:`Range` to change, in its units.

    Returns:
        All rows, the changed one among them.

    Raises:
        ValueError: no metal or source named, a value outside its range, an unknown attribute.
    """
    if not metal.strip():
        raise ValueError("metal must be named")
    unknown = sorted(set(values) - set(Range.__dataclass_fields__))
    if unknown:
        allowed = ", ".join(Range.__dataclass_fields__)
        raise ValueError(f"{', '.join(unknown)}: a row has only {allowed}")
    before = RANGES.get(metal, Range(None, None, "slow", "", "the shop's own row", known))
    return RANGES | {metal: replace(before, source=source, known=known, **values)}
