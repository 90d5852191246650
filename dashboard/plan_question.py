"""What ``POST /api/v1/plan`` is asked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

from service.judge.actions import Metal
from service.procedure.lessons import Learnt, Quantity
from service.procedure.plan_ask import (
    AIR_C,
    CONFIDENCE,
    PastHeat,
    PlanAsk,
    PlanRefused,
    Stage,
    StageKind,
)

STAGES_MOST = 40
PAST_MOST = 50
Number = Annotated[float, Field(allow_inf_nan=False)]
Id = Annotated[int, Field(ge=1, lt=1 << 62)]


class _Asked(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class PlannedStage(_Asked):
    """One stretch of the heat after the oven door opens; see ``procedure.plan_ask.Stage``."""

    kind: StageKind
    minutes: Number
    covered: bool = False


class PastRate(_Asked):
    """How fast this part cooled in a heat before, bare on the bench."""

    rate_c_per_h: Annotated[Number, Field(gt=0, le=20_000)]
    at_c: Annotated[Number, Field(gt=0, le=1400)]


class PlanQuestion(_Asked):
    """A heat to be planned; limits and ranges as in ``procedure.plan_ask.PlanAsk``.

    Either ``preheat_min_c`` and ``stages``, or ``repeat_heat``: then limits, facts, times and gas
    are the part's and that heat's own, and nothing else but the oven, the air, the torch, the arc,
    the bottle and the confidence is said.

    Attributes:
        part_id: What this part's recorded heats taught is reckoned with.
        repeat_heat: The heat to be repeated as it was.
        argon_flow_l_min: Purge gas through the part from the purge on.
        torch_flow_l_min: Torch gas while a pass is welded.
        arc_w: Heat that the arc puts into the part.
        bottle_l: Argon left [l at 20 °C].
        thickest_mm: Thickest section, for the soak.
    """

    preheat_min_c: Number | None = None
    stages: Annotated[list[PlannedStage], Field(max_length=STAGES_MOST)] = []
    part_id: Id | None = None
    repeat_heat: Id | None = None
    metal: Metal = "iron, unknown"
    interpass_max_c: Number | None = None
    mass_kg: Number | None = None
    area_m2: Number | None = None
    thickest_mm: Number | None = None
    oven_max_c: Number = 650.0
    ambient_c: Number = AIR_C
    confidence: Number = CONFIDENCE
    argon_flow_l_min: Number = 0.0
    torch_flow_l_min: Annotated[Number, Field(ge=0, le=100)] = 0.0
    arc_w: Number = 0.0
    bottle_l: Annotated[Number, Field(ge=0, le=1e6)] | None = None
    past: Annotated[list[PastRate], Field(max_length=PAST_MOST)] = []

    @model_validator(mode="after")
    def _one_or_the_other(self) -> PlanQuestion:
        if self.repeat_heat is not None:
            if self.preheat_min_c is not None or self.stages or self.part_id is not None:
                raise ValueError(
                    "repeat_heat goes without preheat_min_c, stages and part_id: they are its own"
                )
        elif self.preheat_min_c is None or not self.stages:
            raise ValueError("preheat_min_c and stages are needed, or repeat_heat")
        return self

    def ask(self, learnt: Mapping[Quantity, Learnt]) -> PlanAsk:
        """The question as the planner takes it; not for a heat to be repeated.

        Raises:
            PlanRefused: It is no plan.
        """
        if self.preheat_min_c is None:
            raise PlanRefused("preheat_min_c is needed")
        gas_from = next((i for i, each in enumerate(self.stages) if each.kind == "purge"), None)
        stages = tuple(
            Stage(
                each.kind,
                each.minutes,
                self.argon_flow_l_min if gas_from is not None and place >= gas_from else 0.0,
                self.arc_w if each.kind == "pass" else 0.0,
                each.covered,
            )
            for place, each in enumerate(self.stages)
        )
        return PlanAsk(
            metal=self.metal,
            preheat_min_c=self.preheat_min_c,
            stages=stages,
            mass_kg=self.mass_kg,
            area_m2=self.area_m2,
            interpass_max_c=self.interpass_max_c,
            oven_max_c=self.oven_max_c,
            ambient_c=self.ambient_c,
            confidence=self.confidence,
            past=tuple(self._past()),
            learnt=learnt,
        )

    def _past(self) -> list[PastHeat]:
        for each in self.past:
            if each.at_c <= self.ambient_c:
                raise PlanRefused(
                    f"past: at_c {each.at_c:g} is not above the air's {self.ambient_c:g}"
                )
        return [
            PastHeat(each.rate_c_per_h / 3600.0, each.at_c, self.ambient_c) for each in self.past
        ]
