"""The API for plans of heats. Asking changes nothing, so any device that may see may ask."""

from __future__ import annotations

from typing import Annotated

from flask import Blueprint, Response, request
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from dashboard.answers import json_answer
from dashboard.guard import check_sender
from dashboard.problems import Problem, faults
from service.judge.actions import Metal
from service.procedure.plan import plan_heat
from service.procedure.plan_ask import (
    AIR_C,
    CONFIDENCE,
    PastHeat,
    PlanAsk,
    PlanRefused,
    Stage,
    StageKind,
)
from service.procedure.plan_words import (
    CAUTION,
    document,
    gas_of,
    gas_words,
    lead,
    reasons,
    soak_min,
)

plans = Blueprint("plans", __name__)

STAGES_MOST = 40
PAST_MOST = 50
Number = Annotated[float, Field(allow_inf_nan=False)]


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

    Attributes:
        argon_flow_l_min: Purge gas through the part from the purge on.
        torch_flow_l_min: Torch gas while a pass is welded.
        arc_w: Heat that the arc puts into the part.
        bottle_l: Argon left [l at 20 °C].
        thickest_mm: Thickest section, for the soak.
    """

    preheat_min_c: Number
    stages: Annotated[list[PlannedStage], Field(min_length=1, max_length=STAGES_MOST)]
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

    def ask(self) -> PlanAsk:
        """The question as the planner takes it.

        Raises:
            PlanRefused: It is no plan.
        """
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


@plans.post("/api/v1/plan")
def plan() -> Response:
    """Plan a heat: how hot the oven, how it goes from there, and what it takes."""
    check_sender()
    try:
        asked = PlanQuestion.model_validate_json(request.get_data())
    except ValidationError as error:
        found = faults(error)
        raise Problem(
            422, "bad-plan", "; ".join(f"{f['field']}: {f['message']}" for f in found), found
        ) from None
    try:
        ask, soak = asked.ask(), soak_min(asked.thickest_mm)
    except PlanRefused as refusal:
        raise Problem(422, "bad-plan", str(refusal)) from None
    answer = plan_heat(ask)
    gas = gas_of(ask, asked.torch_flow_l_min, asked.bottle_l)
    words = {
        "lead": lead(ask, answer, soak),
        "gas": gas_words(answer, gas),
        "reasons": reasons(answer),
        "caution": CAUTION,
    }
    return json_answer(document(answer, gas, soak) | {"words": words})
