"""What ``GET /api/v1/heats/{id}/lines`` is asked, with every fault of the question listed."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.problems import Fault, Problem, shown
from dashboard.times import from_rfc3339

PARAMETERS = ("start", "end", "points")
POINTS_DEFAULT = 1000
POINTS_MAX = 5000


class LinesQuestion:
    """The parameters of one question.

    Args:
        asked: As they came.

    Attributes:
        within_us: The stretch [µs UTC]; ``None``: the whole heat.
        points: About so many steps are wanted, 1 to ``POINTS_MAX``.

    Raises:
        Problem: 400 with all faults.
    """

    def __init__(self, asked: Mapping[str, str]) -> None:
        self._asked = asked
        self._faults: list[Fault] = []
        for field in sorted(set(asked) - set(PARAMETERS)):
            self._fault(field, f"is not a parameter here: {', '.join(PARAMETERS)} are")
        start_us, end_us = self._moment("start"), self._moment("end")
        if (start_us is None) != (end_us is None) and not self._faults:
            self._fault("start", "and end go together: both, or neither for the whole heat")
        if start_us is not None and end_us is not None and start_us >= end_us:
            self._fault("start", "is not before end")
        self.points = self._count()
        if self._faults:
            words = "; ".join(f"{fault['field']} {fault['message']}" for fault in self._faults)
            raise Problem(400, "bad-parameters", words, self._faults)
        self.within_us = None if start_us is None or end_us is None else (start_us, end_us)

    def _fault(self, field: str, message: str) -> None:
        value = shown(self._asked.get(field, ""))
        self._faults.append(Fault(field=field, value=value, message=message))

    def _moment(self, field: str) -> int | None:
        text = self._asked.get(field)
        if text is None:
            return None
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
