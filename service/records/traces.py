"""The channels of a heat as lines to be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ" * 4


def lettered(record: HeatRecord) -> dict[str, str]:
    """The letter of every channel that a chart of the heat draws, in the order it draws them."""
    of_part = [each for each in record.channels if each.of_part]
    drawn = [each.name for kind in DRAWN for each in of_part if each.kind == kind]
    return dict(zip(drawn, LETTERS, strict=False))


def read_traces(store: Store, record: HeatRecord, points: int) -> Traces:
    """The part's channels over the whole heat, in about so many steps."""
    end_us = max(record.to_us, record.begun_us + 1_000_000)
    clock = clock_of(store, record.heat_id)
    of_part = [each for each in record.channels if each.of_part]
    histories = read_histories(store, of_part, clock, (record.begun_us, end_us), points)

    def of_kind(kind: ChannelKind) -> list[tuple[ChannelRecord, History]]:
        return [(each, histories[each.name]) for each in of_part if each.kind == kind]

    return Traces(
        of_kind(ChannelKind.THERMOCOUPLE),
        of_kind(ChannelKind.OXYGEN),
        of_kind(ChannelKind.GAS_FLOW),
    )
