"""A heat that was, as a plan: the same setting, times and gas again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from service.judge.actions import (
    ChangePart,
    CreatePart,
    Limits,
    PartFacts,
    SetLimits,
    UseProcedure,
    any_action,
)
from service.judge.joint_limits import in_force
from service.procedure.plan_ask import PlanAsk, PlanRefused, Stage, StageKind
from service.records.heat_record import HeatRecord, PassRecord
from service.records.teaching import Taught, Teaching
from service.store.database import Store
from service.store.schema import journal

LEAST_MIN = 0.05
"""Stretches shorter than this are left out."""
BOUND_C = 1200.0


@dataclass(frozen=True, slots=True)
class Repeat:
    """What a heat comes to as a plan.

    Attributes:
        ask: With the part's limits and facts of today, and what was learnt since.
        set_c: The oven's setting.
        said: Somebody had said so; else it is what the joint had at the oven's door.
        thickest_mm: For the soak.
    """

    heat_id: int
    part_id: int
    ask: PlanAsk
    set_c: float
    said: bool
    thickest_mm: float | None

    @property
    def words(self) -> str:
        """What is repeated, in a sentence."""
        how = "as the oven was set" if self.said else "what the joint had at the oven's door"
        return f"Heat {self.heat_id} once more: {self.set_c:.0f} °C, {how}."

    def told(self) -> dict[str, Any]:
        """As JSON (``RepeatedHeat`` in openapi.json)."""
        return {
            "heat_id": self.heat_id,
            "part_id": self.part_id,
            "set_point_c": round(self.set_c, 1),
            "setting_said": self.said,
            "stages": [
                {
                    "kind": each.kind,
                    "minutes": each.minutes,
                    "argon_flow_l_min": round(each.argon_flow_l_min, 2),
                    "covered": each.covered,
                }
                for each in self.ask.stages
            ],
        }


def repeat_of(
    teaching: Teaching, heat_id: int, *, oven_max_c: float, ambient_c: float, confidence: float,
    arc_w: float = 0.0,
) -> Repeat:  # fmt: skip
    """Heat ``heat_id`` once more.

    Raises:
        UnknownHeat: There is none of that number.
        StoreError: The database cannot be read.
        PlanRefused: It cannot be repeated; says why.
    """
    taught = teaching.heat(heat_id)
    record = taught.record
    limits, facts = of_today(teaching.store, record.part_id)
    low_c, high_c = in_force(limits).preheat_min_c, in_force(limits).interpass_max_c
    if low_c is None:
        raise PlanRefused(f"{facts.name} has no preheat minimum: set it first")
    if taught.set_c is None and taught.door_c is None:
        raise PlanRefused(
            f"heat {heat_id} cannot be repeated: nobody said what the oven was set to, and no "
            "probe was read as the part left it"
        )
    set_c = taught.set_c if taught.set_c is not None else taught.door_c
    learnt = dict(teaching.part(record.part_id).learnt)
    if taught.set_c is None:
        learnt.pop("oven above its setting", None)  # it is the part's own temperature already
    ask = PlanAsk(
        metal=facts.metal,
        preheat_min_c=low_c,
        stages=stages_of(taught, arc_w),
        mass_kg=facts.mass_kg,
        area_m2=facts.area_m2,
        interpass_max_c=high_c,
        oven_max_c=oven_max_c,
        ambient_c=ambient_c,
        confidence=confidence,
        learnt=learnt,
    )
    return Repeat(
        heat_id, record.part_id, ask, min(set_c or 0.0, BOUND_C), taught.set_c is not None,
        facts.thickest_mm,
    )  # fmt: skip


def stages_of(taught: Taught, arc_w: float) -> tuple[Stage, ...]:
    """What was done from the oven's door to the end of the last pass, and for how long.

    Raises:
        PlanRefused: It had no pass, was never in the oven, or went back into it between passes.
    """
    record = taught.record
    number = record.heat_id
    if record.ended_us is None:
        raise PlanRefused(f"heat {number} is still open: end it before it is repeated")
    passes = [each for each in record.passes if each.ended_us is not None]
    if not passes:
        raise PlanRefused(f"heat {number} had no pass: there is nothing to repeat")
    ovens = [each for each in record.phases if each.phase == "oven"]
    first_us, last_us = passes[0].begun_us, passes[-1].ended_us or passes[-1].begun_us
    if not ovens or ovens[0].from_us > first_us:
        raise PlanRefused(f"heat {number} did not begin in the oven: its setting is not known")
    if any(first_us < each.from_us < last_us for each in ovens):
        raise PlanRefused(
            f"heat {number} went back into the oven between passes: plan each trip by itself"
        )
    door_us = max(each.to_us for each in ovens if each.from_us < first_us)
    return tuple(_stages(record, passes, door_us, (taught.flow_l_min or 0.0, arc_w)))


def _stages(
    record: HeatRecord, passes: list[PassRecord], door_us: int, gas_and_arc: tuple[float, float]
) -> list[Stage]:
    flow_l_min, arc_w = gas_and_arc
    first_us = passes[0].begun_us
    landed_us = min(
        [each.to_us for each in record.phases
         if each.phase == "carry" and door_us <= each.to_us <= first_us] or [door_us]
    )  # fmt: skip
    gas_us = min(
        [max(each.begun_us, door_us) for each in record.purges if each.begun_us <= first_us]
        or [first_us]
    )
    gas_us = max(gas_us, landed_us)
    gas_l_min = flow_l_min if record.purges else 0.0
    found = [
        _stage("carry", door_us, landed_us),
        _stage("fit-up", landed_us, gas_us),
        _stage("purge", gas_us, first_us, gas_l_min),
    ]
    before: PassRecord | None = None
    for each in passes:
        if before is not None:
            from_us = before.ended_us or before.begun_us
            covered = any(
                phase.phase == "slow cool"
                and phase.from_us < each.begun_us
                and phase.to_us > from_us
                for phase in record.phases
            )
            found.append(_stage("pause", from_us, each.begun_us, gas_l_min, covered=covered))
        ended_us = each.ended_us or each.begun_us
        found.append(_stage("pass", each.begun_us, ended_us, gas_l_min, arc_w=arc_w))
        before = each
    return [each for each in found if each.kind == "pass" or each.minutes >= LEAST_MIN]


def _stage(
    kind: StageKind, from_us: int, to_us: int, gas_l_min: float = 0.0, *, arc_w: float = 0.0,
    covered: bool = False,
) -> Stage:  # fmt: skip
    minutes = round(max(to_us - from_us, 0) / 60e6, 2)
    return Stage(kind, minutes, gas_l_min, arc_w, covered)


def of_today(store: Store, part_id: int) -> tuple[Limits, PartFacts]:
    """A part's limits and facts as said last.

    Raises:
        PlanRefused: There is no such part.
    """
    limits, facts = Limits(), None
    kinds = ("create part", "change part", "set limits", "use procedure")
    with store.connect() as connection:
        rows = connection.execute(
            select(journal.c.body).where(journal.c.kind.in_(kinds)).order_by(journal.c.seq)
        ).scalars()
        for body in rows:
            action = any_action.validate_json(body)
            if getattr(action, "part_id", None) != part_id:
                continue
            if isinstance(action, CreatePart | SetLimits):
                limits = action.limits
            if isinstance(action, UseProcedure) and action.limits is not None:
                limits = action.limits
            if isinstance(action, CreatePart | ChangePart):
                facts = action.facts
    if facts is None:
        raise PlanRefused(f"there is no part {part_id}")
    return limits, facts
