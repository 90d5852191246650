"""Ranges by casting metal, to begin a procedure from: suggestions, never limits by themselves.

Each row says where it comes from and how well that is known. A local code, the job's own procedure
or qualified practice goes first. EN 1011-2 does not cover castings and is not used here. A window
may lack a lower end (cast austenitic stainless) and most rows lack a cooling figure: "slow" then
means the time from the last arc to the cover.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Known = Literal["read", "from memory", "common practice, no source"]
"""How a row is known: read in its source, remembered, or shop practice."""


@dataclass(frozen=True, slots=True)
class Range:
    """What is usual for one metal. No cooling rate and no oxygen limit: those belong to the job.

    Attributes:
        preheat_c: Lowest and highest usual preheat [°C]; ``None``: none is used.
        interpass_max_c: Usual highest interpass temperature [°C]; ``None``: not given.
        cooling: How it is cooled, in words.
        caution: What to look out for.
        source: Where the row comes from.
        known: How well.
    """

    preheat_c: tuple[float, float] | None
    interpass_max_c: float | None
    cooling: str
    caution: str
    source: str
    known: Known


RANGES: dict[str, Range] = {
    "iron, unknown": Range(
        (260.0, 330.0), None, "slow, covered",
        "where all irons' ranges meet; try a short bead on a corner that does not matter",
        "overlap of the rows for grey and pearlitic ductile iron", "common practice, no source",
    ),
    "grey iron": Range(
        (260.0, 650.0), None, "under a blanket, in vermiculite or in the oven, overnight",
        "heat slowly and the whole casting; never past dull red",
        "repair handbook page citing AWS A5.15", "read",
    ),
    "ductile iron": Range(
        (150.0, 315.0), None, "slow, covered",
        "ferritic 100 to 200 °C; pearlitic or heat-treated at least 250; if stressed 320 to 330",
        "repair handbook page citing AWS A5.15; welding institute's answer on spheroidal irons",
        "read",
    ),
    "compacted graphite iron": Range(
        (150.0, 300.0), None, "slow, covered", "as ductile iron", "as ductile iron", "from memory",
    ),
    "malleable iron": Range(
        (300.0, 330.0), None, "slow, covered",
        "pearlitic; ferritic up to 150 °C; brazing is often the better repair",
        "welding institute's job sheet on cast irons", "from memory",
    ),
    "high-silicon-molybdenum ductile iron": Range(
        (250.0, 400.0), None, "slow, no draught", "brittle when cold",
        "foundry practice", "from memory",
    ),
    "austenitic iron": Range(
        (300.0, 350.0), None, "slow",
        "flake grades; some grades are welded at 20 to 150 °C with little heat",
        "guide of the nickel producers", "from memory",
    ),
    "cast austenitic stainless": Range(
        None, 150.0, "in air",
        "no preheat; not for high-carbon or ferritic heat-resistant grades",
        "welding practice for austenitic castings (150 to 175 °C)", "from memory",
    ),
    "carbon steel": Range(
        None, None, "by the procedure",
        "preheat follows from composition, thickness and hydrogen: see the procedure",
        "no table is meant for all of them", "common practice, no source",
    ),
}  # fmt: skip
"""Usual ranges by metal (the words of ``service.judge.actions.Metal``); starting points to edit."""
