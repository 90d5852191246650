"""A channel's past in a given number of steps: peaks kept, gaps kept as gaps.

The database does the summing. Each step tells the lowest, highest and mean good value and how
many readings were good, suspect and bad; bad and suspect values are in no figure.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median
from typing import Any

from sqlalchemy import Connection, Integer, Select, cast, select

from service.store.errors import StoreError, UnknownChannel
from service.store.history_calibrated import as_calibrated, read_calibrations
from service.store.history_emf import EMF_UNIT, in_degrees
from service.store.history_steps import Step
from service.store.retention import finest_span_s
from service.store.roll_up import SECOND_US, SPANS_S, Where, rolled_seq, since
from service.store.schema import channel, reading, rollup, unit
from service.store.summing import Figures, raw_figures, rolled_figures

POINTS_MAX = 20_000
"""More steps than this are not given at once."""

SLOTS_LEAST = 2
"""A step is summed from roll-up slots only if it is this many of them wide."""

GAP_LEAST_US = 3_000_000
"""A shorter silence is never a gap [µs]; the same rule as for a stale channel."""

GAP_INTERVALS = 3
"""A silence of this many usual intervals is a gap."""


@dataclass(frozen=True, slots=True)
class History:
    """What ``Store.history`` answers.

    Attributes:
        channel: Its name.
        unit: Unit of all values; ``None`` when the channel has only ever sent faults.
        start_us: Beginning of the first step [µs UTC]. A long history is laid onto whole slots
            of the roll-up: it may begin and end up to half a step further out than asked.
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
    found = connection.execute(_COLUMNS.where(channel.c.name == name)).first()
    if found is None:
        raise UnknownChannel(name)
    finest_s = finest_span_s(connection, start_us, end_us)
    grid = Grid.over(start_us, end_us, points, finest_s)
    steps = _with_gaps(_sum(connection, found.id, found.unit_id, grid), grid)
    unit_name = found.unit or None
    if found.thermocouple is not None and unit_name == EMF_UNIT:
        ends = connection.execute(_COLUMNS.where(channel.c.id == found.cold_junction_id)).one()
        terminals = as_calibrated(
            _with_gaps(_sum(connection, ends.id, ends.unit_id, grid), grid),
            read_calibrations(connection, ends.id),
        )
        steps, unit_name = in_degrees(found.thermocouple, steps, terminals, grid.step_us), "Cel"
    steps = as_calibrated(steps, read_calibrations(connection, found.id))
    return History(
        channel=name,
        unit=unit_name,
        start_us=grid.start_us,
        end_us=grid.end_us,
        step_us=grid.step_us,
        steps=steps,
    )


_COLUMNS = select(
    channel.c.id,
    channel.c.thermocouple,
    channel.c.cold_junction_id,
    channel.c.unit_id,
    unit.c.name.label("unit"),
).join(unit, unit.c.id == channel.c.unit_id)


