"""A part's thermocouples on one grid of time, and questions about single moments."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.store.database import History

CARRY_ON_S = 30.0
"""A value stands for so long after its step [s]: slow sensors send every few seconds, and a longer
silence is no temperature. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Means of good readings, a row for each channel; NaN where it is not known.

    ``known`` marks steps in which the channel itself spoke: rates are taken from these only.
    """

    names: tuple[str, ...]
    start_us: int
    step_us: int
    values: NDArray[np.float64]
    known: NDArray[np.bool_]

    @property
    def step_s(self) -> float:
        return self.step_us / 1e6

    @property
    def length(self) -> int:
        return int(self.values.shape[1])

    def index(self, at_us: int) -> int:
        """The step that holds a moment, cut to the grid."""
        return min(max((at_us - self.start_us) // self.step_us, 0), max(self.length - 1, 0))

    def within(self, from_us: int, to_us: int) -> slice:
        """Steps that begin within a stretch of time."""
        first = -((self.start_us - from_us) // self.step_us)
        last = -((self.start_us - to_us) // self.step_us)
        return slice(max(first, 0), max(last, 0))

    def t_us(self, index: int) -> int:
        return self.start_us + index * self.step_us


def lay_out(
    histories: Sequence[History], spells: Sequence[Sequence[tuple[int, int]]], end_us: int
) -> Grid:
    """Histories of one question (same start, step) on a grid, cut to when they sat on the part."""
    if not histories:
        empty = np.empty((0, 0))
        return Grid((), 0, 1_000_000, empty, empty.astype(bool))
    start_us, step_us = histories[0].start_us, histories[0].step_us
    length = max(1, -((start_us - end_us) // step_us))
    values = np.full((len(histories), length), np.nan)
    for row, history in enumerate(histories):
        for step in history.steps:
            place = (step.t_us - start_us) // step_us
            if step.mean is None or not 0 <= place < length:
                continue
            if any(low < step.t_us + step_us and step.t_us < high for low, high in spells[row]):
                values[row, place] = step.mean
    known = ~np.isnan(values)
    carried = _carried_on(values, max(1, round(CARRY_ON_S * 1e6 / step_us)))
    return Grid(tuple(each.channel for each in histories), start_us, step_us, carried, known)


def _carried_on(values: NDArray[np.float64], steps: int) -> NDArray[np.float64]:
    """Each value stands until the next, for so many steps at most."""
    columns = np.arange(values.shape[1])
    last = np.where(np.isnan(values), -1, columns)
    last = np.maximum.accumulate(last, axis=1)
    rows = np.arange(values.shape[0])[:, None]
    carried: NDArray[np.float64] = np.where(
        (last >= 0) & (columns - last <= steps), values[rows, np.maximum(last, 0)], np.nan
    )
    return carried
