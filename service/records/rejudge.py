"""A heat judged again from what was recorded of it: do its verdicts follow from its readings?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain

from service.judge.actions import BeginHeat, ServiceStarted
from service.judge.events import (
    Acted,
    Advance,
    AlarmChange,
    Outcome,
    Refused,
    TripChange,
    VerdictChange,
)
from service.readings import Reading
from service.rebuild import rebuild
from service.records.package import Package

Change = AlarmChange | VerdictChange | TripChange


@dataclass(frozen=True, slots=True)
class Rejudged:
    """What came of it.

    Attributes:
        compared: Recorded changes of the heat: its verdicts, its steps, its part's alarms.
        missing: Recorded, but not concluded again.
        extra: Concluded now, but not recorded.
        refused: Actions that were accepted then and are refused now.
    """

    compared: int
    missing: tuple[Change, ...]
    extra: tuple[Change, ...]
    refused: tuple[str, ...]

    @property
    def same(self) -> bool:
        """Nothing differs."""
        return not (self.missing or self.extra or self.refused)


def rejudge(package: Package) -> Rejudged:
    """Judge the heat again. Alarms are compared but for their numbers, which count a whole shop."""
    concluded, refused = _judge(package)
    recorded = _of_heat(package, package.changes)
    again = _of_heat(package, concluded)
    return Rejudged(
        len(recorded),
        tuple(sorted(recorded - again, key=_when)),
        tuple(sorted(again - recorded, key=_when)),
        tuple(refused),
    )


def _when(change: Change) -> tuple[int, str]:
    return change.mono_us, str(change)


def _judge(package: Package) -> tuple[Outcome, list[str]]:
    judge = rebuild(package, before_seq=package.first_seq)
    outcome, refused = Outcome(), list[str]()
    mono_us, offset_us = 0, 0
    for event in chain(package.events(package.first_seq, package.last_seq), package.after):
        seq, mono_us, utc_us = moment_of(event)
        offset_us = utc_us - mono_us
        if is_cold_start(event) and seq > package.first_seq:
            judge = rebuild(package, before_seq=seq)
        try:
            _add(outcome, judge.step(event))
        except Refused as refusal:
            refused.append(f"action {seq}: {refusal}")
    changes = package.changes
    moments = [each.mono_us for each in changes.alarms]
    moments += [each.mono_us for each in changes.verdicts]
    moments += [each.mono_us for each in changes.trips]
    end_us = max(moments, default=mono_us)
    if end_us > mono_us:
        _add(outcome, judge.step(Advance(end_us, end_us + offset_us)))
    return outcome, refused


def is_cold_start(event: Reading | Acted) -> bool:
    """Whether the service came up here without a checkpoint: its judge was rebuilt."""
    return (
        isinstance(event, Acted)
        and isinstance(event.action, ServiceStarted)
        and event.action.checkpoint_seq is None
    )


def moment_of(event: Reading | Acted) -> tuple[int, int, int]:
    """Place in the order, monotonic and UTC arrival [µs]."""
    if isinstance(event, Reading):
        return event.seq, event.mono_us, event.arrived_us
    return event.stamp.seq, event.stamp.mono_us, event.stamp.utc_us


def _add(outcome: Outcome, more: Outcome) -> None:
    outcome.alarms += more.alarms
    outcome.verdicts += more.verdicts
    outcome.trips += more.trips


def _of_heat(package: Package, changes: Outcome) -> set[Change]:
    (begun,) = [
        each
        for each in package.acted
        if isinstance(each.action, BeginHeat) and each.action.heat_id == package.heat_id
    ]
    part_id = begun.action.part_id if isinstance(begun.action, BeginHeat) else None
    return {
        *(each for each in changes.verdicts if each.heat_id == package.heat_id),
        *(each for each in changes.trips if each.heat_id == package.heat_id),
        *(
            replace(each, alarm_id=0)
            for each in changes.alarms
            if each.part_id == part_id and each.mono_us >= begun.stamp.mono_us
        ),
    }
