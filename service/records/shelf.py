"""Every heat on record: listed, opened, drawn and handed out.

What draws and prints is imported when it is first asked for; a service that nobody asks for a
record does not carry it.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

from sqlalchemy import select

from service.records.compare import Alignment, Compared, compared, compared_json
from service.records.csv_out import write_csv
from service.records.events_over import Place, events_over
from service.records.finding import PAGE_MOST, Finder, Wanted
from service.records.gather import UnknownHeat
from service.records.gathered import Gathered
from service.records.lines import lines_json
from service.records.package import encode
from service.records.packing import pack
from service.records.record_json import record_json
from service.records.said_worker import Sayings
from service.records.traces import read_traces, whole_us
from service.store.database import Store
from service.store.schema import heat

LISTED_MOST = PAGE_MOST
"""Heats in a list, the newest; older ones are opened by their number."""
CHART_STEPS = 1200
SHORTEST_US = 1_000_000
"""Shortest stretch of lines."""
CHART_POINTS = (560.0, 330.0)
"""Width and height of a drawn chart."""

Paper = Literal["A4", "Letter"]


class Shelf:
    """The records of one database.

    Every method but ``heats`` raises ``service.records.gather.UnknownHeat`` for a heat that is not
    there, and each ``service.store.errors.StoreError`` when the database cannot be read.

    Args:
        store: It may be in use by a running service.
        now_us: The shop's clock [µs UTC].
    """

    def __init__(self, store: Store, now_us: Callable[[], int]) -> None:
        self._store, self._now_us = store, now_us
        self._gathered = Gathered(store)
        self._finder = Finder(store, self._gathered)
        self._sayings = Sayings(f"sqlite:///{store.path}")

    def heats(self) -> list[dict[str, Any]]:
        """The newest heats, newest first."""
        found = self._finder.find(Wanted(most=LISTED_MOST))["heats"]
        return [{name: each[name] for name in each if name != "pinned"} for each in found]

    def find(self, wanted: Wanted) -> dict[str, Any]:
        """Heats that fit (``FoundHeats`` in openapi.json)."""
        return self._finder.find(wanted)

    def events(self, within_us: tuple[int, int], after: Place | None, most: int) -> dict[str, Any]:
        """What happened in the shop, a page of it (``ShopEvents`` in openapi.json)."""
        return events_over(self._store, within_us, after, most)

    def record(self, heat_id: int) -> dict[str, Any]:
        """One heat with its figures."""
        told = record_json(self._gathered.record(heat_id))
        asked = select(heat.c.pinned_us.is_not(None)).where(heat.c.id == heat_id)
        with self._store.connect() as connection:
            return {**told, "pinned": bool(connection.execute(asked).scalar())}

    def chart(self, heat_id: int) -> str:
        """Its chart as SVG: temperatures, oxygen and flow on one time axis."""
        from reportlab.graphics import renderSVG  # noqa: PLC0415 - see above

        from service.records.print_chart import chart  # noqa: PLC0415
        from service.records.print_report import register_fonts  # noqa: PLC0415

        register_fonts()
        record = self._gathered.record(heat_id)
        drawing = chart(record, read_traces(self._store, record, CHART_STEPS), *CHART_POINTS)
        text: str = renderSVG.drawToString(drawing)
        return text

    def lines(self, heat_id: int, within_us: tuple[int, int] | None, points: int) -> dict[str, Any]:
        """Its channels as lines for the page's own chart (``HeatLines`` in openapi.json).

        Args:
            heat_id: Which.
            within_us: A stretch of the heat [µs UTC], cut to it; ``None``: all of it.
            points: Into about so many steps.
        """
        record = self._gathered.record(heat_id)
        first_us, last_us = whole_us(record)
        from_us, to_us = within_us or (first_us, last_us)
        from_us = min(max(from_us, first_us), last_us - SHORTEST_US)
        to_us = max(min(to_us, last_us), from_us + SHORTEST_US)
        traces = read_traces(self._store, record, points, (from_us, to_us))
        return lines_json(record, traces, (from_us, to_us))

    def said(self, heat_id: int) -> tuple[float, Mapping[str, Any] | None]:
        """What the judge said at any moment of it (``SaidThen`` in openapi.json).

        Returns:
            How much of the work is done, 0 to 1, and the answer once it is: ask again meanwhile.
        """
        with self._store.connect() as connection:
            row = connection.execute(select(heat.c.ended_us).where(heat.c.id == heat_id)).first()
            if row is None:
                ids = connection.execute(select(heat.c.id).order_by(heat.c.id)).scalars()
                raise UnknownHeat(heat_id, list(ids))
        return self._sayings.ask(heat_id, open_heat=row.ended_us is None)

    def compared(self, heat_ids: Sequence[int], align: Alignment) -> list[dict[str, Any]]:
        """Heats side by side with their figures (``ComparedHeat`` in openapi.json)."""
        return [compared_json(each) for each in self._compared(heat_ids, align)]

    def compare_chart(self, heat_ids: Sequence[int], align: Alignment) -> str:
        """The same heats as one chart, SVG."""
        from reportlab.graphics import renderSVG  # noqa: PLC0415 - see above

        from service.records.print_compare import compare_chart  # noqa: PLC0415
        from service.records.print_report import register_fonts  # noqa: PLC0415

        register_fonts()
        drawing = compare_chart(self._compared(heat_ids, align), align, *CHART_POINTS)
        text: str = renderSVG.drawToString(drawing)
        return text

    def _compared(self, heat_ids: Sequence[int], align: Alignment) -> list[Compared]:
        records = [self._gathered.record(heat_id) for heat_id in heat_ids]
        return [
            compared(record, read_traces(self._store, record, CHART_STEPS), align, None)
            for record in records
        ]

    def report(self, heat_id: int, paper: Paper) -> bytes:
        """Its report as PDF, times in the zone of the service's machine."""
        from service.records.print_report import Printing, print_record  # noqa: PLC0415

        record = self._gathered.record(heat_id)
        how = Printing(paper, None, None, self._now_us())
        return print_record(record, read_traces(self._store, record, CHART_STEPS), how)

    def package(self, heat_id: int) -> bytes:
        """The whole heat as JSON, to be taken in elsewhere."""
        return encode(pack(self._store, heat_id))

    def table(self, heat_id: int) -> bytes:
        """Its readings as CSV."""
        out = io.StringIO(newline="")
        write_csv(self._store, self._gathered.record(heat_id), None, out)
        return out.getvalue().encode()
