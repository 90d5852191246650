"""The procedure that a heat began with, its ticked steps, and what was not as it says."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, select

from service.judge.procedure_actions import Band, RateLimit
from service.judge.utc import utc_text
from service.records.heat_record import HeatRecord, Rate
from service.records.procedure_record import HeldProcedure, StepRecord
from service.records.run_clock import RunClock
from service.store.procedures import read_version
from service.store.schema_procedure import heat_procedure, heat_step


def soak_band_c(
    held: HeldProcedure | None, low_c: float | None, high_c: float | None
) -> tuple[float | None, float | None]:
    """The band of the soak; the joint's own limits where the procedure names none."""
    band = None if held is None or held.facts.soak is None else held.facts.soak.band
    if band is None:
        return low_c, high_c
    return (low_c if band.low_c is None else band.low_c), band.high_c


def read_held(connection: Connection, heat_id: int, clock: RunClock) -> HeldProcedure | None:
    """What a heat began with; ``None``: no procedure."""
    held = connection.execute(
        select(heat_procedure).where(heat_procedure.c.heat_id == heat_id)
    ).first()
    if held is None:
        return None
    facts = read_version(connection, held.procedure_id, held.version)
    ticks = {
        row.number: row
        for row in connection.execute(
            select(heat_step).where(heat_step.c.heat_id == heat_id, heat_step.c.back_us.is_(None))
        )
    }
    steps = []
    for number, text in enumerate(facts.steps, 1):
        tick = ticks.get(number)
        at_us = None if tick is None else clock.straight(tick.ticked_us)
        steps.append(StepRecord(number, text, at_us, None if tick is None else tick.said_by))
    return HeldProcedure(held.procedure_id, held.version, facts, tuple(steps))


def held_json(held: HeldProcedure | None) -> dict[str, Any] | None:
    """As the pages are told it (``HeldProcedure`` in openapi.json)."""
    if held is None:
        return None
    return {
        "id": held.procedure_id,
        "version": held.version,
        "name": held.facts.name,
        "steps": [
            {
                "number": each.number,
                "text": each.text,
                "ticked_at": None if each.ticked_us is None else utc_text(each.ticked_us),
                "by": each.by,
            }
            for each in held.steps
        ],
    }


def not_as_procedure(record: HeatRecord) -> Iterator[str]:
    """Soak, rates, gradient and steps that were not as the procedure says, in sentences."""
    held = record.procedure
    if held is None:
        return
    yield from _of_soak(record, held)
    for limit in held.facts.heating:
        yield from _of_rate(record, limit, up=True)
    for limit in held.facts.cooling:
        yield from _of_rate(record, limit, up=False)
    most_k = held.facts.gradient_max_k
    for each in record.figures.gradients:
        if most_k is not None and each.difference_k > most_k:
            yield (
                f"In the phase {each.phase} {each.hottest} was up to {each.difference_k:.0f} K "
                f"hotter than {each.coldest}, more than the procedure's {most_k:g} K."
            )
    if record.ended_us is not None:
        for step in held.steps:
            if step.ticked_us is None:
                yield f"Step {step.number} of the procedure was not ticked: {step.text}"


def _of_soak(record: HeatRecord, held: HeldProcedure) -> Iterator[str]:
    soak = held.facts.soak
    if soak is None:
        return
    needed_min = soak.needed_min(record.facts.thickest_mm)
    if needed_min is None:
        yield "The soak could not be checked: the part's thickest section is not known."
        return
    found = record.figures.soak
    if found is None:
        yield f"The soak of {needed_min:g} min cannot be shown from the readings."
    elif found.longest_s < needed_min * 60.0:
        yield (
            f"The longest soak was {found.longest_s / 60:.1f} min; the procedure asks for "
            f"{needed_min:g} min."
        )


def _of_rate(record: HeatRecord, limit: RateLimit, *, up: bool) -> Iterator[str]:
    fastest, where = limit.max_c_per_h, None
    for each in record.figures.rates:
        steep = each.fastest_up_c_per_h if up else each.fastest_down_c_per_h
        if steep is None or not _applies(limit, each):
            continue
        if abs(steep) > fastest:
            fastest, where = abs(steep), each
    if where is not None:
        yield (
            f"{where.channel} {'heated' if up else 'cooled'} at up to {fastest:.0f} °C/h between "
            f"{where.low_c:g} and {where.high_c:g} °C in the phase {where.phase}, above the "
            f"procedure's {limit.max_c_per_h:g} °C/h."
        )


def _applies(limit: RateLimit, rate: Rate) -> bool:
    """A band of the record counts where the limit's covers all of it: else it may be elsewhere."""
    band = limit.band or Band()
    return (
        limit.phase in (None, rate.phase)
        and (band.low_c is None or rate.low_c >= band.low_c)
        and (band.high_c is None or rate.high_c <= band.high_c)
    )
