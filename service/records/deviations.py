"""What was not as the limits say, and what the record cannot show, each in one sentence.

A list that is empty says that nothing of the kind was found in what was recorded, and no more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from service.judge.actions import Limits
from service.records.heat_record import Deviation, HeatRecord, PassRecord
from service.records.held_procedure import not_as_procedure
from service.records.moments import CARRIED, joined

CARRY_MAX_S = 300.0
"""How long probes may be unplugged where the limits say nothing, as in the judge [s]."""


def with_deviations(record: HeatRecord) -> HeatRecord:
    """The same record with its deviations listed, those at a moment in order of time."""
    found = [
        *_of_passes(record),
        *_of_figures(record),
        *(Deviation(None, text) for text in not_as_procedure(record)),
        *_of_alarms(record),
        *_of_sensors(record),
        *_of_clock(record),
        *_of_record(record),
    ]
    found.sort(key=lambda each: (each.at_us is not None, each.at_us or 0))
    return replace(record, deviations=tuple(found))


def limits_at(record: HeatRecord, at_us: int) -> Limits:
    """The part's limits that held at a moment."""
    held = [each for each in record.limits if each.from_us <= at_us] or list(record.limits[:1])
    return held[-1].limits if held else Limits()


def _of_passes(record: HeatRecord) -> Iterator[Deviation]:
    for each in record.passes:
        limits = limits_at(record, each.begun_us)
        low_c, high_c = joined(limits)
        at_us, name = each.begun_us, f"Pass {each.number}"
        if each.coldest_c is None:
            yield Deviation(at_us, f"{name} began while no thermocouple of the part could be read.")
        elif low_c is not None and each.coldest_c < low_c:
            yield Deviation(
                at_us,
                f"{name} began at {each.coldest_c:.0f} °C at the coldest probe, below the preheat "
                f"minimum of {low_c:g} °C.",
            )
        if each.hottest_c is not None and high_c is not None and each.hottest_c > high_c:
            yield Deviation(
                at_us,
                f"{name} began at {each.hottest_c:.0f} °C at the hottest probe, above the "
                f"interpass maximum of {high_c:g} °C.",
            )
        yield from _of_purge(each, limits.oxygen_max_ppm)
        if each.verdict is not None and each.verdict != "ready":
            yield Deviation(at_us, f"{name} began while the verdict was {each.verdict}.")
        if each.ended_us is None:
            yield Deviation(at_us, f"{name} has no recorded end.")


def _of_purge(each: PassRecord, limit_ppm: float | None) -> Iterator[Deviation]:
    if limit_ppm is None:
        return
    highest_ppm = max(
        (ppm for ppm in (each.oxygen_ppm, each.oxygen_high_ppm) if ppm is not None), default=None
    )
    if highest_ppm is None:
        yield Deviation(
            each.begun_us,
            f"Pass {each.number}: oxygen was not measured; the limit of {limit_ppm:g} ppm was "
            "judged by flow alone.",
        )
    elif highest_ppm > limit_ppm:
        yield Deviation(
            each.begun_us,
            f"Pass {each.number}: oxygen up to {highest_ppm:.0f} ppm, above the limit of "
            f"{limit_ppm:g} ppm.",
        )


def _of_figures(record: HeatRecord) -> Iterator[Deviation]:
    found = record.figures
    if found.below_preheat_s:
        yield Deviation(
            None,
            f"Between the first arc and the last the coldest probe was below the preheat minimum "
            f"for {found.below_preheat_s / 60:.1f} min.",
        )
    if found.unread_s:
        yield Deviation(
            None,
            f"Between the first arc and the last no thermocouple could be read for "
            f"{found.unread_s / 60:.1f} min.",
        )
    if record.passes and found.last_arc_to_cover_s is None:
        yield Deviation(None, "No cover after the last arc is recorded.")
    limit = limits_at(record, record.to_us).cooling_max_c_per_h
    covered = [
        (-each.fastest_down_c_per_h, each)
        for each in found.rates
        if each.phase == "slow cool" and each.fastest_down_c_per_h is not None
    ]
    if limit is not None and covered:
        fastest, where = max(covered, key=lambda pair: pair[0])
        if fastest > limit:
            yield Deviation(
                None,
                f"Under cover {where.channel} cooled at up to {fastest:.0f} °C/h between "
                f"{where.low_c:g} and {where.high_c:g} °C, above the limit of {limit:g} °C/h.",
            )


def _of_alarms(record: HeatRecord) -> Iterator[Deviation]:
    for alarm in record.alarms:
        yield Deviation(alarm.raised_us, f"Alarm, {alarm.kind}: {alarm.text}")


def _of_sensors(record: HeatRecord) -> Iterator[Deviation]:
    probes = [each for each in record.channels if each.of_part and each.kind == "thermocouple"]
    if not probes:
        yield Deviation(None, "No thermocouple was on the part.")
    for each in record.channels:
        if not each.of_part:
            continue
        held = [one for one in each.calibrations if one.checks]
        if each.kind in ("thermocouple", "oxygen", "gas flow") and not held:
            yield Deviation(None, f"{each.name} has no recorded calibration.")
        for one in held:
            if one.due_us is not None and one.due_us < record.to_us:
                yield Deviation(
                    one.due_us if one.due_us > record.begun_us else None,
                    f"The calibration of {each.name} was overdue.",
                )


def _of_clock(record: HeatRecord) -> Iterator[Deviation]:
    for change in record.clock_changes:
        when = "while the service was away" if change.restart else "during the heat"
        yield Deviation(
            change.at_us,
            f"The wall clock was corrected by {change.by_us / 1e6:+.3f} s {when}; what "
            "was stamped before is told here as the corrected clock would have shown it.",
        )


def _of_record(record: HeatRecord) -> Iterator[Deviation]:
    if record.ended_us is None:
        yield Deviation(None, "The heat was still open when this was made.")
    for phase in record.phases:
        if phase.said_by is not None:
            yield Deviation(
                phase.from_us, f"Phase {phase.phase} was said afterwards by {phase.said_by}."
            )
    carry_max_s = limits_at(record, record.to_us).carry_max_s or CARRY_MAX_S
    for gap in record.gaps:
        if gap.why == CARRIED and gap.to_us - gap.from_us <= carry_max_s * 1e6:
            continue  # how it has to be: nobody carries a casting by its wires
        whose = "The record" if gap.channel is None else gap.channel
        length_s = (gap.to_us - gap.from_us) / 1e6
        yield Deviation(gap.from_us, f"{whose} has a gap of {length_s:.0f} s: {gap.why}.")
