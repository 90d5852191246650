"""What a part goes by, and the steps that are ticked, for the bench answer."""

from __future__ import annotations

from service.judge.outlook import PartProcedureJson
from service.judge.procedure_rules import has_own_limits, version_of
from service.judge.shop import Heat, Part, Shop
from service.judge.utc import utc_text


def procedure_json(shop: Shop, part: Part, heat: Heat | None) -> PartProcedureJson | None:
    """Of the running heat, which keeps its own; else of the part; ``None``: no procedure."""
    holder = part if heat is None else heat
    if holder.procedure_id is None or holder.procedure_version is None:
        return None
    version = version_of(shop, holder.procedure_id, holder.procedure_version)
    ticks = {} if heat is None else heat.ticks
    return {
        "id": holder.procedure_id,
        "version": holder.procedure_version,
        "newest": len(shop.procedures[holder.procedure_id]),
        "name": version.name,
        "own_limits": has_own_limits(shop, part),
        "cautions": version.cautions,
        "steps": [
            {
                "number": number,
                "text": text,
                "ticked_at": utc_text(ticks[number].at_utc_us) if number in ticks else None,
                "by": ticks[number].by if number in ticks else None,
            }
            for number, text in enumerate(version.steps, 1)
        ],
    }
