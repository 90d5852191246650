"""What ``GET /api/v1/heats/{id}/lines`` is asked, with every fault of the question listed."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.asked import Asked

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
        read = Asked(asked, PARAMETERS)
        start_us, end_us = read.moment("start"), read.moment("end")
        if ("start" in asked) != ("end" in asked):
            read.fault("start", "and end go together: both, or neither for the whole heat")
        if start_us is not None and end_us is not None and start_us >= end_us:
            read.fault("start", "is not before end")
        self.points = read.number("points", POINTS_DEFAULT, 1, POINTS_MAX)
        read.done()
        self.within_us = None if start_us is None or end_us is None else (start_us, end_us)
