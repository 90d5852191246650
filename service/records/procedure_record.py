"""The procedure that a heat began with, as plain data; part of its record."""

from __future__ import annotations

from dataclasses import dataclass

from service.judge.procedure_actions import ProcedureFacts


@dataclass(frozen=True, slots=True)
class StepRecord:
    """A step; ``ticked_us``: when it was ticked and not taken back [µs UTC]."""

    number: int
    text: str
    ticked_us: int | None
    by: str | None


@dataclass(frozen=True, slots=True)
class HeldProcedure:
    """One version of a procedure, as it was when the heat began."""

    procedure_id: int
    version: int
    facts: ProcedureFacts
    steps: tuple[StepRecord, ...]

    @property
    def named(self) -> str:
        """Name and version, as they are told."""
        return f"{self.facts.name}, version {self.version}"
