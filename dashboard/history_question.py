"""What ``GET /api/v1/history`` is asked, with every fault of the question listed."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.problems import Fault, Problem, shown
from dashboard.times import from_rfc3339

PARAMETERS = ("channel", "start", "end", "points")
POINTS_DEFAULT = 600
POINTS_MAX = 5000
SPAN_MAX_US = 366 * 86_400 * 1_000_000
"""Longest stretch of history in one answer [µs]: a leap year."""


class HistoryQuestion:
    """The parameters of one question.

    Args:
        asked: As they came.
        now_us: The shop's clock [µs UTC], used when no end is given.

    Attributes:
        channel: Name of the channel, not empty.
        start_us: Begin [µs UTC].
        end_us: End [µs UTC], after ``start_us``.
        points: Most stretches wanted, 1 to ``POINTS_MAX``.

    Raises:
        Problem: 400 with all faults.
    """

    def __init__(self, asked: Mapping[str, str], now_us: int) -> None:
        self._asked = asked
        self._faults: list[Fault] = []
        for field in sorted(set(asked) - set(PARAMETERS)):
            self._fault(field, f"is not a parameter here: {', '.join(PARAMETERS)} are")
        self.channel = asked.get("channel", "")
        if not self.channel:
            self._fault("channel", "is missing: the name of a channel")
        start_us, end_us = self._moment("start", None), self._moment("end", now_us)
        if start_us is not None and end_us is not None:
            if start_us >= end_us:
                self._fault("start", "is not before end")
            elif end_us - start_us > SPAN_MAX_US:
                self._fault("start", "is more than 366 days before end")
        self.points = self._count()
        if self._faults:
            words = "; ".join(f"{fault['field']} {fault['message']}" for fault in self._faults)
            raise Problem(400, "bad-parameters", words, self._faults)
        self.start_us, self.end_us = start_us or 0, end_us or 0

    def _fault(self, field: str, message: str) -> None:
        value = shown(self._asked.get(field, ""))
        self._faults.append(Fault(field=field, value=value, message=message))

    def _moment(self, field: str, default_us: int | None) -> int | None:
        text = self._asked.get(field)
        if text is None:
            if default_us is None:
                self._fault(field, "is missing: an RFC 3339 date and time")
            return default_us
        try:
            # A plus sign left as it is in an address arrives as a space.
            return from_rfc3339(text.replace(" ", "+"))
        except ValueError as error:
            self._fault(field, str(error))
            return None

    def _count(self) -> int:
        text = self._asked.get("points", str(POINTS_DEFAULT))
        if text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= POINTS_MAX:
            return int(text)
        self._fault("points", f"is not a whole number between 1 and {POINTS_MAX}")
        return POINTS_DEFAULT
