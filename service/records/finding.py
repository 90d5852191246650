"""Finding heats: by words, by date, by what was not as the limits say.

Newest first, a page at a time by the number of the heat, so that the oldest is reached too. What
was not as the limits say stands in no table: it is worked out heat by heat, and an answer that has
taken long enough says how far it got, to be asked on from there.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Select, func, select

from service.judge.utc import utc_text
from service.records.gather import clock_of
from service.records.gathered import Gathered
from service.records.local_time import local
from service.records.run_clock import heats_with_corrections
from service.store.database import Store
from service.store.schema import heat, journal, part, weld_pass
from service.store.schema_outcome import outcome

PAGE_MOST = 2000
BUDGET_S = 1.0
"""How long one answer may work heats out [s, real]; the heat in hand is finished."""
DATE_WORD = re.compile(r"\d{4}-\d{2}(-\d{2})?")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a heat must have; all of it.

    Attributes:
        words: Each in the name or metal of its part, in a note or in what was said of its outcome;
            or its number, or the local month or day of its begin (``2026-11-25``).
        from_us, to_us: Begun from then, and before then [µs UTC].
        deviation: Words that stand together in one of its deviations.
        before: Only heats of a lower number: where the page before ended.
        most: So many at most, 1 to ``PAGE_MOST``.
    """

    words: tuple[str, ...] = ()
    from_us: int | None = None
    to_us: int | None = None
    deviation: str = ""
    before: int | None = None
    most: int = PAGE_MOST


class Finder:
    """Finds among the heats of one database.

    Args:
        store: It may be in use by a running service.
        gathered: Works records out.
        real_s: A monotonic clock [s].
    """

    def __init__(
        self, store: Store, gathered: Gathered, real_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._store, self._gathered, self._real_s = store, gathered, real_s

    def find(self, wanted: Wanted) -> dict[str, Any]:
        """``FoundHeats`` in openapi.json.

        Raises:
            StoreError: The database cannot be read.
        """
        with self._store.connect() as connection:
            rows = connection.execute(_asked(wanted)).all()
            sayings = _sayings(connection) if wanted.words else {}
            bent = heats_with_corrections(connection)
        fitting = (row for row in rows if _fits(row, wanted.words, sayings))
        found: list[Row[Any]] = []
        ahead: int | None = None
        stop_s = self._real_s() + BUDGET_S
        for row in fitting:
            late = ahead is not None and self._real_s() >= stop_s
            if len(found) == wanted.most or (wanted.deviation and late):
                break
            ahead = row.id
            if not wanted.deviation or self._deviates(row.id, wanted.deviation):
                found.append(row)
        else:
            ahead = None
        return {"heats": [self._told(row, row.id in bent) for row in found], "next": ahead}

    def _deviates(self, heat_id: int, words: str) -> bool:
        wanted = words.casefold()
        record = self._gathered.once(heat_id)
        return any(wanted in each.text.casefold() for each in record.deviations)

    def _told(self, row: Row[Any], bent: bool) -> dict[str, Any]:
        # Begun under a wrong date and ended under the right one, it would have lasted years.
        straight = clock_of(self._store, row.id).straight if bent else int
        return {
            "heat_id": row.id,
            "part_id": row.part_id,
            "part": row.name,
            "metal": row.metal,
            "began_at": utc_text(straight(row.begun_us)),
            "ended_at": None if row.ended_us is None else utc_text(straight(row.ended_us)),
            "passes": row.passes,
            "arc_s": None if row.arc_us is None else round(row.arc_us / 1e6, 1),
            "pinned": row.pinned_us is not None,
        }


def _asked(wanted: Wanted) -> Select[Any]:
    passes = (
        select(func.count())
        .where(weld_pass.c.heat_id == heat.c.id, weld_pass.c.void_us.is_(None))
        .scalar_subquery()
    )
    asked = (
        select(heat, part.c.name, part.c.metal, passes.label("passes"))
        .join(part, part.c.id == heat.c.part_id)
        .order_by(heat.c.id.desc())
    )
    if wanted.from_us is not None:
        asked = asked.where(heat.c.begun_us >= wanted.from_us)
    if wanted.to_us is not None:
        asked = asked.where(heat.c.begun_us < wanted.to_us)
    if wanted.before is not None:
        asked = asked.where(heat.c.id < wanted.before)
    return asked if wanted.words else asked.limit(None if wanted.deviation else wanted.most + 1)


def _sayings(connection: Connection) -> dict[int, str]:
    """What was written about each heat, in one text."""
    heat_id = func.json_extract(journal.c.body, "$.heat_id")
    text = func.json_extract(journal.c.body, "$.text")
    notes = connection.execute(select(heat_id, text).where(journal.c.kind == "write note"))
    outcomes = connection.execute(select(outcome.c.heat_id, outcome.c.words))
    told: dict[int, str] = {}
    for number, said in (*notes, *outcomes):
        told[number] = f"{told.get(number, '')}\n{said or ''}"
    return {number: said.casefold() for number, said in told.items()}


def _fits(row: Row[Any], words: tuple[str, ...], sayings: dict[int, str]) -> bool:
    about = f"{row.name}\n{row.metal or ''}\n{sayings.get(row.id, '')}".casefold()
    return all(word.casefold() in about or word in _numbers(row, word) for word in words)


def _numbers(row: Row[Any], word: str) -> Iterator[str]:
    yield str(row.id)
    if DATE_WORD.fullmatch(word):
        began = local(row.begun_us, None)
        yield f"{began:%Y-%m-%d}"
        yield f"{began:%Y-%m}"
