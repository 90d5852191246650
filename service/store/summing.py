"""Readings summed up: the figures of a step of history, and of a slot of the roll-up.

All sums are made by the database. The figures are of good readings in one unit; the others are
only counted.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from operator import add
from typing import Any

from sqlalchemy import ColumnElement, case, func

from service.store.schema import BAD, GOOD, SUSPECT, reading, rollup


@dataclass(slots=True)
class Figures:
    """Lowest, highest and sum of good values, how many of each quality, first and last time."""

    low: float | None
    high: float | None
    total: float | None
    good: int
    suspect: int
    bad: int
    first_us: int | None
    last_us: int | None

    def add(self, other: Figures) -> None:
        """Take in what another has summed up."""
        self.low = _either(min, self.low, other.low)
        self.high = _either(max, self.high, other.high)
        self.total = _either(add, self.total, other.total)
        self.good += other.good
        self.suspect += other.suspect
        self.bad += other.bad
        self.first_us = _either(min, self.first_us, other.first_us)
        self.last_us = _either(max, self.last_us, other.last_us)

    def copy(self) -> Figures:
        """The same, to be added to."""
        return Figures(
            self.low, self.high, self.total, self.good, self.suspect, self.bad, self.first_us,
            self.last_us,
        )  # fmt: skip

    def values(self) -> tuple[float | int | None, ...]:
        """In the order of the columns of ``rollup``."""
        return (
            self.low,
            self.high,
            self.total,
            self.good,
            self.suspect,
            self.bad,
            self.first_us,
            self.last_us,
        )


def _either(join: Callable[[Any, Any], Any], ours: Any, theirs: Any) -> Any:
    """Both joined; the one that is known, where only one is."""
    if ours is None:
        return theirs
    return ours if theirs is None else join(ours, theirs)


def raw_figures(is_unit: ColumnElement[bool]) -> list[ColumnElement[Any]]:
    """Columns that sum up rows of ``reading``; figures of those for which ``is_unit`` holds."""
    good = (reading.c.quality == GOOD) & is_unit
    value, t_us = case((good, reading.c.value)), case((good, reading.c.t_us))
    return [
        func.min(value).label("low"),
        func.max(value).label("high"),
        func.sum(value).label("total"),
        func.count(value).label("good"),
        func.sum(case((reading.c.quality == SUSPECT, 1), else_=0)).label("suspect"),
        func.sum(case((reading.c.quality == BAD, 1), else_=0)).label("bad"),
        func.min(t_us).label("first_us"),
        func.max(t_us).label("last_us"),
    ]


def rolled_figures(is_unit: ColumnElement[bool]) -> list[ColumnElement[Any]]:
    """The same, summing up rows of ``rollup``."""
    return [
        func.min(case((is_unit, rollup.c.low))).label("low"),
        func.max(case((is_unit, rollup.c.high))).label("high"),
        func.sum(case((is_unit, rollup.c.total))).label("total"),
        func.sum(case((is_unit, rollup.c.good), else_=0)).label("good"),
        func.sum(rollup.c.suspect).label("suspect"),
        func.sum(rollup.c.bad).label("bad"),
        func.min(case((is_unit, rollup.c.first_us))).label("first_us"),
        func.max(case((is_unit, rollup.c.last_us))).label("last_us"),
    ]


def slot_of(t_us: Any, width_us: int) -> ColumnElement[int]:
    """``t_us // width_us``, rounded down for times before 1970 too."""
    remainder = (t_us % width_us + width_us) % width_us
    slot: ColumnElement[int] = (t_us - remainder) // width_us
    return slot
