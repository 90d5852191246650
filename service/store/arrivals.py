"""Readings back out of the database, in the order in which they arrived."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from operator import attrgetter
from typing import Any

from sqlalchemy import Connection, Row, Select, func, select

from service.readings import Quality, Reading
from service.store.codes import QUALITY_OF
from service.store.marks import Mark, by_time, mark_at, marks_between, stray_rows
from service.store.schema import (
    BY_HAND,
    STRAY,
    TIMED,
    alarm_change,
    channel,
    checkpoint,
    journal,
    reading,
    unit,
    verdict_change,
)

BLOCK_SEQ = 20_000
"""About so many readings are held in memory at once."""

Block = Sequence[tuple[Mark, Mark | None]]
"""Marks with one offset that follow each other, each with its successor."""


def blocks(connection: Connection, from_seq: int, to_seq: int | None) -> Iterator[Block]:
    """The stretch of order cut into pieces of bounded size."""
    marks = marks_between(connection, from_seq, to_seq)
    followers: list[Mark | None] = [*marks[1:]]
    if marks:
        followers.append(_mark_after(connection, marks[-1]))
    block: list[tuple[Mark, Mark | None]] = []
    for mark, following in zip(marks, followers, strict=True):
        if block and (
            mark.offset_us != block[0][0].offset_us or mark.seq - block[0][0].seq >= BLOCK_SEQ
        ):
            yield block
            block = []
        block.append((mark, following))
    if block:
        yield block


def readings_of(
    connection: Connection, block: Block, from_seq: int, to_seq: int | None
) -> list[Reading]:
    """A block's readings within ``from_seq`` .. ``to_seq``, in order of arrival."""
    first, last, following = block[0][0], block[-1][0], block[-1][1]
    low = max(first.seq, from_seq)
    ends = [end for end in (to_seq, following.seq - 1 if following else None) if end is not None]
    high = min(ends) if ends else None
    query = (
        select(channel.c.name, unit.c.name.label("unit_name"), reading)
        .join(channel, channel.c.id == reading.c.channel_id)
        .join(unit, unit.c.id == reading.c.unit_id)
    )
    query = _within(query, reading.c.seq, low, high)
    near = _within(
        query.where(by_time(), reading.c.flags < STRAY),
        reading.c.t_us,
        first.earliest_us,
        last.latest_us(following) if following else None,
    )
    found = [
        _reading(row, first.offset_us)
        for part in (near, query.where(stray_rows(), reading.c.flags < BY_HAND))
        for row in connection.execute(part)
    ]
    found.sort(key=attrgetter("seq"))
    return found


def highest(connection: Connection) -> tuple[int, int]:
    """Highest place in the order and latest monotonic arrival [µs] of any reading.

    Zeros when there is none.
    """
    last = mark_at(connection)
    if last is None:
        return 0, 0
    late = readings_of(connection, [(last, None)], last.seq, None)
    seqs = (last.seq, *(item.seq for item in late))
    monos = (last.mono_us, *(item.mono_us for item in late))
    return max(seqs), max(monos)


def latest_mono_us(connection: Connection, mark: Mark, before_seq: int) -> int:
    """Latest monotonic arrival [µs] under a mark before a place in the order, strays apart."""
    earlier = select(func.max(reading.c.t_us + reading.c.delay_us)).where(
        by_time(),
        reading.c.seq.between(mark.seq, before_seq - 1),
        reading.c.flags < STRAY,
        reading.c.t_us >= mark.earliest_us,
    )
    arrived_us = connection.execute(earlier).scalar()
    return mark.mono_us if arrived_us is None else int(arrived_us) - mark.offset_us


def highest_anywhere(connection: Connection) -> tuple[int, int]:
    """The same over readings, actions, checkpoints, alarms and verdicts."""
    seq, mono_us = highest(connection)
    action_seq = connection.execute(select(func.max(journal.c.seq))).scalar() or 0
    # What a checkpoint came after may have been lost; its place must not be given again.
    kept_seq = connection.execute(select(func.max(checkpoint.c.seq))).scalar() or 0
    # The journal is in order, so its last row has its latest time.
    monos = [
        connection.execute(
            select(journal.c.mono_us).order_by(journal.c.seq.desc()).limit(1)
        ).scalar()
    ]
    monos += [
        connection.execute(select(func.max(table.c.mono_us))).scalar()
        for table in (alarm_change, verdict_change)
    ]
    return max(seq, action_seq, kept_seq), max(mono_us, *(found or 0 for found in monos))


def _mark_after(connection: Connection, mark: Mark) -> Mark | None:
    later = marks_between(connection, mark.seq, None)[1:2]
    return later[0] if later else None


def _within(query: Select[Any], column: Any, low: int, high: int | None) -> Select[Any]:
    query = query.where(column >= low)
    return query if high is None else query.where(column <= high)


def _reading(row: Row[Any], offset_us: int) -> Reading:
    arrived_us = row.t_us + row.delay_us
    quality, reason = QUALITY_OF.get(row.quality), row.reason
    if quality is None:  # a row that the disk or somebody's hand has altered: not to be believed
        quality, reason = Quality.BAD, f"unknown quality {row.quality} in the database"
    return Reading(
        channel=row.name,
        unit=row.unit_name or None,
        value=row.value,
        quality=quality,
        reason=reason,
        t_us=row.t_us,
        arrived_us=arrived_us,
        mono_us=arrived_us - offset_us,
        seq=row.seq,
        timed=bool(row.flags & TIMED),
    )
