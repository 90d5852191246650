"""What every way of telling has in common: a thread of its own, a bounded queue, a status.

The judge's thread calls ``hear`` and must never wait: it only puts things down. Whatever is slow
(a program, a port, a broker) happens on the outlet's own thread, so a hung sounder delays
neither the judge nor the lamp.
"""

from __future__ import annotations

import logging
import threading
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from service.judge.events import AlarmChange, Outcome, VerdictChange

log = logging.getLogger(__name__)

QUEUE_LIMIT = 1000
"""Changes waiting for one outlet; the oldest is dropped, counted, when one more comes."""
TRIES = 3
"""How often one message is tried before it is given up."""

Change = AlarmChange | VerdictChange


@dataclass(frozen=True, slots=True)
class OutletStatus:
    """One way of telling, at one moment.

    Attributes:
        name: Which.
        running: Its thread lives.
        told: Messages that got through.
        failed: Messages given up after ``TRIES`` attempts.
        dropped: Messages the queue had no room for.
        waiting: Messages in the queue.
        last_error: What went wrong last, in words; ``None`` while nothing has.
        working: The last attempt got through, or there was none.
    """

    name: str
    running: bool
    told: int
    failed: int
    dropped: int
    waiting: int
    last_error: str | None
    working: bool


class TellFailed(RuntimeError):
    """One attempt did not get through; the message says why."""


class Outlet(ABC):
    """Base of all outlets.

    A subclass says what it does with one change in ``deliver``, and may override ``wants``.

    Args:
        name: For status and log.
        retry_s: Pause between two attempts [s, real].
    """

    def __init__(self, name: str, retry_s: float = 1.0) -> None:
        self.name = name
        self._retry_s = retry_s
        self._queue: deque[Change] = deque()
        self._work = threading.Condition()
        self._stopping = threading.Event()
        self._told = self._failed = self._dropped = 0
        self._last_error: str | None = None
        self._working = True
        self._thread = threading.Thread(target=self._run, name=f"notify {name}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End after the attempt at hand; whether the thread has ended."""
        self._stopping.set()
        with self._work:
            self._work.notify_all()
        if self._thread.is_alive():
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def hear(self, outcome: Outcome) -> None:
        """Take what changed; never blocks and never raises."""
        changed: list[Change] = [*outcome.alarms, *outcome.verdicts]
        changes = [change for change in changed if self.wants(change)]
        if not changes:
            return
        with self._work:
            for change in changes:
                if len(self._queue) >= QUEUE_LIMIT:
                    self._queue.popleft()
                    self._dropped += 1
                self._queue.append(change)
            self._work.notify_all()

    def resume(self, live: Sequence[AlarmChange]) -> None:  # noqa: B027 - lines tell of changes only
        """Take over alarms that were live before this start; call before ``start``."""

    def status(self) -> OutletStatus:
        """How it is doing."""
        with self._work:
            return OutletStatus(
                name=self.name,
                running=self._thread.is_alive(),
                told=self._told,
                failed=self._failed,
                dropped=self._dropped,
                waiting=len(self._queue),
                last_error=self._last_error,
                working=self._working,
            )

    def wants(self, change: Change) -> bool:
        """Whether this outlet tells of such a change; alarms only, unless overridden."""
        return isinstance(change, AlarmChange)

    @abstractmethod
    def deliver(self, change: Change) -> None:
        """Tell of one change; raises ``TellFailed`` when it did not get through."""

    def close(self) -> None:  # noqa: B027 - most outlets hold nothing open
        """Let go of whatever is open; called on the outlet's thread at its end."""

    def note_success(self) -> None:
        """One message got through."""
        with self._work:
            self._told += 1
            self._working = True

    def note_failure(self, text: str, given_up: bool) -> None:
        """One attempt failed. The log gets each new sort of failure once, not every repeat."""
        with self._work:
            news = text != self._last_error or self._working
            self._last_error, self._working = text, False
            self._failed += given_up
        if news:
            log.warning("%s: %s", self.name, text)

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                change = self._next()
                if change is not None:
                    self.attempt(partial(self.deliver, change))
        finally:
            self.close()

    def _next(self) -> Change | None:
        with self._work:
            self._work.wait_for(lambda: self._queue or self._stopping.is_set())
            return self._queue.popleft() if self._queue else None

    def attempt(self, tell: Callable[[], None]) -> None:
        """Try something at most ``TRIES`` times; what fails is counted, never raised."""
        for attempt in range(1, TRIES + 1):
            try:
                tell()
            except TellFailed as error:
                self.note_failure(str(error), given_up=attempt == TRIES)
            except Exception as error:
                log.exception("%s failed", self.name)
                self.note_failure(f"{type(error).__name__}: {error}", given_up=True)
                return
            else:
                self.note_success()
                return
            if attempt == TRIES or self._stopping.wait(self._retry_s):
                return
