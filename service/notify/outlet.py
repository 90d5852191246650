"""What every way of telling has in common: a thread of its own, a bounded queue, a status.

The judge's thread calls ``hear`` and must never wait: it only puts things down. Whatever is slow
(a program, a port, a broker, a mail server) happens on the outlet's own thread, so a hung sounder
delays neither the judge nor the lamp. Anybody may ask for a trial: a test notice, sent once, whose
outcome then stands in the status.
"""

from __future__ import annotations

import logging
import threading
import time
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

from service.judge.events import AlarmChange, Outcome, VerdictChange
from service.notify.forms import TrialNotice

log = logging.getLogger(__name__)

QUEUE_LIMIT = 1000
"""Changes waiting for one outlet; the oldest is dropped, counted, when one more comes."""
PAUSES_S = (1.0, 1.0)
"""Between attempts at one message [s, real]; after one more than these it is given up."""
WAIT_MOST_S = 120.0
"""A receiver that asks for time gets no more than this [s, real]."""

Change = AlarmChange | VerdictChange


@dataclass(frozen=True, slots=True)
class Trial:
    """One test notice.

    Attributes:
        at_us: When it was asked for [µs UTC].
        state: What became of it.
        text: The same in words.
    """

    at_us: int
    state: Literal["waiting", "told", "failed"]
    text: str


@dataclass(frozen=True, slots=True)
class OutletStatus:
    """One way of telling, at one moment.

    Attributes:
        key: Which, in one word.
        name: Which.
        running: Its thread lives.
        told: Messages that got through.
        failed: Messages given up after their last attempt.
        dropped: Messages the queue had no room for.
        waiting: Messages in the queue.
        last_error: What went wrong last, in words; ``None`` while nothing has.
        working: The last attempt got through; ``None`` before there was one.
        trial: The last test notice, if there was one.
    """

    key: str
    name: str
    running: bool
    told: int
    failed: int
    dropped: int
    waiting: int
    last_error: str | None
    working: bool | None
    trial: Trial | None


class TellFailed(RuntimeError):
    """One attempt did not get through; the message says why, and holds no secret.

    Args:
        text: What happened.
        lasting: The same message would fail again.
        wait_s: How long the receiver asks to be left alone [s].
    """

    def __init__(self, text: str, *, lasting: bool = False, wait_s: float | None = None) -> None:
        super().__init__(text)
        self.lasting = lasting
        self.wait_s = wait_s


class Outlet(ABC):
    """Base of all outlets.

    A subclass says what it does with one change in ``deliver`` and with a test notice in
    ``deliver_trial``, and may override ``wants``.

    Args:
        key: One word, for addresses and commands.
        name: For status and log.
        pauses_s: Between attempts at one message [s, real].
    """

    def __init__(self, key: str, name: str, pauses_s: Sequence[float] = PAUSES_S) -> None:
        self.key = key
        self.name = name
        self._pauses_s = tuple(pauses_s)
        self._queue: deque[Change] = deque()
        self._work = threading.Condition()
        self._stopping = threading.Event()
        self._told = self._failed = self._dropped = 0
        self._last_error: str | None = None
        self._working: bool | None = None
        self._trial: Trial | None = None
        self._trial_due: TrialNotice | None = None
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
                key=self.key,
                name=self.name,
                running=self._thread.is_alive(),
                told=self._told,
                failed=self._failed,
                dropped=self._dropped,
                waiting=self.waiting(),
                last_error=self._last_error,
                working=self._working,
                trial=self._trial,
            )

    def waiting(self) -> int:
        """Messages not told yet; called with ``_work`` held."""
        return len(self._queue)

    def wants(self, change: Change) -> bool:
        """Whether this outlet tells of such a change; alarms only, unless overridden."""
        return isinstance(change, AlarmChange)

    @abstractmethod
    def deliver(self, change: Change) -> None:
        """Tell of one change; raises ``TellFailed`` when it did not get through."""

    @abstractmethod
    def deliver_trial(self, notice: TrialNotice) -> str:
        """Send a test notice, once.

        Returns:
            What is known to have happened, in words.

        Raises:
            TellFailed: It did not get through.
        """

    def close(self) -> None:  # noqa: B027 - most outlets hold nothing open
        """Let go of whatever is open; called on the outlet's thread at its end."""

    # Trials ---------------------------------------------------------------------------------

    def try_out(self, notice: TrialNotice) -> None:
        """Ask for a test notice; returns at once, ``status().trial`` tells what became of it.

        One that still waits is not asked for twice.
        """
        with self._work:
            if self._trial_due is not None:
                return
            self._trial_due = notice
            self._trial = Trial(notice.at_us, "waiting", "on its way")
            self._work.notify_all()

    def serve_trial(self) -> None:
        """Send the test notice that is asked for, if there is one."""
        with self._work:
            notice = self._trial_due
        if notice is None:
            return
        try:
            text = self.deliver_trial(notice)
        except TellFailed as error:
            self.note_failure(str(error), given_up=False)
            trial = Trial(notice.at_us, "failed", str(error))
        except Exception as error:
            log.exception("%s failed", self.name)
            trial = Trial(notice.at_us, "failed", f"{type(error).__name__}: {error}")
            self.note_failure(trial.text, given_up=False)
        else:
            trial = Trial(notice.at_us, "told", text)
            with self._work:
                self._working = True
        with self._work:
            self._trial, self._trial_due = trial, None

    # The thread -----------------------------------------------------------------------------

    def note_success(self) -> None:
        """One message got through."""
        with self._work:
            self._told += 1
            self._working = True

    def note_failure(self, text: str, given_up: bool) -> None:
        """One attempt failed. The log gets each new sort of failure once, not every repeat."""
        with self._work:
            news = text != self._last_error or self._working is not False
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
                else:
                    self.serve_trial()
        finally:
            self.close()
            self._forget_trial()

    def _next(self) -> Change | None:
        """The next change; ``None`` when a trial is asked for and nothing else waits."""
        with self._work:
            self._work.wait_for(
                lambda: self._queue or self._trial_due is not None or self._stopping.is_set()
            )
            return self._queue.popleft() if self._queue else None

    def _forget_trial(self) -> None:
        """Nobody will send it any more."""
        with self._work:
            if self._trial is not None and self._trial_due is not None:
                self._trial = replace(self._trial, state="failed", text="the service is stopping")
            self._trial_due = None

    def attempt(self, tell: Callable[[], None]) -> None:
        """Try something a few times; what fails is counted, never raised."""
        for pause_s in (*self._pauses_s, None):
            try:
                tell()
            except TellFailed as error:
                last = pause_s is None or error.lasting
                self.note_failure(str(error), given_up=last)
                asked_s = min(error.wait_s or 0.0, WAIT_MOST_S)
            except Exception as error:
                log.exception("%s failed", self.name)
                self.note_failure(f"{type(error).__name__}: {error}", given_up=True)
                return
            else:
                self.note_success()
                return
            if last or pause_s is None or self._pause(max(pause_s, asked_s)):
                return

    def _pause(self, seconds: float) -> bool:
        """Wait before the next attempt, trials excepted; whether we are stopping."""
        end_s = time.monotonic() + seconds
        while not self._stopping.is_set():
            with self._work:
                left_s = end_s - time.monotonic()
                if left_s <= 0:
                    return False
                if self._trial_due is None:
                    self._work.wait(left_s)
            self.serve_trial()
        return True
