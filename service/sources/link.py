"""What every link has in common: where its packs go, how it is watched, how it stops.

A link is one way in: a serial port, the broker, a log file. It decodes, counts and hands packs
to the collector's *intake*; arrival times, quality and order are the collector's business. Its
*status* is evidence, not a verdict: whether data flow is told by their age, never by "open".
"""

from __future__ import annotations

import logging
import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Protocol

from service.clock import Clock
from service.sources.status import LAST_RAW_BYTES, LinkKind, LinkStatus, Tally
from service.wire.duplicates import PackFilter
from service.wire.pack import Pack, Reject, RejectCause, count_rejects

__all__ = ["Ack", "Intake", "Link", "LinkKind", "LinkStatus", "ThreadedLink"]

log = logging.getLogger(__name__)

Ack = Callable[[], None]

STOP_WITHIN_S = 5.0
LOG_AGAIN_US = 60_000_000
"""A message that repeats is logged once in this time [µs]."""
MAX_LOGGED = 200


class Intake(Protocol):
    """The collector's door for packs."""

    def __call__(self, link: str, pack: Pack, ack: Ack | None) -> None:
        """Take a pack that has just arrived.

        Args:
            link: Name of the link it came by.
            pack: What was decoded; may hold rejects only.
            ack: To be called once, from any thread, after everything taken up to and including
                this pack is committed; ``None`` where nobody waits for it.
        """


class Link(ABC):
    """Base of all links: counting, handing on, starting and stopping.

    A subclass runs its own thread and reports through the ``note_…`` methods and ``deliver``.
    Everything here may be called from any thread.
    """

    kind: LinkKind

    def __init__(self, name: str, intake: Intake, clock: Clock) -> None:
        self.name = name
        self._intake = intake
        self._clock = clock
        self._tally = Tally(progress_us=clock.monotonic_us())
        self._tally_lock = threading.Lock()
        self._logged_us: dict[str, int] = {}
        self._filter = PackFilter()
        self._uncommitted: dict[tuple[str, int], list[Ack]] = {}
        """Acknowledgements of marked packs by mark, those of their repeats included."""

    @abstractmethod
    def start(self) -> None:
        """Begin; returns at once. What cannot be opened yet is tried again for ever."""

    @abstractmethod
    def stop(self, timeout_s: float = STOP_WITHIN_S) -> bool:
        """End, within ``timeout_s``; false when the thread would not (never expected)."""

    @abstractmethod
    def alive(self) -> bool:
        """Whether the link's thread runs."""

    def status(self) -> LinkStatus:
        """A consistent copy of everything counted."""
        with self._tally_lock:
            return self._tally.snapshot(self.name, self.kind, running=self.alive())

    def note_state(
        self, state: str, *, ready: bool, opened: bool = False, trouble: bool = True
    ) -> None:
        """The way in has opened or closed; told in words, logged when it changes.

        A state that is neither ready nor ``trouble`` is a step on the way.
        """
        with self._tally_lock:
            changed = state != self._tally.state
            self._tally.state = state
            self._tally.ready = ready
            self._tally.openings += opened
        if changed and self.may_log(state):
            level = logging.WARNING if trouble and not ready else logging.INFO
            log.log(level, "%s: %s", self.name, state)

    def note_progress(self) -> None:
        """The link's thread has gone round its loop."""
        with self._tally_lock:
            self._tally.progress_us = self._clock.monotonic_us()

    def note_bytes(self, data: bytes, lines: int = 0) -> None:
        """Bytes have come, ``lines`` of them being complete lines or messages."""
        now_us = self._clock.monotonic_us()
        with self._tally_lock:
            tally = self._tally
            tally.lines += lines
            tally.last_byte_us = now_us
            if len(data) >= LAST_RAW_BYTES:
                tally.last_raw = data[-LAST_RAW_BYTES:]
            else:
                tally.last_raw = (tally.last_raw + data)[-LAST_RAW_BYTES:]

    def note_lines(self, count: int) -> None:
        """Complete lines or messages have come."""
        with self._tally_lock:
            self._tally.lines += count

    def note_reset(self) -> None:
        """A board behind the link has powered up anew."""
        with self._tally_lock:
            self._tally.resets += 1

    def note_error(self, where: str, error: BaseException) -> None:
        """A fault of our own; logged with its trace, but not each time it repeats."""
        with self._tally_lock:
            self._tally.errors += 1
        if self.may_log(where):
            log.error("%s: %s failed: %r", self.name, where, error, exc_info=error)

    def may_log(self, what: str) -> bool:
        """Whether enough time has passed to log this again: a repeating fault fills a card."""
        now_us = self._clock.monotonic_us()
        with self._tally_lock:
            last_us = self._logged_us.get(what)
            if last_us is not None and now_us - last_us < LOG_AGAIN_US:
                return False
            if len(self._logged_us) >= MAX_LOGGED:
                self._logged_us.clear()
            self._logged_us[what] = now_us
            return True

    def deliver(self, pack: Pack, ack: Ack | None = None) -> bool:
        """Count a pack and hand it to the intake; never raises.

        Returns:
            Whether the intake has taken it.

        A pack that has been here before goes on empty, and its acknowledgement waits for the
        commit of the first copy. A failing intake is counted, and the pack is then not
        acknowledged: the broker still has it.
        """
        if self._filter.is_repeat(pack):
            ack = self._after_first_copy(pack, ack)
            text = f"pack {pack.seq} of boot {pack.boot!r} was here before"
            pack = Pack(
                rejects=[*pack.rejects, Reject(RejectCause.DUPLICATE, text)],
                boot=pack.boot,
                seq=pack.seq,
                retained=pack.retained,
            )
        elif ack is not None:
            ack = self._first_copy(pack, ack)
        self._count(pack)
        try:
            self._intake(self.name, pack, ack)
        except Exception as error:  # noqa: BLE001 - a link outlives any fault of the intake
            self.note_error("intake", error)
            return False
        self._filter.passed(pack)
        return True

    def remember(self, boot: str, seq: int) -> None:
        """Take a pack with these marks for a repeat; call before the start only."""
        self._filter.remember(boot, seq)

    def refuse(self, rejects: list[Reject]) -> None:
        """Count refusals that belong to no pack (a line too long, say) and hand them on."""
        if rejects:
            self.deliver(Pack(rejects=rejects))

    def _first_copy(self, pack: Pack, ack: Ack) -> Ack:
        """The acknowledgement of a marked pack, which takes those of its repeats along."""
        if pack.boot is None or pack.seq is None:
            return ack
        mark = (pack.boot, pack.seq)
        with self._tally_lock:
            self._uncommitted[mark] = [ack]

        def committed() -> None:
            with self._tally_lock:
                acks = self._uncommitted.pop(mark, [])
            for each in acks:
                each()

        return committed

    def _after_first_copy(self, pack: Pack, ack: Ack | None) -> Ack | None:
        """A repeat's acknowledgement: left with the first copy's while that is not committed."""
        if ack is None or pack.boot is None or pack.seq is None:
            return ack
        with self._tally_lock:
            waiting = self._uncommitted.get((pack.boot, pack.seq))
            if waiting is None:
                return ack
            waiting.append(ack)
            return None

    def _count(self, pack: Pack) -> None:
        with self._tally_lock:
            tally = self._tally
            tally.sums_ignored += pack.sums_ignored
            if pack.rejects:
                tally.rejects += count_rejects(pack.rejects)
                tally.last_reject = pack.rejects[-1].text
            if pack.measurements:
                tally.packs += 1
                tally.measurements += len(pack.measurements)
                tally.last_valid_us = self._clock.monotonic_us()


