"""Procedures: the shop's own rules for welding a kind of part, in versions that never change."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from service.judge.action_base import BaseAction, Name
from service.judge.limits import Celsius, Limits
from service.judge.trip_actions import HeatPhase

Words = Annotated[str, Field(min_length=1, max_length=300)]
Minutes = Annotated[float, Field(ge=0, le=600, allow_inf_nan=False)]
CPerHour = Annotated[float, Field(gt=0, le=5000, allow_inf_nan=False)]

Confidence = Literal["read", "from memory", "common practice, no source", "the shop's own"]
"""How a value is known: read in its source, remembered, shop practice, or the shop's own word."""

STEPS_MOST = 40
VERSIONS_MOST = 1000


class Band(BaseModel):
    """A band of temperatures; an end that is absent is open [°C]."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    low_c: Celsius | None = None
    high_c: Celsius | None = None

    @model_validator(mode="after")
    def _is_open(self) -> Band:
        low, high = self.low_c, self.high_c
        if low is not None and high is not None and high <= low:
            raise ValueError(f"high_c {high:g} must be above low_c {low:g}")
        return self


class ProcedureSoak(BaseModel):
    """How long every probe of the part is to be inside a band, in the oven.

    Attributes:
        minutes: A fixed time [min].
        min_per_25_mm: By the thickest section: minutes for each 25 mm [min].
        band: Absent: between the joint's preheat minimum and its interpass maximum.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    minutes: Minutes | None = None
    min_per_25_mm: Minutes | None = None
    band: Band | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> ProcedureSoak:
        if (self.minutes is None) == (self.min_per_25_mm is None):
            raise ValueError("say minutes or min_per_25_mm, one of the two")
        return self

    def needed_min(self, thickest_mm: float | None) -> float | None:
        """The soak of a part [min]; ``None``: it goes by a thickness that is not known."""
        if self.minutes is not None:
            return self.minutes
        if thickest_mm is None or self.min_per_25_mm is None:
            return None
        return self.min_per_25_mm * thickest_mm / 25.0


class RateLimit(BaseModel):
    """Fastest heating or cooling allowed.

    Attributes:
        max_c_per_h: [°C/h], positive in both directions.
        phase: In this phase of the heat only; absent: in each.
        band: Inside this band only; absent: at any temperature.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    max_c_per_h: CPerHour
    phase: HeatPhase | None = None
    band: Band | None = None


class ProcedureTimes(BaseModel):
    """What the shop takes for each piece of work [min]; a plan begins from these.

    Attributes:
        passes_min: Each pass in turn; one more than is told here takes as long as the last.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    carry_min: Minutes | None = None
    fit_up_min: Minutes | None = None
    brush_min: Minutes | None = None
    passes_min: Annotated[tuple[Minutes, ...], Field(max_length=12)] = ()


class MeasuringPosition(BaseModel):
    """Where the temperature is measured.

    Attributes:
        place: In the shop's words.
        from_joint_mm: From the groove's edge [mm]; absent: as ISO 13916 has it for the part's
            thickness at the joint.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    place: Name
    from_joint_mm: Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)] | None = None


class ValueSource(BaseModel):
    """Where a value comes from, and how well that is known."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    source: Words
    known: Confidence


SOURCED = (
    *(f"limits.{name}" for name in Limits.model_fields),
    *(f"times.{name}" for name in ProcedureTimes.model_fields),
    "soak",
    "heating",
    "cooling",
    "gradient_max_k",
    "positions",
    "cautions",
    "steps",
)
"""What a source may be given for."""


class ProcedureFacts(BaseModel):
    """What a procedure says; nothing but the name is required, and nothing is filled in.

    Attributes:
        name: What the shop calls it.
        limits: Of both sides; without ``oxygen_max_ppm`` the purge is not judged.
        soak: In the oven, before it is taken out.
        heating, cooling: Fastest rates, besides the limit under cover in ``limits``; the record
            tells which were exceeded, no alarm does.
        gradient_max_k: Greatest difference between two probes of the part at one time [K].
        times: For the plan.
        positions: Where to measure.
        cautions: What to look out for, in the shop's words.
        steps: What to do, in order, in the shop's words; ticked off during a heat.
        sources: Where a value comes from, by its name (``SOURCED``).
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Name
    limits: Limits = Limits()
    soak: ProcedureSoak | None = None
    heating: Annotated[tuple[RateLimit, ...], Field(max_length=8)] = ()
    cooling: Annotated[tuple[RateLimit, ...], Field(max_length=8)] = ()
    gradient_max_k: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] | None = None
    times: ProcedureTimes = ProcedureTimes()
    positions: Annotated[tuple[MeasuringPosition, ...], Field(max_length=12)] = ()
    cautions: Annotated[tuple[Words, ...], Field(max_length=20)] = ()
    steps: Annotated[tuple[Words, ...], Field(max_length=STEPS_MOST)] = ()
    sources: dict[str, ValueSource] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _sources_have_values(self) -> ProcedureFacts:
        for name in self.sources:
            if name not in SOURCED:
                raise ValueError(f"sources: {name!r} is none of {', '.join(SOURCED)}")
            value: object = self
            for each in name.split("."):
                value = getattr(value, each)
            if value is None or value == ():
                raise ValueError(f"sources: {name} has a source but no value")
        return self


class WriteProcedure(BaseAction):
    """Write a procedure: a new one, or the next version of one. No version is ever changed.

    Attributes:
        procedure_id: Of which a version is written; absent: of a new one.
        after_version: The newest version that the writer has seen, 0 for a new one; refused when
            somebody else has written another since.
        by: Who writes it.
    """

    kind: Literal["write procedure"] = "write procedure"
    procedure_id: Annotated[int, Field(ge=0)] = 0
    after_version: Annotated[int, Field(ge=0, lt=VERSIONS_MOST)] = 0
    facts: ProcedureFacts
    by: Name | None = None


class UseProcedure(BaseAction):
    """Set a part to a version of a procedure: its limits become that version's, from now on.

    ``set limits`` can still give the part limits of its own afterwards. Refused while the part is
    in a heat, which keeps the version that it began with.

    Attributes:
        procedure_id: Absent: the part goes by no procedure, and keeps its limits.
        version: Of the procedure; goes with ``procedure_id``.
        limits: That version's; the service fills them in, so that the journal is complete.
        by: Who says so.
    """

    kind: Literal["use procedure"] = "use procedure"
    part_id: int
    procedure_id: Annotated[int, Field(ge=1)] | None = None
    version: Annotated[int, Field(ge=1)] | None = None
    limits: Limits | None = None
    by: Name | None = None

    @model_validator(mode="after")
    def _both_or_none(self) -> UseProcedure:
        if (self.procedure_id is None) != (self.version is None):
            raise ValueError("procedure_id and version go together: a part goes by one version")
        if self.limits is not None and self.procedure_id is None:
            raise ValueError("limits are those of a procedure: without one they stay")
        return self


class TickStep(BaseAction):
    """A step of the heat's procedure is done.

    Attributes:
        number: Which, from 1, as the version that the heat began with has them.
        by: Who says so.
    """

    kind: Literal["tick step"] = "tick step"
    heat_id: Annotated[int, Field(ge=1)]
    number: Annotated[int, Field(ge=1, le=STEPS_MOST)]
    by: Name | None = None


class TakeBackTick(BaseAction):
    """A step was ticked that is not done: a new, compensating entry; nothing is deleted."""

    kind: Literal["take back tick"] = "take back tick"
    heat_id: Annotated[int, Field(ge=1)]
    number: Annotated[int, Field(ge=1, le=STEPS_MOST)]
    by: Name | None = None
