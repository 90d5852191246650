"""What came of heats and what they took, for lists: searched, summed up by part, as a table."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal, get_args

from sqlalchemy import func, select

from service.judge.outcome_actions import Cracked, RootInside
from service.judge.utc import utc_text
from service.records.csv_out import inert
from service.records.outcome_record import OutcomeRecord, Work
from service.records.outcomes import outcome_json, outcomes_of, work_json
from service.records.work import total
from service.records.work_read import WorkBook
from service.store.database import Store
from service.store.schema import heat, part
from service.store.schema_outcome import outcome

LIST_BUDGET_S = 0.4
"""So long a list waits for the work of heats that were never asked for before [s]."""

WANTED = ("cracked", "not said", *get_args(Cracked), *get_args(RootInside))
"""What heats are searched by: any crack, nothing said (yet), or one of the words."""

By = Literal["heat", "part"]
COLUMNS = (
    "hours", "oven_min", "arc_min", "arc_by", "purge_argon_l", "torch_argon_l", "torch_by"
)  # fmt: skip


class Results:
    """Of the heats of one database.

    Args:
        store: It may be in use by a running service.

    Every method raises ``service.store.errors.StoreError`` when the database cannot be read.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._book = WorkBook(store)

    def of_list(
        self, heats: Sequence[Mapping[str, object]], wanted: str | None = None
    ) -> list[dict[str, object]]:
        """The same heats with what came of each (``outcome``) and what each took (``work``).

        Args:
            heats: As ``service.records.shelf.Shelf.heats`` lists them.
            wanted: One of ``WANTED``: only those; ``None``: all.
        """
        said = self._said()
        found = [each for each in heats if _fits(said.get(_id(each)), wanted)]
        works = self._book.of([_id(each) for each in found], LIST_BUDGET_S)
        return [
            {
                **each,
                "outcome": _brief(said.get(_id(each))),
                "work": work_json(works.get(_id(each))),
            }
            for each in found
        ]

    def work(self) -> dict[str, Any]:
        """What every heat that is over took, the newest first, and each part's sum (``WorkTable``
        in openapi.json)."""
        rows = self._works()
        return {
            "heats": [
                {
                    "heat_id": row["heat_id"],
                    "part_id": row["part_id"],
                    "part": row["part"],
                    "began_at": row["began_at"],
                    "work": work_json(row["work"]),
                }
                for row in rows
            ],
            "parts": [{**each, "work": work_json(each["work"])} for each in _by_part(rows)],
        }

    def work_csv(self, by: By) -> str:
        """The same for a spreadsheet: a row for each heat, or for each part."""
        rows = self._works()
        out = io.StringIO(newline="")
        writer = csv.writer(out)
        if by == "heat":
            writer.writerow(("heat", "part", "begun_utc", *COLUMNS))
            for row in rows:
                cells = (row["heat_id"], inert(row["part"]), row["began_at"])
                writer.writerow((*cells, *_cells(row["work"])))
        else:
            writer.writerow(("part_number", "part", "heats", *COLUMNS))
            for each in _by_part(rows):
                cells = (each["part_id"], inert(each["part"]), each["heats"])
                writer.writerow((*cells, *_cells(each["work"])))
        return out.getvalue()

    def _works(self) -> list[dict[str, Any]]:
        asked = (
            select(heat.c.id, heat.c.part_id, heat.c.begun_us, part.c.name)
            .join(part, part.c.id == heat.c.part_id)
            .where(heat.c.ended_us.is_not(None))
            .order_by(heat.c.id.desc())
        )
        with self._store.connect() as connection:
            rows = connection.execute(asked).all()
        works = self._book.of([row.id for row in rows])
        return [
            {
                "heat_id": row.id,
                "part_id": row.part_id,
                "part": row.name,
                "began_at": utc_text(row.begun_us),
                "work": works[row.id],
            }
            for row in rows
            if row.id in works
        ]

    def _said(self) -> dict[int, OutcomeRecord]:
        """What holds of every heat of which something was said."""
        with self._store.connect() as connection:
            ids = connection.execute(
                select(outcome.c.heat_id, func.max(outcome.c.id)).group_by(outcome.c.heat_id)
            )
            last = {heat_id: outcomes_of(connection, heat_id)[-1] for heat_id, _ in ids.all()}
        return {heat_id: each for heat_id, each in last.items() if each.says_something}


def _id(listed: Mapping[str, object]) -> int:
    heat_id = listed["heat_id"]
    return heat_id if isinstance(heat_id, int) else 0


def _fits(said: OutcomeRecord | None, wanted: str | None) -> bool:
    match wanted:
        case None:
            return True
        case "not said":
            return said is None
        case "cracked":
            return said is not None and said.cracked not in (None, "none seen")
        case _:
            return said is not None and wanted in (said.cracked, said.root)


def _brief(said: OutcomeRecord | None) -> dict[str, Any] | None:
    return None if said is None else outcome_json(said)


def _by_part(rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Parts in the order of their newest heats."""
    groups: dict[int, list[Mapping[str, Any]]] = {}
    for row in rows:
        groups.setdefault(row["part_id"], []).append(row)
    return [
        {
            "part_id": part_id,
            "part": of_part[0]["part"],
            "heats": len(of_part),
            "work": total([each["work"] for each in of_part]),
        }
        for part_id, of_part in groups.items()
    ]


def _cells(work: Work) -> tuple[str, ...]:
    return (
        f"{work.total_s / 3600:.3f}",
        f"{work.oven_s / 60:.1f}",
        f"{work.arc_s / 60:.2f}",
        work.arc_by or "",
        "" if work.purge_l is None else f"{work.purge_l:.1f}",
        "" if work.torch_l is None else f"{work.torch_l:.1f}",
        work.torch_by or "",
    )