class ThreadedLink(Link):
    """A link with a thread of its own, which outlives every fault.

    A subclass implements ``_session``: open, read until ``stopping`` is set or the way is lost,
    close. It is called again after a pause that doubles from ``RETRY_FIRST_S`` to
    ``RETRY_MOST_S`` and starts afresh once bytes have come.
    """

    RETRY_FIRST_S = 0.1
    RETRY_MOST_S = 2.0

    def __init__(self, name: str, intake: Intake, clock: Clock) -> None:
        super().__init__(name, intake, clock)
        self.stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._retry_s = self.RETRY_FIRST_S

    def start(self) -> None:
        if self._thread is not None:
            raise RuntimeError(f"{self.name} has been started before")
        self._thread = threading.Thread(target=self._run, name=self.name, daemon=True)
        self._thread.start()

    def stop(self, timeout_s: float = STOP_WITHIN_S) -> bool:
        self.stopping.set()
        self._wake()
        if self._thread is None:
            return True
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def alive(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def note_bytes(self, data: bytes, lines: int = 0) -> None:
        super().note_bytes(data, lines)
        self._retry_s = self.RETRY_FIRST_S

    @abstractmethod
    def _session(self) -> None:
        """One opening from begin to end; returns when the way is lost or ``stopping`` is set."""

    def _wake(self) -> None:
        """Called at stop: end a blocked read, if the subclass has one."""

    def _run(self) -> None:
        while not self.stopping.is_set():
            self.note_progress()
            try:
                self._session()
            except Exception as error:  # noqa: BLE001 - whatever it was, the port is tried again
                self.note_error("reading", error)
                self.note_state(f"failed: {error}", ready=False)
            if self.stopping.wait(self._retry_s):
                break
            self._retry_s = min(2 * self._retry_s, self.RETRY_MOST_S)
        self.note_state("stopped", ready=False, trouble=False)
