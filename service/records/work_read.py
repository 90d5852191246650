"""The work of heats out of the database, kept once it is known of a heat that is over."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, select

from service.judge.actions import EndHeat, SetBottle, any_action
from service.readings import ChannelKind
from service.records.heat_readings import histories_of
from service.records.moments import argon_l
from service.records.outcome_record import Work
from service.records.run_clock import RunClock, read_clock
from service.records.series import Grid, lay_out
from service.records.work import PassSpell, Spell, work_of
from service.store.database import Store
from service.store.history import POINTS_MAX
from service.store.schema import assignment, channel, heat, heat_phase, journal, purge, weld_pass

FINEST_US = 1_000_000
_MOVES = ("correct phase", "correct pass")
"""Said later, these change what a heat has taken."""


@dataclass(frozen=True, slots=True)
class _End:
    """Where in the order a heat ended, and when [µs of shop time]."""

    seq: int
    mono_us: int


def read_work(store: Store, heat_id: int, clock: RunClock, to_us: int) -> Work:
    """What a heat took up to a moment of its run clock [µs].

    Raises:
        StoreError: The database cannot be read.
    """
    with store.connect() as connection:
        found = connection.execute(select(heat).where(heat.c.id == heat_id)).one()
        phases = _valid(connection, heat_phase, heat_id, heat_phase.c.number)
        passes = _valid(connection, weld_pass, heat_id, weld_pass.c.begun_us)
        purges = connection.execute(select(purge).where(purge.c.heat_id == heat_id)).all()
        flows = _flows_of_part(connection, found.part_id, clock, to_us)
        torches = connection.execute(
            select(channel.c.name).where(channel.c.kind == ChannelKind.TORCH_FLOW.value)
        ).scalars()
        torch_names = list(torches)
        settings = list(_torch_settings(connection, clock))
    whole = Spell(clock.straight(found.begun_us), to_us)
    flow = _grid(store, flows, clock, whole) if purges else None
    of_torch = {name: [(whole.from_us, to_us)] for name in torch_names}
    torch = _grid(store, of_torch, clock, whole) if passes and torch_names else None
    begins_us = [clock.straight(row.from_us) for row in phases]
    spans = zip(phases, begins_us, [*begins_us[1:], to_us], strict=True)
    return work_of(
        whole,
        [Spell(begin, end) for row, begin, end in spans if row.phase == "oven"],
        [_pass(row, clock, torch, settings) for row in passes if row.ended_us is not None],
        [_purge_l(row, clock, flow, to_us) for row in purges],
        bool(torch_names),
    )


def _valid(connection: Connection, table: Any, heat_id: int, order: Any) -> Sequence[Any]:
    query = select(table).where(table.c.heat_id == heat_id, table.c.void_us.is_(None))
    return connection.execute(query.order_by(order, table.c.id)).all()


def _pass(
    row: Any, clock: RunClock, torch: Grid | None, settings: Sequence[tuple[int, float | None]]
) -> PassSpell:
    spell = Spell(clock.straight(row.begun_us), clock.straight(row.ended_us))
    litres = None if torch is None else argon_l(torch, spell.from_us, spell.to_us, spell.to_us)
    said = [l_min for at_us, l_min in settings if at_us <= spell.from_us][-1:]
    return PassSpell(spell, row.arc_us, litres, said[0] if said else None)


def _purge_l(row: Any, clock: RunClock, flow: Grid | None, to_us: int) -> float | None:
    if flow is None:
        return None
    ended_us = None if row.ended_us is None else clock.straight(row.ended_us)
    return argon_l(flow, clock.straight(row.begun_us), ended_us, to_us)


def _flows_of_part(
    connection: Connection, part_id: int, clock: RunClock, to_us: int
) -> dict[str, list[tuple[int, int]]]:
    """The flow meters that sat on the part, and when."""
    rows = connection.execute(
        select(channel.c.name, assignment.c.from_us, assignment.c.to_us)
        .join(channel, channel.c.id == assignment.c.channel_id)
        .where(assignment.c.part_id == part_id, channel.c.kind == ChannelKind.GAS_FLOW.value)
        .order_by(assignment.c.from_us)
    )
    spells: dict[str, list[tuple[int, int]]] = {}
    for row in rows:
        end_us = to_us if row.to_us is None else clock.straight(row.to_us)
        spells.setdefault(row.name, []).append((clock.straight(row.from_us), end_us))
    return spells


def _grid(
    store: Store, spells: dict[str, list[tuple[int, int]]], clock: RunClock, whole: Spell
) -> Grid:
    """In the steps of the heat's record, so that both tell the same litres."""
    end_us = max(whole.to_us, whole.from_us + FINEST_US)
    points = min(max((end_us - whole.from_us) // FINEST_US, 1), POINTS_MAX)
    histories = histories_of(store, list(spells), clock, (whole.from_us, end_us), points)
    return lay_out(list(histories.values()), list(spells.values()), whole.to_us)


def _torch_settings(connection: Connection, clock: RunClock) -> Iterator[tuple[int, float | None]]:
    rows = connection.execute(
        select(journal.c.mono_us, journal.c.body)
        .where(journal.c.kind == "set bottle")
        .order_by(journal.c.seq)
    )
    for row in rows:
        action = any_action.validate_json(row.body)
        if isinstance(action, SetBottle):
            yield clock.of_mono(row.mono_us), action.torch_flow_l_min


class WorkBook:
    """The work of heats that are over; worked out once, and anew when one of them is corrected.

    Args:
        store: It may be in use by a running service.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._works: dict[int, Work] = {}
        self._ends: dict[int, _End] = {}
        self._seen_seq = 0

    def of(self, heat_ids: Sequence[int], budget_s: float | None = None) -> dict[int, Work]:
        """Of those that are over; with a budget [s, real] perhaps not of all of them at once.

        Args:
            heat_ids: In the order in which they are wanted.
            budget_s: After so long no further one is begun; ask again for the rest.

        Raises:
            StoreError: The database cannot be read.
        """
        until_s = None if budget_s is None else time.monotonic() + budget_s
        with self._lock:
            self._follow()
            for heat_id in heat_ids:
                if until_s is not None and time.monotonic() >= until_s:
                    break
                if heat_id not in self._works and heat_id in self._ends:
                    self._works[heat_id] = self._work(heat_id, self._ends[heat_id])
            return {each: self._works[each] for each in heat_ids if each in self._works}

    def _work(self, heat_id: int, end: _End) -> Work:
        with self._store.connect() as connection:
            clock = read_clock(connection, heat_id, end.seq)
        return read_work(self._store, heat_id, clock, clock.of_mono(end.mono_us))

    def _follow(self) -> None:
        """Heats that have ended since, and those that have been corrected."""
        with self._store.connect() as connection:
            newest = connection.execute(select(func.max(journal.c.seq))).scalar() or 0
            if newest == self._seen_seq:
                return
            rows = connection.execute(
                select(journal)
                .where(journal.c.seq > self._seen_seq, journal.c.kind.in_(("end heat", *_MOVES)))
                .order_by(journal.c.seq)
            ).all()
        for row in rows:
            action: Any = any_action.validate_json(row.body)
            self._works.pop(action.heat_id, None)
            if isinstance(action, EndHeat):
                self._ends[action.heat_id] = _End(row.seq, row.mono_us)
        self._seen_seq = newest
