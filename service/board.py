"""The latest answer, ready to be sent: one writer (the judge thread), any number of readers.

The judge never waits for a page and a page never waits for the judge: posting swaps one
immutable object for another. Readers tell a hung judge by ``posted_at``.
"""

from __future__ import annotations

import hashlib
import json
import threading
import time
from dataclasses import dataclass

from service.judge.outlook import BenchJson


@dataclass(frozen=True, slots=True)
class Posting:
    """One bench answer.

    Attributes:
        body: The JSON as sent.
        etag: Changes exactly when anything but the time of day in it has changed.
        posted_at: ``time.monotonic()`` of the machine [s] when it was posted, real seconds
            whatever the pace of the shop's clock.
        number: Counts postings, from 1.
    """

    body: bytes
    etag: str
    posted_at: float
    number: int


class Board:
    """Holds the latest posting."""

    def __init__(self) -> None:
        self._posting: Posting | None = None
        self._changed = threading.Condition()

    def post(self, bench: BenchJson) -> Posting:
        """Replace what is shown.

        Raises:
            ValueError: A number in ``bench`` is NaN or infinite, which JSON cannot carry.
        """
        # The time of day changes with every posting; only the rest decides whether a page that
        # already has it needs it again.
        rest = {key: value for key, value in bench.items() if key != "at"}
        rest_json = json.dumps(rest, allow_nan=False, separators=(",", ":"), ensure_ascii=False)
        body = f'{{"at":"{bench["at"]}",{rest_json[1:]}'
        posting = Posting(
            body=body.encode(),
            etag=hashlib.sha256(rest_json.encode()).hexdigest()[:20],
            posted_at=time.monotonic(),
            number=1 if self._posting is None else self._posting.number + 1,
        )
        with self._changed:
            self._posting = posting
            self._changed.notify_all()
        return posting

    def latest(self) -> Posting | None:
        """The latest posting; ``None`` before the first."""
        return self._posting

    def wait_for_posting(self, after: int, timeout_s: float) -> Posting | None:
        """Wait for a posting numbered above ``after``; ``None`` when none came in time."""
        with self._changed:
            self._changed.wait_for(
                lambda: self._posting is not None and self._posting.number > after, timeout_s
            )
            posting = self._posting
        return posting if posting is not None and posting.number > after else None
