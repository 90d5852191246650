"""What a plan is asked, and what it answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from service.procedure.lessons import Learnt, Quantity
from service.readings import Spread

StageKind = Literal["carry", "fit-up", "brush", "purge", "pass", "pause"]

AIR_C = 20.0
CONFIDENCE = 0.9


class PlanRefused(ValueError):
    """What was asked is no plan; one sentence."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One stretch of the heat after the oven door opens.

    Attributes:
        kind: What is done.
        minutes: For how long [min].
        argon_flow_l_min: Purge gas through the part meanwhile [l/min at 20 °C].
        arc_w: Heat the arc puts into the part (voltage x current x arc efficiency) [W].
        covered: Under a blanket.
    """

    kind: StageKind
    minutes: float
    argon_flow_l_min: float = 0.0
    arc_w: float = 0.0
    covered: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.minutes <= 600:
            raise PlanRefused(f"{self.kind}: minutes {self.minutes:g} is not between 0 and 600")
        if not 0 <= self.argon_flow_l_min <= 100:
            raise PlanRefused(
                f"{self.kind}: argon_flow_l_min {self.argon_flow_l_min:g} is not between 0 and 100"
            )
        if not 0 <= self.arc_w <= 20_000:
            raise PlanRefused(f"{self.kind}: arc_w {self.arc_w:g} is not between 0 and 20,000")


@dataclass(frozen=True, slots=True)
class PastHeat:
    """How the part lost heat in one heat before, measured bare on the bench.

    Attributes:
        rate_k_s: Cooling rate of its coldest joint channel [K/s], positive.
        at_c: Temperature at which [°C].
        ambient_c: Air then [°C].
    """

    rate_k_s: float
    at_c: float
    ambient_c: float = AIR_C


@dataclass(frozen=True, slots=True)
class PlanAsk:
    """A heat to be planned.

    Attributes:
        metal: Casting metal, see ``service.judge.actions.Metal``.
        preheat_min_c: The joint must be above this at the start of each pass and at the end of the
            last [°C].
        stages: In their order, from the oven door on.
        mass_kg, area_m2: Of the casting; without both the plan works from what castings span.
        interpass_max_c: The joint must be below this when the first pass begins [°C].
        oven_max_c: What the oven, or the procedure, allows [°C].
        ambient_c: Air [°C].
        confidence: With which the joint shall be above its minimum, 0.5 to 0.99.
        past: Heats of this very part, oldest first, as somebody says.
        learnt: What the part's recorded heats taught.
    """

    metal: str
    preheat_min_c: float
    stages: tuple[Stage, ...]
    mass_kg: float | None = None
    area_m2: float | None = None
    interpass_max_c: float | None = None
    oven_max_c: float = 650.0
    ambient_c: float = AIR_C
    confidence: float = CONFIDENCE
    past: tuple[PastHeat, ...] = ()
    learnt: Mapping[Quantity, Learnt] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.ambient_c < self.preheat_min_c <= 700:
            raise PlanRefused(
                f"preheat_min_c {self.preheat_min_c:g} is not between the air's "
                f"{self.ambient_c:g} and 700"
            )
        if self.interpass_max_c is not None and self.interpass_max_c <= self.preheat_min_c:
            raise PlanRefused(
                f"interpass_max_c {self.interpass_max_c:g} is not above preheat_min_c "
                f"{self.preheat_min_c:g}"
            )
        if not self.preheat_min_c < self.oven_max_c <= 1200:
            raise PlanRefused(
                f"oven_max_c {self.oven_max_c:g} is not between preheat_min_c "
                f"{self.preheat_min_c:g} and 1200"
            )
        if not 0.5 <= self.confidence <= 0.99:
            raise PlanRefused(f"confidence {self.confidence:g} is not between 0.5 and 0.99")
        if not any(stage.kind == "pass" for stage in self.stages):
            raise PlanRefused("there is no pass among the stages: nothing to be hot for")
        for name in ("mass_kg", "area_m2"):
            value = getattr(self, name)
            if value is not None and not 0 < value <= 5000:
                raise PlanRefused(f"{name} {value:g} is not between 0 and 5000")


@dataclass(frozen=True, slots=True)
class StageOutlook:
    """The joint's temperature when a stage begins [°C]."""

    kind: StageKind
    begins_min: float
    temperature_c: Spread


@dataclass(frozen=True, slots=True)
class PlanAnswer:
    """What the plan says.

    Attributes:
        set_point_c: For the oven, the part soaked through [°C]; ``None`` where no setting will do.
        stages: How it goes from there (from the highest setting allowed, where none will do).
        end_c: At the end of the last pass [°C].
        ready_share: Of the possible heats, how many keep the joint above its minimum.
        below_interpass_share: How many are below the interpass maximum when the first pass begins;
            ``None`` without one.
        spare_min: How much later the first pass may begin with the same confidence [min].
        argon_w: Heat the purge gas carries off when the first pass begins, at most [W]; ``None``
            without mass.
        argon_share: Its share of all that is lost then; ``None`` without mass and area.
        argon_k: What the gas costs until the end of the last pass [K].
        why: Reasons and warnings, in sentences.
        remedies: What would make an impossible plan possible.
    """

    set_point_c: float | None
    stages: list[StageOutlook]
    end_c: Spread
    ready_share: float
    below_interpass_share: float | None
    spare_min: float
    argon_w: float | None
    argon_share: float | None
    argon_k: float
    why: list[str] = field(default_factory=list)
    remedies: list[str] = field(default_factory=list)
