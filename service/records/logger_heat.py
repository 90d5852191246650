"""Another logger's readings as a heat: judged as if they had come in, kept in a database."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from service import __version__
from service.judge import actions as act
from service.judge.events import Acted, Advance, Outcome, Stamp
from service.judge.judge import Judge
from service.readings import Reading
from service.records.logger_csv import Cell, Column
from service.store.database import Store, StoreError
from service.store.entries import Arrived, Entry

BATCH = 5_000


@dataclass(frozen=True, slots=True)
class NewHeat:
    """What is said of the part and its heat."""

    part: str
    metal: act.Metal
    limits: act.Limits
    phase: Literal["oven", "bench"]


def keep_heat(store: Store, found: Sequence[Cell], columns: Sequence[Column], new: NewHeat) -> None:
    """Write the cells as heat 1 of part 1 into an empty database.

    Raises:
        StoreError: It is not empty.
    """
    if store.next_seq() != 1 or store.channel_names():
        raise StoreError(f"the database {store.path} is not empty: old records need their own")
    taking = _Taking(store, Judge(), min(each.t_us for each in found))
    taking.act(act.ServiceStarted(version=__version__, offset_us=0))
    facts = act.PartFacts(name=new.part, metal=new.metal)
    taking.act(act.CreatePart(part_id=1, facts=facts, limits=new.limits))
    for column in columns:
        taking.act(act.AdoptChannel(channel=column.channel, channel_kind=column.kind))
        taking.act(act.AssignChannel(channel=column.channel, part_id=1))
    taking.act(act.BeginHeat(heat_id=1, part_id=1, phase=new.phase))
    for cell in sorted(found, key=lambda each: each.t_us):
        taking.read(cell)
    taking.act(act.EndHeat(heat_id=1))
    taking.write()


class _Taking:
    """Gives events to judge and store alike; shop time is the file's."""

    def __init__(self, store: Store, judge: Judge, now_us: int) -> None:
        self._keeper = store.write_side.keeper
        self._judge = judge
        self._now_us = now_us
        self._seq = 0
        self._entries: list[Entry] = []

    def act(self, action: act.Action) -> None:
        self._seq += 1
        acted = Acted(Stamp(self._seq, self._now_us, self._now_us), action)
        self._add(acted, self._judge.step(acted))

    def read(self, cell: Cell) -> None:
        self._now_us = cell.t_us
        quality, reason = self._judge.sense(
            cell.channel, cell.unit, cell.value, cell.reason, cell.t_us, t_us=cell.t_us
        )
        self._seq += 1
        reading = Reading(
            cell.channel, cell.unit, cell.value, quality, reason,
            cell.t_us, cell.t_us, cell.t_us, self._seq, timed=True,
        )  # fmt: skip
        self._add(Arrived((reading,)), self._judge.step(reading))

    def _add(self, entry: Entry, outcome: Outcome) -> None:
        self._entries.append(entry)
        if outcome.alarms or outcome.verdicts or outcome.trips:
            self._entries.append(outcome)
        if len(self._entries) >= BATCH:
            self._keep()

    def _keep(self) -> None:
        self._keeper.keep(self._entries)
        self._entries = []

    def write(self) -> None:
        """What is left, and what the judge still owes."""
        last = self._judge.step(Advance(self._now_us, self._now_us))
        if last.alarms or last.verdicts or last.trips:
            self._entries.append(last)
        self._keep()
