"""The host's own sounder: a program run for an alarm that must be heard.

A browser cannot promise sound; this can. The program gets its arguments as configured, without
a shell, and the alarm in its environment (``HEATWINDOW_ALARM_KIND``, ``HEATWINDOW_ALARM_TEXT``).
It is run at once for every change that must be heard, and again every so often while any alarm is
unacknowledged. An acknowledgement ends it in mid-sound; so does its time limit.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress

from service.judge.events import AlarmChange, Outcome
from service.notify.forms import TrialNotice
from service.notify.outlet import Change, Outlet, TellFailed

_LOOK_S = 0.05
"""How often a running program is looked at [s]; bounds how late an acknowledgement silences."""
_GRACE_S = 0.5
"""From SIGTERM to SIGKILL [s]."""


class Sounder(Outlet):
    """Runs the sounder program.

    Args:
        argv: Program and arguments.
        every_s: Repeat this often while something is unacknowledged [s, real].
        timeout_s: End the program after this long [s, real].
    """

    def __init__(self, argv: Sequence[str], every_s: float, timeout_s: float) -> None:
        super().__init__("sounder", "sounder")
        self._argv = list(argv)
        self._every_s = every_s
        self._timeout_s = timeout_s
        # Below: what the judge's thread writes and the sounder's reads, under ``_work``.
        self._unacknowledged: dict[int, AlarmChange] = {}
        self._fresh: AlarmChange | None = None
        self._hushes = 0
        self._last_s: float | None = None

    def hear(self, outcome: Outcome) -> None:
        """Note which alarms sound now. What counts is the latest state, so nothing queues up."""
        if not outcome.alarms:
            return
        with self._work:
            for change in outcome.alarms:
                self._note(change)
            self._work.notify_all()

    def resume(self, live: Sequence[AlarmChange]) -> None:
        """Alarms that nobody had acknowledged when the service stopped sound on."""
        with self._work:
            for change in live:
                if change.state == "unacknowledged":
                    self._unacknowledged[change.alarm_id] = change

    def _note(self, change: AlarmChange) -> None:
        self._unacknowledged.pop(change.alarm_id, None)
        if change.state == "unacknowledged":
            self._unacknowledged[change.alarm_id] = change
        if change.speak:
            self._fresh = change
        if change.state not in ("acknowledged", "normal"):
            return  # "returned": gone by itself, which does not mean that anybody has heard it
        if self._fresh is not None and self._fresh.alarm_id == change.alarm_id:
            self._fresh = None
        if not self._unacknowledged:
            self._hushes += 1

    def _run(self) -> None:
        while not self._stopping.is_set():
            change = self._wait_for_turn()
            if change is None:
                self.serve_trial()
                continue
            try:
                self.deliver(change)
            except TellFailed as error:
                # The repetition while unacknowledged is the retry; its pace is the limit.
                self.note_failure(str(error), given_up=True)
            else:
                self.note_success()
            self._last_s = time.monotonic()
        self._forget_trial()

    def _wait_for_turn(self) -> AlarmChange | None:
        """What to sound for next, when its time has come; ``None`` for a trial or the end."""
        with self._work:
            while not self._stopping.is_set():
                if self._fresh is not None:
                    change, self._fresh = self._fresh, None
                    return change
                left_s = None
                if self._unacknowledged:
                    since_s = self._last_s or 0.0
                    left_s = since_s + self._every_s - time.monotonic()
                    if left_s <= 0:
                        return list(self._unacknowledged.values())[-1]
                if self._trial_due is not None:
                    return None
                self._work.wait(left_s)
        return None

    def waiting(self) -> int:
        """It repeats for what is unacknowledged; nothing else waits."""
        return 0 if self._fresh is None else 1

    def deliver(self, change: Change) -> None:
        """Sound for one alarm.

        Raises:
            TellFailed: The program could not be started, failed, or had to be ended.
        """
        if isinstance(change, AlarmChange):
            self._sound(change.kind, change.text)

    def deliver_trial(self, notice: TrialNotice) -> str:
        """Sound once, with the kind ``test``.

        Raises:
            TellFailed: The program could not be started, failed, or had to be ended.
        """
        self._sound("test", notice.text)
        return f"{self._argv[0]} has run"

    def _sound(self, kind: str, text: str) -> None:
        with self._work:
            hushes = self._hushes
        try:
            child = subprocess.Popen(  # noqa: S603 - the owner's own argument list, no shell
                self._argv,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={
                    **os.environ,
                    "HEATWINDOW_ALARM_KIND": kind,
                    "HEATWINDOW_ALARM_TEXT": text.replace("\0", " "),
                },
                # A session of its own, so that a script ends together with what it plays.
                start_new_session=True,
            )
        except (OSError, ValueError) as error:
            raise TellFailed(f"{self._argv[0]} cannot be run: {error}") from error
        self._attend(child, hushes)

    def _attend(self, child: subprocess.Popen[bytes], hushes: int) -> None:
        """Wait for the program, at most its time and until it is hushed or we stop."""
        deadline_s = time.monotonic() + self._timeout_s
        while child.poll() is None:
            with self._work:
                hushed = self._hushes != hushes
                if not hushed and not self._stopping.is_set():
                    self._work.wait(_LOOK_S)
            if hushed or self._stopping.is_set():
                _end(child)
                return
            if time.monotonic() > deadline_s:
                _end(child)
                raise TellFailed(f"{self._argv[0]} was ended after {self._timeout_s:g} s")
        if child.returncode != 0:
            raise TellFailed(f"{self._argv[0]} ended with code {child.returncode}")


def _end(child: subprocess.Popen[bytes]) -> None:
    """End the program and everything it started."""
    _signal(child, signal.SIGTERM)
    try:
        child.wait(_GRACE_S)
    except subprocess.TimeoutExpired:
        _signal(child, signal.SIGKILL if sys.platform != "win32" else signal.SIGTERM)
        child.wait()


def _signal(child: subprocess.Popen[bytes], sort: signal.Signals) -> None:
    if sys.platform == "win32":
        child.terminate()
        return
    with suppress(ProcessLookupError):  # it ended by itself in between
        os.killpg(child.pid, sort)
