"""Checks at the bench for an iron that nobody knows: what each tells, and what it does not.

None of them names the iron for certain and none says how to weld it; an analysis does, or the
foundry. All rows are from memory or shop practice and say so.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.procedure.metals import Known


@dataclass(frozen=True, slots=True)
class IronCheck:
    """One check.

    Attributes:
        name: What it is called in the trade.
        how: What to do, and what makes it unsafe or void.
        tells: What it tells.
        tells_not: What it does not tell.
        source: Where the row comes from; never empty.
        known: How well.
    """

    name: str
    how: str
    tells: str
    tells_not: str
    source: str
    known: Known


CHECKS = (
    IronCheck(
        "spark",
        "Touch the casting to a clean grinding wheel in the shade, beside a piece of known iron "
        "and one of mild steel. Eye protection; nothing that burns nearby.",
        "Short, dull red streams that end in small tufts: an iron with much carbon. Long, bright, "
        "straw-coloured streams: steel.",
        "Grey from ductile iron: their sparks differ too little to go by.",
        "workshop spark charts",
        "from memory",
    ),
    IronCheck(
        "chip",
        "Cut the edge of a place that does not matter with a sharp chisel or a file.",
        "A chip that crumbles, dark and dirty on the finger: grey iron. One that curls before it "
        "breaks: ductile or malleable iron, or steel. Not to be cut at all: white iron or a hard "
        "spot.",
        "What lies below the skin: the surface may be chilled, decarburised or burnt by service.",
        "workshop practice",
        "from memory",
    ),
    IronCheck(
        "magnet",
        "A magnet on a thread, on bare metal, the casting cold.",
        "It is not drawn: austenitic iron or austenitic stainless. It is drawn: any other iron, "
        "steel or ferritic stainless.",
        "Which of the magnetic ones; a weak pull says nothing: scale, a thin wall and cold work "
        "change it.",
        "magnetism of ferrite and austenite",
        "from memory",
    ),
    IronCheck(
        "ring",
        "Hang the casting up free, all bolts and studs out, and strike it lightly.",
        "A clear ring: more likely ductile iron or steel. A dull one: more likely grey iron, or "
        "a crack.",
        "Which of the two it is when dull; shape and size change the tone as much as the iron "
        "does. Compare with a like casting of known iron.",
        "workshop practice",
        "common practice, no source",
    ),
)  # fmt: skip
"""None replaces another; where two disagree the iron stays unknown."""
