"""A channel's past in a given number of steps: peaks kept, gaps kept as gaps.

The database does the summing. Each step tells the lowest, highest and mean good value and how
many readings were good, suspect and bad; bad and suspect values are in no figure.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median
from typing import Any

from sqlalchemy import Connection, Integer, Select, case, cast, func, select

from service.store.errors import StoreError, UnknownChannel
from service.store.schema import BAD, GOOD, SUSPECT, channel, reading, unit

POINTS_MAX = 20_000
"""More steps than this are not given at once."""

GAP_LEAST_US = 3_000_000
"""A shorter silence is never a gap [µs]; the same rule as for a stale channel."""

GAP_INTERVALS = 3
"""A silence of this many usual intervals is a gap."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a history.

    Attributes:
        t_us: Its beginning [µs UTC].
        low: Lowest good value, in the history's unit; ``None`` without a good reading.
        high: Highest good value.
        mean: Mean of the good values.
        good: Number of good readings.
        suspect: Number of suspect readings.
        bad: Number of bad readings.
    """

    t_us: int
    low: float | None
    high: float | None
    mean: float | None
    good: int
    suspect: int
    bad: int

    @property
    def is_gap(self) -> bool:
        """Nothing to draw here: a line must not be drawn across."""
        return self.good == 0


@dataclass(frozen=True, slots=True)
class History:
    """What ``Store.history`` answers.

    Attributes:
        channel: Its name.
        unit: Unit of all values; ``None`` when the channel has only ever sent faults.
        start_us: Beginning of the first step [µs UTC].
        end_us: End [µs UTC], excluded; the last step may reach beyond it.
        step_us: Width of a step [µs].
        steps: In order of time. A step without any reading is left out, save the first of each
            gap, which stands there with no value.
    """

    channel: str
    unit: str | None
    start_us: int
    end_us: int
    step_us: int
    steps: list[Step] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Summed:
    """One row of the summing query."""

    slot: int
    step: Step
    first_us: int | None
    last_us: int | None


def read_history(
    connection: Connection, name: str, start_us: int, end_us: int, points: int
) -> History:
    """Sum a channel's readings from ``start_us`` (included) to ``end_us`` (excluded).

    Args:
        connection: Open for reading.
        name: Channel name.
        start_us: Beginning [µs UTC].
        end_us: End [µs UTC], later than the beginning.
        points: About how many steps are wanted, 1 .. 20,000; never more are given, gaps' own
            steps apart.
    """
    if end_us <= start_us:
        raise StoreError(f"the end {end_us} is not after the start {start_us}")
    if not 1 <= points <= POINTS_MAX:
        raise StoreError(f"points {points} is not between 1 and {POINTS_MAX}")
    found = connection.execute(
        select(channel.c.id, unit.c.id, unit.c.name)
        .join(unit, unit.c.id == channel.c.unit_id)
        .where(channel.c.name == name)
    ).first()
    if found is None:
        raise UnknownChannel(name)
    channel_id, unit_id, unit_name = found
    step_us = max(1, -(-(end_us - start_us) // points))
    query = _summing(channel_id, unit_id, start_us, end_us, step_us)
    summed = [_summed(row, start_us, step_us) for row in connection.execute(query)]
    return History(
        channel=name,
        unit=unit_name or None,
        start_us=start_us,
        end_us=end_us,
        step_us=step_us,
        steps=_with_gaps(summed, start_us, step_us),
    )


def _summing(
    channel_id: int, unit_id: int, start_us: int, end_us: int, step_us: int
) -> Select[Any]:
    slot = cast((reading.c.t_us - start_us) // step_us, Integer).label("slot")
    # A channel that once sent another unit: those values do not belong on this axis.
    good = (reading.c.quality == GOOD) & (reading.c.unit_id == unit_id)
    value = case((good, reading.c.value))
    t_us = case((good, reading.c.t_us))
    return (
        select(
            slot,
            func.min(value).label("low"),
            func.max(value).label("high"),
            func.avg(value).label("mean"),
            func.count(value).label("good"),
            func.sum(case((reading.c.quality == SUSPECT, 1), else_=0)).label("suspect"),
            func.sum(case((reading.c.quality == BAD, 1), else_=0)).label("bad"),
            func.min(t_us).label("first_us"),
            func.max(t_us).label("last_us"),
        )
        .where(
            reading.c.channel_id == channel_id,
            reading.c.t_us >= start_us,
            reading.c.t_us < end_us,
        )
        .group_by(slot)
        .order_by(slot)
    )


def _summed(row: Any, start_us: int, step_us: int) -> _Summed:
    step = Step(
        t_us=start_us + row.slot * step_us,
        low=row.low,
        high=row.high,
        mean=row.mean,
        good=row.good,
        suspect=row.suspect,
        bad=row.bad,
    )
    return _Summed(row.slot, step, row.first_us, row.last_us)


def _with_gaps(summed: list[_Summed], start_us: int, step_us: int) -> list[Step]:
    """The steps, and one without a value in each silence that is too long for the channel."""
    limit_us = _silence_us(summed)
    steps: list[Step] = []
    before: _Summed | None = None
    for item in summed:
        if item.step.is_gap:
            steps.append(item.step)
            continue
        if (
            before is not None
            and before.last_us is not None
            and item.first_us is not None
            and item.first_us - before.last_us > limit_us
            and not steps[-1].is_gap
            and item.slot > before.slot + 1
        ):
            steps.append(Step(start_us + (before.slot + 1) * step_us, None, None, None, 0, 0, 0))
        steps.append(item.step)
        before = item
    return steps


def _silence_us(summed: list[_Summed]) -> float:
    """The longest silence that is still usual here [µs]."""
    intervals: list[float] = []
    before_us: int | None = None
    for item in summed:
        if item.first_us is None or item.last_us is None:
            continue
        if item.step.good > 1:
            intervals.append((item.last_us - item.first_us) / (item.step.good - 1))
        if before_us is not None:
            intervals.append(item.first_us - before_us)
        before_us = item.last_us
    usual_us = median(intervals) if intervals else 0.0
    return max(GAP_LEAST_US, GAP_INTERVALS * usual_us)
