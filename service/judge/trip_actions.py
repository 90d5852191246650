"""What can be said of a part's trip: its moves, its purge, its passes, and what was not so."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from service.judge.action_base import BaseAction, Name

HeatPhase = Literal["oven", "carry", "bench", "slow cool"]
"""Where a part is on its trip. Passes are marked apart: welding happens on the bench."""

Origin = Literal["tap", "button", "readings"]
"""What said that a step was taken: a tap on a page, the "next" button, or the readings."""

YEAR_2100_US = 4_102_444_800_000_000
"""Begin of the year 2100 UTC: a slip, not a moment of a heat."""


class BeginHeat(BaseAction):
    """A part's trip begins, in the oven or (already hot) on the bench.

    ``oven_set_c``: What the oven is set to [°C]; absent: not said.
    """

    kind: Literal["begin heat"] = "begin heat"
    heat_id: int = 0
    part_id: int
    phase: Literal["oven", "bench"] = "oven"
    oven_set_c: Annotated[float, Field(ge=0, le=1400, allow_inf_nan=False)] | None = None


class MovePart(BaseAction):
    """The part changes place: into the carry, onto the bench, under cover, back to the oven."""

    kind: Literal["move part"] = "move part"
    heat_id: int
    phase: HeatPhase


class EndHeat(BaseAction):
    """The trip is over."""

    kind: Literal["end heat"] = "end heat"
    heat_id: int


class PinHeat(BaseAction):
    """Keep every reading of a heat for good, whatever is thrown away by age; or no longer.

    Attributes:
        pinned: ``False`` takes the pin off.
    """

    kind: Literal["pin heat"] = "pin heat"
    heat_id: Annotated[int, Field(ge=1)]
    pinned: bool = True


class WriteNote(BaseAction):
    """Something worth knowing later about a heat.

    Attributes:
        text: In the shop's own words.
        by: Who writes it.
        about_us: The moment it is about, by the clock the heat's record is told by [µs UTC];
            absent: that at which it is written.
    """

    kind: Literal["write note"] = "write note"
    heat_id: Annotated[int, Field(ge=1)]
    text: Annotated[str, Field(min_length=1, max_length=1000)]
    by: Name | None = None
    about_us: Annotated[int, Field(ge=0, lt=YEAR_2100_US)] | None = None


class BeginPurge(BaseAction):
    """The cavity is closed and gas is (about to be) on: the clearing counts from here."""

    kind: Literal["begin purge"] = "begin purge"
    heat_id: int


class EndPurge(BaseAction):
    """Gas off on purpose: nothing to judge any more."""

    kind: Literal["end purge"] = "end purge"
    heat_id: int


class BeginPass(BaseAction):
    """Arc on."""

    kind: Literal["begin pass"] = "begin pass"
    heat_id: int


class EndPass(BaseAction):
    """Arc out."""

    kind: Literal["end pass"] = "end pass"
    heat_id: int


class NextStep(BaseAction):
    """The one obvious next step of a heat, whatever it is now; refused when there is none."""

    kind: Literal["next step"] = "next step"
    heat_id: int


class UndoStep(BaseAction):
    """Take back the last step of a heat: a new, compensating entry; nothing is deleted.

    Attributes:
        number: The step meant; refused when another has been taken since.
    """

    kind: Literal["undo step"] = "undo step"
    heat_id: int
    number: Annotated[int, Field(ge=1)]


class CorrectPhase(BaseAction):
    """Say afterwards what a phase of a heat was, when it began, or that it never was.

    No reading is touched. The record and the timers follow the correction; the cooldown models,
    which have seen the readings already, are told of a new place from now on.

    Attributes:
        number: Its place on the trip, from 1.
        phase: What it was; absent: as said before.
        began_us: When it began [µs UTC]; absent: as said before.
        never: It never was: the phase before it went on.
        by: Who says so.
    """

    kind: Literal["correct phase"] = "correct phase"
    heat_id: int
    number: Annotated[int, Field(ge=1)]
    phase: HeatPhase | None = None
    began_us: Annotated[int, Field(ge=0, lt=1 << 62)] | None = None
    never: bool = False
    by: Name | None = None

    @model_validator(mode="after")
    def _says_something(self) -> CorrectPhase:
        if self.never and (self.phase is not None or self.began_us is not None):
            raise ValueError("never goes without phase and began_us: what never was has neither")
        if not self.never and self.phase is None and self.began_us is None:
            raise ValueError("say phase, began_us or never: otherwise nothing is corrected")
        return self


class CorrectPass(BaseAction):
    """Say afterwards when a pass began or ended, or that it never was.

    No reading is touched, and the arc's own time stays as its channel measured it.

    Attributes:
        number: The number of the pass.
        began_us, ended_us: When the arc was struck and when it went out [µs UTC]; absent: as said
            before.
        never: It never was: an arc of another job, a slip of the glove.
        by: Who says so.
    """

    kind: Literal["correct pass"] = "correct pass"
    heat_id: int
    number: Annotated[int, Field(ge=1)]
    began_us: Annotated[int, Field(ge=0, lt=1 << 62)] | None = None
    ended_us: Annotated[int, Field(ge=0, lt=1 << 62)] | None = None
    never: bool = False
    by: Name | None = None

    @model_validator(mode="after")
    def _says_something(self) -> CorrectPass:
        timed = self.began_us is not None or self.ended_us is not None
        if self.never and timed:
            raise ValueError("never goes without began_us and ended_us: what never was has neither")
        if not self.never and not timed:
            raise ValueError("say began_us, ended_us or never: otherwise nothing is corrected")
        return self


class AnswerQuestion(BaseAction):
    """Say which part is meant, where the readings or the button left it open.

    ``heat_id`` absent: none of them.
    """

    kind: Literal["answer question"] = "answer question"
    question_id: int
    heat_id: int | None
