"""A plan as it is told: one JSON object for programs, sentences for a person."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from service.physics.weld_heat import preheat_soak_min
from service.procedure.plan_ask import PlanAnswer, PlanAsk, PlanRefused
from service.readings import Spread

CAUTION = (
    "A plan advises. The qualified procedure, the foundry's and the filler maker's data come "
    "first; bake wet cavities dry before they are heated; hot castings burn."
)


@dataclass(frozen=True, slots=True)
class Gas:
    """What the stages use [l at 20 °C], and what there is."""

    purge_l: float
    torch_l: float
    bottle_l: float | None

    @property
    def enough(self) -> bool | None:
        return None if self.bottle_l is None else self.bottle_l >= self.purge_l + self.torch_l


def gas_of(ask: PlanAsk, torch_flow_l_min: float, bottle_l: float | None) -> Gas:
    """The argon that the planned stages use.

    Args:
        torch_flow_l_min: Torch gas while a pass is welded [l/min at 20 °C].
        bottle_l: What is left [l at 20 °C]; ``None``: not known.
    """
    purge_l = sum(stage.minutes * stage.argon_flow_l_min for stage in ask.stages)
    torch_l = sum(stage.minutes * torch_flow_l_min for stage in ask.stages if stage.kind == "pass")
    return Gas(purge_l, torch_l, bottle_l)


def soak_min(thickest_mm: float | None) -> float | None:
    """Soak for the thickest section [min], see ``physics.weld_heat.preheat_soak_min``.

    Raises:
        PlanRefused: The thickness is out of its range.
    """
    if thickest_mm is None:
        return None
    try:
        return preheat_soak_min(thickest_mm)
    except ValueError as error:
        raise PlanRefused(str(error)) from error


def document(
    answer: PlanAnswer,
    gas: Gas,
    soak: float | None,
    repeats: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """The plan as JSON (``Plan`` in openapi.json); ``repeats``: the heat that it repeats."""
    return {
        "set_point_c": answer.set_point_c,
        "soak_min": None if soak is None else round(soak, 1),
        "stages": [
            {
                "kind": stage.kind,
                "begins_min": round(stage.begins_min, 2),
                "temperature_c": _spread(stage.temperature_c),
            }
            for stage in answer.stages
        ],
        "end_c": _spread(answer.end_c),
        "ready_share": round(answer.ready_share, 3),
        "below_interpass_share": answer.below_interpass_share,
        "spare_min": answer.spare_min,
        "argon": {
            "heat_w": None if answer.argon_w is None else round(answer.argon_w, 1),
            "share": None if answer.argon_share is None else round(answer.argon_share, 3),
            "cooling_k": round(answer.argon_k, 1),
            "purge_l": round(gas.purge_l, 1),
            "torch_l": round(gas.torch_l, 1),
            "enough": gas.enough,
        },
        "repeats": repeats,
        "why": answer.why,
        "remedies": answer.remedies,
    }


def _spread(spread: Spread) -> dict[str, float | None]:
    high = None if spread.p95 is None else round(spread.p95, 1)
    return {"p05": round(spread.p05, 1), "p50": round(spread.p50, 1), "p95": high}


def lead(ask: PlanAsk, answer: PlanAnswer, soak: float | None) -> list[str]:
    """What to set, how long to soak, and how much later one may begin."""
    if answer.set_point_c is None:
        return ["No setting of the oven will do."]
    lines = [
        f"Set the oven to {answer.set_point_c:.0f} °C: the joint then stays above "
        f"{ask.preheat_min_c:g} °C to the end of the last pass in {answer.ready_share:.0%} of "
        "such heats."
    ]
    if soak is not None:
        lines.append(f"Soak {soak:.0f} min more, once the probe on the thickest section is there.")
    spare = f"{answer.spare_min:g} min later than planned" if answer.spare_min else "as planned"
    return [*lines, f"The first pass begins {spare} at the latest."]


def gas_words(answer: PlanAnswer, gas: Gas) -> list[str]:
    """What the argon comes to, and what it costs in heat."""
    if gas.purge_l + gas.torch_l <= 0:
        return []
    lines = [f"Argon: {gas.purge_l:.0f} l for the purge, {gas.torch_l:.0f} l for the torch."]
    if gas.enough is False:
        lines.append(f"The bottle does not hold that: {gas.bottle_l:.0f} l are left.")
    if answer.argon_w is not None:
        share = "" if answer.argon_share is None else f", {answer.argon_share:.0%} of all it loses"
        lines.append(
            f"The gas carries off at most {answer.argon_w:.0f} W{share}: "
            f"{answer.argon_k:.0f} K in all."
        )
    return lines


def reasons(answer: PlanAnswer) -> list[str]:
    """Why, and what would make an impossible plan possible."""
    lines = [f"{text[:1].upper()}{text[1:]}." for text in answer.why]
    lines += [f"It would do with {text}." for text in answer.remedies]
    if answer.set_point_c is None and not answer.remedies:
        lines.append("No blanket, shorter fit-up or re-heat alone would make it possible.")
    return lines
