"""A heat out of a database into a package, and back into an empty one."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterable, Iterator
from itertools import chain
from typing import Any

from sqlalchemy import Connection, func, select

from service.judge.actions import (
    AcknowledgeAlarm,
    AddPhoto,
    AnswerQuestion,
    AssignChannel,
    BeginHeat,
    CorrectPass,
    CorrectPhase,
    DropPhoto,
    EndHeat,
    SayOutcome,
    ServiceStarted,
    WriteNote,
)
from service.judge.events import Acted, Outcome
from service.readings import Reading
from service.records.gather import UnknownHeat
from service.records.package import Package, Photo
from service.store.database import Store, StoreError
from service.store.entries import Arrived, Entry
from service.store.photos import NoPhoto, PhotoFolder
from service.store.schema import gap, heat, imported, seq_mark
from service.wire.picture import Picture

log = logging.getLogger(__name__)

LEAD_IN_US = 3_600_000_000
"""So much before the heat is taken along [µs]: channels become known, models warm ..."""
COLD_US = 6 * LEAD_IN_US
"""... or everything since the service started, if that is not longer ago than this: then the judge
began there as a new one, and what it concludes is the same to the letter."""
READINGS_MOST = 5_000_000
BATCH = 5_000
SAID_LATER = (CorrectPhase, CorrectPass, WriteNote, SayOutcome, AddPhoto, DropPhoto)
"""What may be said of a heat that has ended."""


def pack(store: Store, heat_id: int) -> Package:
    """Everything a judge needs to judge this heat again, and what it concluded then.

    Raises:
        UnknownHeat: There is none of that number.
        StoreError: The database cannot be read, or the heat has more readings than fit a file.
    """
    acted, newest_seq = list(store.journal()), store.next_seq() - 1
    with store.connect() as connection:
        taken_in = connection.execute(select(imported).where(imported.c.heat_id == heat_id)).first()
        if taken_in is not None:
            first_seq, last_seq = taken_in.first_seq, taken_in.last_seq
        else:
            first_seq, last_seq = _stretch(connection, acted, heat_id, newest_seq)
        gaps = [dict(row._mapping) for row in connection.execute(select(gap).order_by(gap.c.id))]
    within = [each for each in acted if first_seq <= each.stamp.seq <= last_seq]
    before = [each for each in acted if each.stamp.seq < first_seq]
    readings: list[Reading] = []
    for each in store.readings(first_seq, last_seq):
        readings.append(each)
        if len(readings) > READINGS_MOST:
            raise StoreError(
                f"heat {heat_id} has more than {READINGS_MOST} readings: too many for one file"
            )
    times_us = [each.stamp.mono_us for each in within] + [each.mono_us for each in readings]
    from_us, to_us = min(times_us), max(times_us)
    offset_us = within[0].stamp.utc_us - within[0].stamp.mono_us
    before_it = tuple(_needed(before, within))
    later = tuple(_said_later(acted, last_seq, heat_id))
    return Package(
        heat_id=heat_id,
        first_seq=first_seq,
        last_seq=last_seq,
        before=before_it,
        acted=tuple(within),
        after=later,
        readings=tuple(readings),
        changes=_between(store.changes(from_us, None), from_us, to_us, heat_id),
        gaps=tuple(
            {name: value for name, value in row.items() if name != "id"}
            for row in gaps
            if row["to_us"] >= from_us + offset_us and row["from_us"] <= to_us + offset_us
        ),
        photos=tuple(_photos(PhotoFolder(store.path), (*before_it, *within, *later))),
    )


def _photos(folder: PhotoFolder, acted: Iterable[Acted]) -> Iterator[Photo]:
    """Each photo that is named, once; one whose file is gone is left out, as it is on the page."""
    named = {a.action.sha256: a.action for a in acted if isinstance(a.action, AddPhoto)}
    for sha256, action in named.items():
        try:
            yield Photo(sha256, action.media_type, folder.read(sha256, action.media_type))
        except NoPhoto as error:
            log.warning("left out of the heat's file: %s", error)


def _stretch(
    connection: Connection, acted: list[Acted], heat_id: int, newest_seq: int
) -> tuple[int, int]:
    """First and last place in the order that belong to the heat."""
    begins = {a.action.heat_id: a.stamp for a in acted if isinstance(a.action, BeginHeat)}
    ends = {a.action.heat_id: a.stamp.seq for a in acted if isinstance(a.action, EndHeat)}
    if heat_id not in begins:
        raise UnknownHeat(heat_id, sorted(connection.execute(select(heat.c.id)).scalars()))
    first = begins[heat_id]
    for other_id, begun in sorted(begins.items(), key=lambda each: -each[1].seq):
        # Whatever was on its trip then shares channels, arcs and questions with it.
        if begun.seq < first.seq < ends.get(other_id, first.seq + 1):
            first = begun
    starts = [
        a.stamp
        for a in acted
        if isinstance(a.action, ServiceStarted)
        and a.action.checkpoint_seq is None
        and a.stamp.seq <= first.seq
        and not any(b.seq < a.stamp.seq < ends.get(each, 0) for each, b in begins.items())
    ]
    last_seq = ends.get(heat_id, newest_seq)
    if starts and first.mono_us - starts[-1].mono_us <= COLD_US:
        return starts[-1].seq, last_seq
    early = select(func.min(seq_mark.c.seq)).where(
        seq_mark.c.mono_us >= first.mono_us - LEAD_IN_US, seq_mark.c.seq <= first.seq
    )
    first_seq = connection.execute(early).scalar() or first.seq
    # No heat may be judged from its middle: one that began earlier and has ended since is left out.
    cut = [ends[each] for each, begun in begins.items() if begun.seq < first_seq <= ends[each]]
    return max([first_seq, *(end + 1 for end in cut if end < first.seq)]), last_seq


def _needed(before: list[Acted], within: list[Acted]) -> Iterator[Acted]:
    """Of what was said before, what the judge has to know: no other part's affairs."""
    parts = {_part_of(each.action) for each in within}
    sits: dict[str, int | None] = {}
    for each in before:
        if isinstance(each.action, AssignChannel):
            sits[each.action.channel] = each.action.part_id
    parts |= set(sits.values())
    for each in before:
        action: Any = each.action
        of_heat = getattr(action, "heat_id", None) is not None
        if of_heat or isinstance(action, AcknowledgeAlarm | AnswerQuestion):
            continue
        part_id = _part_of(action)
        if part_id is None or part_id in parts:
            yield each


