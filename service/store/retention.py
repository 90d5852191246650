"""What is thrown away by age, level by level, and how long the disk lasts.

Readings go first, then the finer sums, each after the days it was given; sums of ten minutes stay.
Nothing goes that an open or a pinned heat needs: whatever was read from an hour before it began
until an hour after it ended, by any channel. The journal and what the judge concluded always stay.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, Table, func, select
from sqlalchemy.dialects import sqlite

from service.store.schema import BY_HAND, channel, heat, kept_from, reading, rollup, rollup_mark

DAY_US = 86_400_000_000
SECOND_US = 1_000_000
MARGIN_US = 3_600_000_000
LEVELS_S = (0, 10, 60)
"""Readings, and the sums that may go; those of ten minutes never do."""
LEAST_DAYS = 7.0
"""Nothing younger goes: a spool found again after a week still meets its slots whole."""
PIECE_US = 3_600_000_000
"""So much of a channel goes in one transaction [µs]: the writer must never wait long."""
BYTES_A_READING = 50.0
"""With its sums, on the safe side (48 measured). Where readings have been thrown away, what is left
divided by all there ever were would promise more years than there are."""
RATE_DAYS = 7
"""Over how many days the growth is measured."""


@dataclass(frozen=True, slots=True)
class Gone:
    """What went, or would go: rows by level (0: readings, else width of the sums [s])."""

    rows: Mapping[int, int]
    pages_freed: int


@dataclass(frozen=True, slots=True)
class Space:
    """How much room there is.

    Attributes:
        used_bytes: Of the database file, without what is free inside it.
        free_bytes: On the disk, and inside the file.
        readings: Counted in the sums.
        bytes_a_reading: Everything kept, for each of them, and no less than ``BYTES_A_READING``
            once readings have been thrown away; ``None``: there is none.
        readings_a_day: Over the last days that had any, at most seven; ``None``: fewer than an
            hour of them.
        years_left: At this rate, with nothing thrown away; ``None``: not known.
    """

    used_bytes: int
    free_bytes: int
    readings: int
    bytes_a_reading: float | None
    readings_a_day: float | None
    years_left: float | None

    @property
    def text(self) -> str:
        """One sentence for a person."""
        used = f"{self.used_bytes / 1e6:.1f} MB used, {self.free_bytes / 1e9:.1f} GB free"
        if self.years_left is None:
            return f"{used}; too few readings yet to say how long that lasts"
        years = self.years_left
        lasts = f"{years:.1f} years" if years >= 2 else f"{years * 365.25:.0f} days"
        if years >= 100:
            lasts = "more than a hundred years"
        return f"{used}; at this rate the disk lasts {lasts}"


def protected(connection: Connection) -> list[tuple[int, int | None]]:
    """Stretches [µs UTC] of which nothing goes, in order; ``None``: open-ended."""
    rows = connection.execute(
        select(heat.c.begun_us, heat.c.ended_us)
        .where(heat.c.ended_us.is_(None) | heat.c.pinned_us.is_not(None))
        .order_by(heat.c.begun_us)
    )
    return [
        (row.begun_us - MARGIN_US, None if row.ended_us is None else row.ended_us + MARGIN_US)
        for row in rows
    ]


def throw_away(engine: Engine, days: Mapping[int, float], now_us: int, *, only_count: bool) -> Gone:
    """Delete what is older than its level's days.

    Args:
        engine: The writing engine, or one of another process beside the service.
        days: By level, a key of ``LEVELS_S``; what has no entry stays.
        now_us: Now [µs UTC].
        only_count: Count, and delete nothing.

    Raises:
        ValueError: A level or number of days that is not allowed, or a finer level that is to
            stay longer than a coarser one.
    """
    _check(days)
    rows: dict[int, int] = {}
    for span_s in LEVELS_S:
        if span_s in days:
            before_us = now_us - round(days[span_s] * DAY_US)
            rows[span_s] = _throw_away_level(engine, span_s, before_us, only_count)
    freed = 0
    if not only_count and any(rows.values()):
        with engine.begin() as connection:
            freed = connection.exec_driver_sql("PRAGMA freelist_count").scalar() or 0
    return Gone(rows, int(freed))


def _check(days: Mapping[int, float]) -> None:
    for span_s, value in days.items():
        if span_s not in LEVELS_S:
            raise ValueError(f"level {span_s} is not one of {', '.join(map(str, LEVELS_S))}")
        if not LEAST_DAYS <= value <= 36_525:
            raise ValueError(f"days {value:g} is not between {LEAST_DAYS:g} and 36525")
    given = [days[span_s] for span_s in LEVELS_S if span_s in days]
    if given != sorted(given):
        raise ValueError("readings must not stay longer than their sums, nor finer than coarser")


def _throw_away_level(engine: Engine, span_s: int, before_us: int, only_count: bool) -> int:
    count = 0
    with engine.connect() as connection:
        ids = list(connection.execute(select(channel.c.id)).scalars())
    for channel_id in ids:
        with engine.connect() as connection:
            first_us = _first_us(connection, span_s, channel_id)
        if first_us is None or first_us >= before_us:
            continue
        for from_us in range(first_us - first_us % PIECE_US, before_us, PIECE_US):
            to_us = min(from_us + PIECE_US, before_us)
            count += _piece(engine, span_s, channel_id, (from_us, to_us), only_count)
    if not only_count:
        _note(engine, span_s, before_us)
    return count


def _first_us(connection: Connection, span_s: int, channel_id: int) -> int | None:
    if span_s == 0:
        query = select(func.min(reading.c.t_us)).where(reading.c.channel_id == channel_id)
        return connection.execute(query).scalar()
    query = select(func.min(rollup.c.slot)).where(
        rollup.c.span_s == span_s, rollup.c.channel_id == channel_id
    )
    slot = connection.execute(query).scalar()
    return None if slot is None else int(slot) * span_s * SECOND_US


def _piece(
    engine: Engine, span_s: int, channel_id: int, within_us: tuple[int, int], only_count: bool
) -> int:
    """One transaction; what is protected is asked for within it, as of now."""
    count = 0
    with engine.begin() as connection:
        rolled = select(rollup_mark.c.seq).scalar_subquery()
        for from_us, to_us in _unprotected(within_us, protected(connection)):
            table: Table = reading if span_s == 0 else rollup
            if span_s == 0:
                condition = (
                    (reading.c.channel_id == channel_id)
                    & reading.c.t_us.between(from_us, to_us - 1)
                    & (reading.c.flags < BY_HAND)
                    & (reading.c.seq <= rolled)
                )
            else:
                width_us = span_s * SECOND_US
                condition = (
                    (rollup.c.span_s == span_s)
                    & (rollup.c.channel_id == channel_id)
                    & (rollup.c.slot >= -(-from_us // width_us))
                    & (rollup.c.slot < to_us // width_us)
                )
            if only_count:
                query = select(func.count()).select_from(table).where(condition)
                count += int(connection.execute(query).scalar_one())
            else:
                count += connection.execute(table.delete().where(condition)).rowcount
        if not only_count and count:
            # Through the driver: each row fetched frees a page, and none has any columns.
            driver: Any = connection.connection.driver_connection
            driver.execute("PRAGMA incremental_vacuum(1000)").fetchall()
    return count


def _unprotected(
    within_us: tuple[int, int], kept: list[tuple[int, int | None]]
) -> Iterator[tuple[int, int]]:
    """What of a stretch may go."""
    from_us, end_us = within_us
    for kept_us, until_us in kept:
        if until_us is not None and until_us <= from_us:
            continue
        if kept_us >= end_us:
            break
        if kept_us > from_us:
            yield from_us, kept_us
        if until_us is None:
            return
        from_us = max(from_us, until_us)
    if from_us < end_us:
        yield from_us, end_us


def _note(engine: Engine, span_s: int, before_us: int) -> None:
    insert = sqlite.insert(kept_from).values(span_s=span_s, from_us=before_us)
    with engine.begin() as connection:
        connection.execute(
            insert.on_conflict_do_update(
                index_elements=["span_s"],
                set_={"from_us": func.max(kept_from.c.from_us, insert.excluded.from_us)},
            )
        )


def finest_span_s(connection: Connection, start_us: int, end_us: int) -> int:
    """The finest level that still holds a stretch whole: 0 (readings), 10, 60 or 600 [s]."""
    rows = connection.execute(select(kept_from))
    gone = {row.span_s: row.from_us for row in rows}
    for span_s in LEVELS_S:
        whole = start_us >= gone.get(span_s, start_us)
        if whole or _is_protected(connection, start_us, end_us):
            return span_s
    return 600


def _is_protected(connection: Connection, start_us: int, end_us: int) -> bool:
    return any(
        from_us <= start_us and (to_us is None or end_us <= to_us)
        for from_us, to_us in protected(connection)
    )


def space(connection: Connection, folder: str) -> Space:
    """How long the disk lasts at the rate of the last days; reads sums only."""

    def pragma(name: str) -> int:
        return int(connection.exec_driver_sql(f"PRAGMA {name}").scalar_one())

    size = pragma("page_size")
    inside, used = pragma("freelist_count") * size, pragma("page_count") * size
    sums = rollup.c.good + rollup.c.suspect + rollup.c.bad
    level = rollup.c.span_s == 600
    total = int(
        connection.execute(select(func.coalesce(func.sum(sums), 0)).where(level)).scalar_one()
    )
    newest = connection.execute(select(func.max(rollup.c.slot)).where(level)).scalar()
    kept = used - inside
    free = inside + shutil.disk_usage(folder).free
    rate = None
    if newest is not None:
        since = newest + 1 - RATE_DAYS * 144
        oldest, recent = connection.execute(
            select(func.min(rollup.c.slot), func.sum(sums)).where(level, rollup.c.slot >= since)
        ).one()
        slots = newest + 1 - oldest
        rate = float(recent) / slots * 144 if slots >= 6 else None
    per_reading = kept / total if total else None
    if per_reading is not None and connection.execute(select(kept_from.c.span_s)).first():
        per_reading = max(per_reading, BYTES_A_READING)
    years = free / (per_reading * rate * 365.25) if per_reading and rate else None
    return Space(kept, free, total, per_reading, rate, years)
