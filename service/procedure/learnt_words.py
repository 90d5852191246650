"""What was learnt of a part, in words and as JSON: how much, how sure, where it was seen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from service.procedure.lessons import IN_KELVIN, Learnt, Quantity
from service.procedure.loss_law import Shape, relative_rate
from service.procedure.plan_ask import PlanAsk, StageOutlook
from service.readings import Spread

UNITS: dict[Quantity, str] = {
    "loss carried": "K/min",
    "loss bare": "K/min",
    "loss on cold steel": "times bare",
    "loss under cover": "K/min",
    "loss in the oven off": "K/min",
    "cavity volume": "l",
    "cavity mixing": "of a stirred vessel",
    "cavity leak": "l/min",
    "oven time": "min",
    "oven above its setting": "K",
    "oven overshoot": "K",
}
PER_MINUTE = "K/min"
BARE: Quantity = "loss bare"


def learnt_json(learnt: Learnt, metal: str) -> dict[str, Any]:
    """One quantity (``Learnt`` in openapi.json); a loss is told in the middle of its range."""
    unit, at_c, factor = UNITS[learnt.quantity], None, 1.0
    if unit == PER_MINUTE:
        at_c = round((learnt.low + learnt.high) / 2)
        shape: Shape = "bare" if learnt.quantity in ("loss carried", "loss bare") else "covered"
        factor = 60.0 * float(relative_rate(np.array(float(at_c)), metal, shape))
    of_gas = learnt.quantity.startswith("cavity")
    return {
        "quantity": learnt.quantity,
        "value": _told(learnt.value, factor),
        "next": _told(learnt.next, factor),
        "unit": unit,
        "at_c": at_c,
        "between": (
            round(learnt.pooled.between, 2)
            if learnt.quantity in IN_KELVIN
            else round(learnt.pooled.between, 3)
        ),
        "seen": {"low": learnt.low, "high": learnt.high, "unit": "l/min" if of_gas else "Cel"},
        "heat_ids": list(learnt.heat_ids),
    }


def _told(spread: Spread, factor: float) -> dict[str, float]:
    high = spread.p95 if spread.p95 is not None else spread.p50
    return {
        name: float(f"{value * factor:.4g}")
        for name, value in (("p05", spread.p05), ("p50", spread.p50), ("p95", high))
    }


def learnt_words(ask: PlanAsk, stages: Sequence[StageOutlook]) -> list[str]:
    """That a plan rests on the part's own heats, and where it leaves what they showed."""
    off = ask.learnt.get("oven above its setting")
    oven = []
    if off is not None and abs(off.pooled.mean) >= 1.0:
        where = "above" if off.pooled.mean > 0 else "below"
        oven = [
            f"the part comes to rest {abs(off.pooled.mean):.0f} K {where} the oven's setting: "
            "that is allowed for"
        ]
    learnt = ask.learnt.get(BARE)
    if learnt is None:
        return oven
    count = len(learnt.heat_ids)
    heats = "one heat" if count == 1 else f"{count} heats"
    lines = [
        f"{heats} of this part taught how it cools bare, between {learnt.low:.0f} and "
        f"{learnt.high:.0f} °C"
    ]
    low_c, high_c = learnt.believed_c()
    coldest = min([each.temperature_c.p50 for each in stages] + [ask.preheat_min_c])
    hottest = max(each.temperature_c.p50 for each in stages)
    beyond = [
        text
        for leaves, text in (
            (hottest > high_c, f"above {high_c:.0f} °C"),
            (coldest < low_c, f"below {low_c:.0f} °C"),
        )
        if leaves
    ]
    if beyond:
        lines.append(
            f"this plan goes where no heat of it has been, {' and '.join(beyond)}: there it is "
            "reckoned as without history"
        )
    return lines + oven
