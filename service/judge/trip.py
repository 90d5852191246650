"""The trip of one part, step by step: where it was, what was welded, and who or what said so.

Plain values. What an action does to them is in ``trip_rules.py``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.judge.trip_actions import HeatPhase, Origin

StepKind = Literal["move part", "begin pass", "end pass", "begin purge", "end purge"]
"""What may be a step of the trip; also what an undo can take back."""

STEPS_KEPT = 20
"""Steps that can be taken back, one after the other."""
PHASES_KEPT = 50
"""Phases of a heat that are shown and may be corrected; the database keeps them all."""
PASSES_KEPT = 100
"""Passes kept for the page; the database keeps them all."""
TACK_US = 3_000_000
"""An arc shorter than this made a tack, not a pass (common practice, no source)."""


@dataclass(slots=True)
class PhaseSpan:
    """One phase of a heat; it lasts until the next one begins.

    Attributes:
        number: Its place on the trip, from 1; the last one is what an undo takes away.
        since_us, since_utc_us: When it began (shop time and UTC [µs]).
        origin: What said so; a correction is always a person's.
        corrected: A person has changed what was said first.
    """

    number: int
    phase: HeatPhase
    since_us: int
    since_utc_us: int
    origin: Origin
    corrected: bool = False


@dataclass(slots=True)
class WeldPass:
    """One weld run.

    Attributes:
        arc_us: Time the arc burnt by the arc channel [µs]; ``None``: none was watching.
        corrected: A person has changed what was said first.
    """

    number: int
    began_us: int
    began_utc_us: int
    origin: Origin
    ended_us: int | None = None
    ended_utc_us: int | None = None
    arc_us: int | None = None
    corrected: bool = False

    @property
    def tack(self) -> bool:
        """It has ended, and was so short that it only holds the tube in place."""
        if self.ended_us is None:
            return False
        lasted_us = self.ended_us - self.began_us if self.arc_us is None else self.arc_us
        return lasted_us < TACK_US


@dataclass(slots=True)
class Step:
    """One step of the trip and what it takes to take it back.

    Attributes:
        number: Counts up within the heat, from 1.
        at_us: When it happened (shop time [µs]); of one seen by readings before it was noticed.
        phase: The phase it led to, for a move.
        was_us: For a pass: when the arc had gone out before; for a purge: when it had ended.
    """

    number: int
    kind: StepKind
    at_us: int
    origin: Origin
    phase: HeatPhase | None = None
    was_us: int | None = None
