"""What came of a heat and what it took, as plain data; part of its record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ArcBasis = Literal["arc channel", "taps", "arc channel and taps"]
TorchBasis = Literal["meter", "setting"]


@dataclass(frozen=True, slots=True)
class Measured:
    """One dimension before and after the heat [mm]."""

    name: str
    before_mm: float | None
    after_mm: float | None


@dataclass(frozen=True, slots=True)
class OutcomeRecord:
    """One saying of what came of the heat; see ``service.judge.outcome_actions.SayOutcome``.

    ``at_us`` is the wall clock's [µs UTC] when it was said, which may be years after the heat.
    """

    at_us: int
    by: str | None
    cracked: str | None
    root: str | None
    root_photo: str | None
    oxygen_colour: int | None
    penetration: str | None
    dimensions: tuple[Measured, ...]
    text: str | None

    @property
    def says_something(self) -> bool:
        """``False``: what was said before is taken back."""
        said = (self.cracked, self.root, self.oxygen_colour, self.penetration, self.text)
        return any(each is not None for each in said) or bool(self.dimensions)


@dataclass(frozen=True, slots=True)
class PhotoRecord:
    """A photo of the heat, or of its part; ``of`` is part, root or heat."""

    sha256: str
    of: str
    media_type: str
    size_bytes: int
    caption: str | None
    by: str | None
    added_us: int


@dataclass(frozen=True, slots=True)
class Work:
    """What a heat took, for a quotation.

    Attributes:
        total_s: From its begin to its end [s].
        oven_s: Of these in the oven [s].
        arc_s: The arc burnt [s], by its channel, or as taps told it.
        purge_l: Argon through the cavity [l at 20 °C, 1 atm]; ``None``: not metered throughout.
        torch_l: Argon through the torch while its passes ran; before and after a bead it is not
            counted. ``None``: neither metered nor set.
    """

    total_s: float
    oven_s: float
    arc_s: float
    arc_by: ArcBasis | None
    purge_l: float | None
    torch_l: float | None
    torch_by: TorchBasis | None