@dataclass(frozen=True, slots=True)
class Grid:
    """Where the steps lie, and from what they are summed.

    Attributes:
        start_us: Beginning of the first step [µs UTC].
        end_us: Nothing at or after this is summed [µs UTC].
        step_us: Width of a step [µs].
        span_s: Width of the roll-up's slots to sum from [s]; ``None`` sums readings.
    """

    start_us: int
    end_us: int
    step_us: int
    span_s: int | None

    @classmethod
    def over(cls, start_us: int, end_us: int, points: int, finest_s: int = 0) -> Grid:
        """Lay the steps over a stretch; onto the roll-up's slots where these are fine enough.

        ``finest_s``: Slots narrower than this are no longer kept there, nor readings; 0: all are.
        """
        step_us = max(1, -(-(end_us - start_us) // points), finest_s * SECOND_US)
        spans_s = [
            span_s
            for span_s in SPANS_S
            if span_s == finest_s
            or (span_s > finest_s and span_s * SECOND_US * SLOTS_LEAST <= step_us)
        ]
        if not spans_s:
            return cls(start_us, end_us, step_us, None)
        slot_us = spans_s[-1] * SECOND_US
        return cls(
            start_us // slot_us * slot_us,
            -(-end_us // slot_us) * slot_us,
            -(-step_us // slot_us) * slot_us,
            spans_s[-1],
        )

    def t_us(self, index: int) -> int:
        """Beginning of a step."""
        return self.start_us + index * self.step_us


def _sum(
    connection: Connection, channel_id: int, unit_id: int, grid: Grid
) -> list[tuple[int, Figures]]:
    """Every step that has readings, by index, in order."""
    index = cast((reading.c.t_us - grid.start_us) // grid.step_us, Integer).label("step")
    # A channel that once sent another unit: those values do not belong on this axis.
    raw = select(index, *raw_figures(reading.c.unit_id == unit_id)).group_by(index)
    where = Where(channel_id, grid.start_us, grid.end_us)
    if grid.span_s is None:
        queries = [raw.where(*where.found_by_time(grid.start_us))]
    else:
        queries = [
            _rolled(channel_id, unit_id, grid, grid.span_s),
            *since(connection, raw, rolled_seq(connection), where),
        ]
    sums: dict[int, Figures] = {}
    for query in queries:
        for step, *values in connection.execute(query):
            if step in sums:
                sums[step].add(Figures(*values))
            else:
                sums[step] = Figures(*values)
    return sorted(sums.items())


def _rolled(channel_id: int, unit_id: int, grid: Grid, span_s: int) -> Select[Any]:
    slot_us = span_s * SECOND_US
    first = grid.start_us // slot_us
    index = cast((rollup.c.slot - first) // (grid.step_us // slot_us), Integer).label("step")
    return (
        select(index, *rolled_figures(rollup.c.unit_id == unit_id))
        .where(
            rollup.c.span_s == span_s,
            rollup.c.channel_id == channel_id,
            # Always true, and lets the slots be found by the key, unit by unit; without it every
            # slot that the channel has ever had is looked at.
            rollup.c.unit_id.in_(select(unit.c.id)),
            rollup.c.slot >= first,
            rollup.c.slot < grid.end_us // slot_us,
        )
        .group_by(index)
    )


def _step(figures: Figures, t_us: int) -> Step:
    return Step(
        t_us=t_us,
        low=figures.low,
        high=figures.high,
        mean=figures.total / figures.good if figures.total is not None else None,
        good=figures.good,
        suspect=figures.suspect,
        bad=figures.bad,
    )


def _with_gaps(summed: list[tuple[int, Figures]], grid: Grid) -> list[Step]:
    """The steps, and one without a value in each silence that is too long for the channel."""
    limit_us = _silence_us([figures for _, figures in summed])
    steps: list[Step] = []
    before_index, before_us = 0, None
    for index, figures in summed:
        if figures.first_us is not None:
            if (
                before_us is not None
                and figures.first_us - before_us > limit_us
                and not steps[-1].is_gap
                and index > before_index + 1
            ):
                steps.append(Step(grid.t_us(before_index + 1), None, None, None, 0, 0, 0))
            before_index, before_us = index, figures.last_us
        steps.append(_step(figures, grid.t_us(index)))
    return steps


def _silence_us(summed: list[Figures]) -> float:
    """The longest silence that is still usual here [µs]."""
    intervals: list[float] = []
    before_us: int | None = None
    for figures in summed:
        if figures.first_us is None or figures.last_us is None:
            continue
        if figures.good > 1:
            intervals.append((figures.last_us - figures.first_us) / (figures.good - 1))
        if before_us is not None:
            intervals.append(figures.first_us - before_us)
        before_us = figures.last_us
    usual_us = median(intervals) if intervals else 0.0
    return max(GAP_LEAST_US, GAP_INTERVALS * usual_us)