def _part_of(action: Any) -> int | None:
    part_id: int | None = getattr(action, "part_id", None)
    return part_id


def _said_later(acted: list[Acted], last_seq: int, heat_id: int) -> Iterator[Acted]:
    """Corrections and notes of a heat that has ended."""
    for each in acted:
        action = each.action
        later = each.stamp.seq > last_seq
        if later and isinstance(action, SAID_LATER) and action.heat_id == heat_id:
            yield each


def _between(changes: Outcome, from_us: int, to_us: int, heat_id: int) -> Outcome:
    return Outcome(
        alarms=[each for each in changes.alarms if from_us <= each.mono_us <= to_us],
        verdicts=[each for each in changes.verdicts if from_us <= each.mono_us <= to_us],
        trips=[
            each
            for each in changes.trips
            if from_us <= each.mono_us and (each.mono_us <= to_us or each.heat_id == heat_id)
        ],
    )


def taken_in(store: Store) -> list[int]:
    """The heats of a database that were recorded elsewhere."""
    with store.connect() as connection:
        ids = connection.execute(select(imported.c.heat_id).order_by(imported.c.heat_id))
        return list(ids.scalars())


def unpack(store: Store, package: Package, source: str) -> None:
    """Write a package into an empty database.

    Raises:
        StoreError: It is not empty, or something did not fit; then it must not be used.
    """
    if store.next_seq() != 1 or store.channel_names():
        raise StoreError(f"the database {store.path} is not empty: a heat needs one of its own")
    folder = PhotoFolder(store.path)
    for each in package.photos:
        folder.keep(Picture(each.media_type, each.data))
    keeper = store.write_side.keeper
    batch: list[Entry] = []
    for entry in _entries(package):
        batch.append(entry)
        if len(batch) >= BATCH:
            keeper.keep(batch)
            batch = []
    keeper.keep(batch)
    if keeper.misfits:
        raise StoreError(f"{keeper.misfits} entries do not fit the database {store.path}")
    with store.write_side.engine.begin() as connection:
        for row in package.gaps:
            connection.execute(gap.insert().values(**row))
        connection.execute(
            imported.insert().values(
                heat_id=package.heat_id,
                first_seq=package.first_seq,
                last_seq=package.last_seq,
                source=source,
                at_us=time.time_ns() // 1000,
            )
        )


def _entries(package: Package) -> Iterator[Entry]:
    """Actions and readings in order, what was concluded of them after each."""
    concluded = _in_order(package.changes)
    waiting = next(concluded, None)
    yield from package.before
    events = package.events(package.first_seq, package.last_seq)
    for event in chain(events, package.after):
        mono_us = event.mono_us if isinstance(event, Reading) else event.stamp.mono_us
        while waiting is not None and waiting[0] < mono_us:
            yield waiting[1]
            waiting = next(concluded, None)
        yield Arrived((event,)) if isinstance(event, Reading) else event
    while waiting is not None:
        yield waiting[1]
        waiting = next(concluded, None)


def _in_order(changes: Outcome) -> Iterator[tuple[int, Outcome]]:
    alone: Iterable[tuple[int, Outcome]] = [
        *((each.mono_us, Outcome(alarms=[each])) for each in changes.alarms),
        *((each.mono_us, Outcome(verdicts=[each])) for each in changes.verdicts),
        *((each.mono_us, Outcome(trips=[each])) for each in changes.trips),
    ]
    return iter(sorted(alone, key=lambda pair: pair[0]))
