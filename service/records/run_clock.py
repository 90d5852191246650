"""The clock a record is told by: one that never jumps, even where the wall clock was corrected.

Shop time (monotonic) plus the offset that held last. Where the wall clock was not corrected during
the heat, that is exactly the UTC everything was stamped with. Where it was, times from before the
correction are told as the corrected clock would have shown them.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from sqlalchemy import Connection, select

from service.judge.actions import ClockStepped, ServiceStarted, any_action
from service.records.heat_record import ClockChange
from service.store.schema import journal, trip_change


@dataclass(frozen=True, slots=True)
class Offset:
    """Wall clock minus shop time [µs], from a place in the order on."""

    seq: int
    mono_us: int
    utc_us: int
    offset_us: int
    restart: bool


@dataclass(frozen=True, slots=True)
class RunClock:
    """See the module.

    Attributes:
        offsets: Every one up to the heat's end, in order; at least one.
        known: Shop time by the UTC a step was stamped with, where it is recorded.
    """

    offsets: tuple[Offset, ...]
    known: Mapping[int, int] = field(default_factory=dict)

    @property
    def last_us(self) -> int:
        """The offset that held last [µs]."""
        return self.offsets[-1].offset_us

    def offset_at(self, seq: int) -> int:
        """The offset that held at a place in the order [µs]."""
        place = bisect_right([each.seq for each in self.offsets], seq) - 1
        return self.offsets[max(place, 0)].offset_us

    def straight(self, utc_us: int) -> int:
        """A step's stamp by this clock."""
        mono_us = self.known.get(utc_us)
        if mono_us is None:
            fitting = [one for one in self.offsets if utc_us - one.offset_us >= one.mono_us]
            mono_us = utc_us - (fitting or self.offsets)[-1 if fitting else 0].offset_us
        return mono_us + self.last_us

    def dated(self, utc_us: int) -> int:
        """A day that was stamped at any time before, by the clock as corrected in that same run.

        A later run knows nothing of how long the shop was closed, so its corrections do not count.
        """
        mono_us = self.known.get(utc_us)
        if mono_us is None:
            return utc_us
        offset_us = utc_us - mono_us
        for each in self.offsets:
            if each.mono_us > mono_us:
                if each.restart:
                    break
                offset_us = each.offset_us
        return mono_us + offset_us

    def stretches(self) -> Iterator[tuple[int, int | None, int]]:
        """First place in the order, the first behind it (``None``: no end), and what is to be added
        to a stamp from between to tell it by this clock [µs]."""
        starts = [
            each
            for before, each in pairwise((None, *self.offsets))
            if each is not None and (before is None or before.offset_us != each.offset_us)
        ]
        for place, each in enumerate(starts):
            last = place + 1 == len(starts)
            yield (
                each.seq if place else 0,
                None if last else starts[place + 1].seq,
                self.last_us - each.offset_us,
            )

    def of_mono(self, mono_us: int) -> int:
        """A moment of shop time by this clock."""
        return mono_us + self.last_us

    def bent(self, from_us: int) -> bool:
        """Whether it was corrected after a moment of it [µs]."""
        return any(change.at_us > from_us for change in self.changes_after(0))

    def changes_after(self, seq: int) -> tuple[ClockChange, ...]:
        """Corrections after a place in the order."""
        changes = []
        for before, after in pairwise(self.offsets):
            if after.seq > seq and after.offset_us != before.offset_us:
                by_us = after.offset_us - before.offset_us
                changes.append(ClockChange(self.of_mono(after.mono_us), by_us, after.restart))
        return tuple(changes)


def read_clock(connection: Connection, heat_id: int, to_seq: int | None) -> RunClock:
    """The clock for a heat that ends at a place in the order; ``None``: it is open."""
    query = select(journal).where(journal.c.kind.in_(("service started", "clock stepped")))
    if to_seq is not None:
        query = query.where(journal.c.seq <= to_seq)
    offsets = []
    for row in connection.execute(query.order_by(journal.c.seq)):
        action = any_action.validate_json(row.body)
        if isinstance(action, ServiceStarted | ClockStepped):
            restart = isinstance(action, ServiceStarted)
            offsets.append(Offset(row.seq, row.mono_us, row.utc_us, action.offset_us, restart))
    known: dict[int, int] = {}
    first = Offset(0, 0, 0, 0, True)
    if len({each.offset_us for each in offsets}) > 1:
        trips = connection.execute(select(trip_change).where(trip_change.c.heat_id == heat_id))
        for row in trips:
            known[row.since_us] = row.since_us - (row.at_us - row.mono_us)
        for row in connection.execute(select(journal.c.utc_us, journal.c.mono_us)):
            known.setdefault(row.utc_us, row.mono_us)
    return RunClock(tuple(offsets) or (first,), known)


def heats_with_corrections(connection: Connection) -> set[int]:
    """Heats during which the clock was corrected."""
    kinds = ("service started", "clock stepped", "begin heat", "end heat")
    rows = connection.execute(
        select(journal.c.kind, journal.c.body)
        .where(journal.c.kind.in_(kinds))
        .order_by(journal.c.seq)
    )
    offset_us: int | None = None
    opened: set[int] = set()
    found: set[int] = set()
    for row in rows:
        said = json.loads(row.body)
        if row.kind == "begin heat":
            opened.add(said["heat_id"])
        elif row.kind == "end heat":
            opened.discard(said["heat_id"])
        else:
            if offset_us is not None and said["offset_us"] != offset_us:
                found |= opened
            offset_us = said["offset_us"]
    return found
