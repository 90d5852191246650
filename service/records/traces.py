"""The channels of a heat as lines to be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from service.readings import ChannelKind
from service.records.gather import clock_of, read_histories
from service.records.heat_record import ChannelRecord, HeatRecord
from service.store.database import History, Store


@dataclass(frozen=True, slots=True)
class Traces:
    """What is drawn: channels with their histories, lettered in this order."""

    temperatures: Sequence[tuple[ChannelRecord, History]]
    oxygen: Sequence[tuple[ChannelRecord, History]]
    flow: Sequence[tuple[ChannelRecord, History]]

    @property
    def all(self) -> list[tuple[ChannelRecord, History]]:
        """Every line in the order of its letters."""
        return [*self.temperatures, *self.oxygen, *self.flow]


DRAWN = (ChannelKind.THERMOCOUPLE, ChannelKind.OXYGEN, ChannelKind.GAS_FLOW)
"""What a chart draws, in the order of its panels."""
BROKEN_STEPS = 3
"""So many empty steps break a line."""
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ" * 4


def lettered(record: HeatRecord) -> dict[str, str]:
    """The letter of every channel that a chart of the heat draws, in the order it draws them."""
    of_part = [each for each in record.channels if each.of_part]
    drawn = [each.name for kind in DRAWN for each in of_part if each.kind == kind]
    return dict(zip(drawn, LETTERS, strict=False))


def whole_us(record: HeatRecord) -> tuple[int, int]:
    """From a heat's begin to its end, a second at least [µs UTC]."""
    return record.begun_us, max(record.to_us, record.begun_us + 1_000_000)


def read_traces(
    store: Store, record: HeatRecord, points: int, within_us: tuple[int, int] | None = None
) -> Traces:
    """The part's channels over a stretch, or the whole heat, in about so many steps."""
    clock = clock_of(store, record.heat_id)
    of_part = [each for each in record.channels if each.of_part]
    within_us = within_us or whole_us(record)
    histories = read_histories(store, of_part, clock, within_us, points)

    def of_kind(kind: ChannelKind) -> list[tuple[ChannelRecord, History]]:
        return [(each, histories[each.name]) for each in of_part if each.kind == kind]

    return Traces(
        of_kind(ChannelKind.THERMOCOUPLE),
        of_kind(ChannelKind.OXYGEN),
        of_kind(ChannelKind.GAS_FLOW),
    )


def stretches(of: ChannelRecord, history: History) -> list[list[tuple[float, float]]]:
    """Points of a line within the channel's spells, broken where nothing was read.

    A step whose lowest and highest differ is drawn with both: peaks stay.
    """
    runs: list[list[tuple[float, float]]] = []
    before_us: int | None = None
    for step in history.steps:
        if step.low is None or step.high is None:
            before_us = None
            continue
        t_us = _middle_us(of, step.t_us, step.t_us + history.step_us)
        if t_us is None:
            continue
        if before_us is None or step.t_us - before_us > _break_us(history):
            runs.append([])
        before_us = step.t_us
        runs[-1] += [(t_us, step.low)] if step.low == step.high else [
            (t_us, step.low), (t_us, step.high),
        ]  # fmt: skip
    return runs


def _middle_us(of: ChannelRecord, from_us: int, to_us: int) -> float | None:
    """Middle of the part of a step in which the channel sat on the part; ``None``: no part."""
    for low_us, high_us in of.spells:
        if low_us < to_us and from_us < high_us:
            return (max(low_us, from_us) + min(high_us, to_us)) / 2
    return None


def _break_us(history: History) -> float:
    """A longer silence than this breaks the line [µs]; slow sensors speak once in many steps."""
    times_us = [step.t_us for step in history.steps]
    apart_us = sorted(after - before for before, after in pairwise(times_us))
    usual_us = apart_us[len(apart_us) // 2] if apart_us else 0
    return max(BROKEN_STEPS * history.step_us, 3 * usual_us)
