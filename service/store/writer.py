"""The one writer: everything that is recorded goes through it, in order.

Two threads. The *writer* does all input and output: it commits whatever is queued, at once, and
sets by in the spool what cannot be committed. The *watch* touches no file, so it can tell that
the writer is stuck in one: after two seconds without a commit it says that nothing is being
recorded, and acknowledges what is held in memory.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from service.judge.events import Acted, Outcome
from service.readings import Reading
from service.store.database import Store
from service.store.entries import Arrived, Checkpoint, PackMark
from service.store.pending import Pending
from service.store.safekeeping import Safekeeping

log = logging.getLogger(__name__)

SPOOL_READINGS = 100_000
"""Readings held in memory when no file takes them: about three hours of eight channels at 1 Hz."""

NOT_RECORDING_S = 2.0
"""Without a commit for so long, "not recording" is said [s, real]."""

WATCH_S = 0.2
"""How often the watch looks [s, real]."""


@dataclass(frozen=True, slots=True)
class WriterStatus:
    """How the writer is doing.

    Attributes:
        recording: Readings reach the database.
        detail: What is wrong, in words; empty when nothing is.
        queued: Readings not on a disk yet.
        spooled: Readings that have gone through the spool file since the start.
        lost: Readings that could be kept nowhere since the start: the gap.
        duplicates: Second deliveries recognised since the start.
        moved: Readings moved by a microsecond or more, their instant being taken.
        misfits: Entries the tables would not take; they are in the table ``misfit``.
        committed: New rows of readings since the start.
        last_progress: When the writer's thread last came round [s, real monotonic].
    """

    recording: bool
    detail: str
    queued: int
    spooled: int
    lost: int
    duplicates: int
    moved: int
    misfits: int
    committed: int
    last_progress: float


class Writer:
    """Records readings, actions and outcomes.

    Args:
        store: Opened with ``Store.open``.
        commit_window_ms: Collect this long before a commit [ms]; spares a worn memory card, and
            delays acknowledgements by as much. 0 commits at once.
        spool_readings: Readings held in memory when no file takes them.
        on_recording: Told when recording stops or resumes, with the reason in words; called on
            the watch's thread.
        not_recording_after_s: See ``NOT_RECORDING_S``.
    """

    def __init__(
        self,
        store: Store,
        *,
        commit_window_ms: float = 0,
        spool_readings: int = SPOOL_READINGS,
        on_recording: Callable[[bool, str], None] = lambda recording, detail: None,
        not_recording_after_s: float = NOT_RECORDING_S,
    ) -> None:
        side = store.write_side
        self._keeper = side.keeper
        self._pending = Pending(spool_readings)
        self._keeping = Safekeeping(
            side.keeper, store.spool, side.drain, self._pending, store.damage_found
        )
        self._window_s = commit_window_ms / 1000
        self._on_recording = on_recording
        self._after_s = not_recording_after_s
        self._recording = True
        self._detail = ""
        self._progress_s = time.monotonic()
        self._unsaved = 0
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self._watch = threading.Thread(target=self._look, name="writer watch", daemon=True)

    # Life ---------------------------------------------------------------------------------

    def start(self) -> None:
        self._thread.start()
        self._watch.start()

    def stop(self, timeout_s: float) -> bool:
        """Bring everything to safety and end; ``True`` if that was done in time."""
        self._pending.close()
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        done = not self._thread.is_alive()
        self._ended.set()
        if self._watch.ident is not None:
            self._watch.join(timeout_s)
        return done and self._unsaved == 0 and self._pending.is_idle()

    # In -----------------------------------------------------------------------------------

    def put_readings(
        self,
        readings: Sequence[Reading],
        ack: Callable[[], None] | None = None,
        mark: PackMark | None = None,
    ) -> None:
        """Record readings that came together; returns at once.

        Args:
            readings: In order of ``seq``; none, where only the order of ``ack`` matters.
            ack: Called once, in order of the calls, when the readings are on a disk (or, while
                nothing is being recorded, when they are held); from one of the writer's threads.
            mark: What its sender marked the pack with, to be kept together with the readings.
        """
        self._pending.put(Arrived(tuple(readings), mark), ack)

    def put_action(self, acted: Acted, recorded: Callable[[], None] | None = None) -> None:
        """Record an action; ``recorded`` is called when it is on a disk."""
        self._pending.put(acted, recorded=recorded)

    def put_outcome(self, outcome: Outcome) -> None:
        """Record alarm and verdict changes."""
        self._pending.put(outcome)

    def put_checkpoint(self, seq: int, state: bytes) -> None:
        """Record the judge's state after the event ``seq``, behind everything put before."""
        self._pending.put(Checkpoint(seq, state))

    def status(self) -> WriterStatus:
        """A snapshot, from any thread."""
        counts = self._keeping.counts
        return WriterStatus(
            recording=self._recording,
            detail=self._detail or self._keeping.trouble or "",
            queued=self._pending.held,
            spooled=self._keeping.spooled,
            lost=self._pending.lost,
            duplicates=counts.duplicates,
            moved=counts.moved,
            misfits=self._keeper.misfits,
            committed=counts.new,
            last_progress=self._progress_s,
        )

    def flush(self, timeout_s: float) -> bool:
        """Wait until everything handed over so far is in the database; whether it is."""
        until_s = time.monotonic() + timeout_s
        while not (self._pending.is_idle() and self._keeping.direct):
            if time.monotonic() >= until_s:
                return False
            time.sleep(0.002)
        return True

    # The writer's thread ------------------------------------------------------------------

    def _run(self) -> None:
        while True:
            self._progress_s = time.monotonic()
            try:
                items = self._pending.take(self._keeping.pause_s(), self._window_s)
                self._keeping.keep(items)
                if self._pending.closing and not items:
                    break
                self._keeping.retry()
            except Exception:
                # A fault of ours. The thread must live: it is the only one that writes.
                log.exception("the writer failed on something; it goes on")
                self._ended.wait(WATCH_S)
        self._unsaved = self._keeping.finish()
        if self._unsaved:
            log.error("%d readings could be written nowhere and are lost", self._unsaved)

    # The watch's thread -------------------------------------------------------------------

    def _look(self) -> None:
        while not self._ended.wait(WATCH_S):
            try:
                self._look_once()
            except Exception:
                log.exception("telling whether readings are recorded failed")

    def _look_once(self) -> None:
        oldest_s = self._pending.oldest_s()
        stuck = oldest_s is not None and oldest_s >= self._after_s
        overflowing = self._pending.overflowing
        # Only what no file takes is acknowledged from memory: a spool file that works is as
        # good as the database.
        self._pending.release(stuck or overflowing)
        trouble = self._keeping.trouble
        failing = trouble is not None and (time.monotonic() - self._keeping.good_s >= self._after_s)
        if self._recording and (stuck or overflowing or failing):
            self._tell(False, trouble or "the disk does not answer")
        elif not self._recording and trouble is None and not (stuck or overflowing):
            self._tell(True, "")

    def _tell(self, recording: bool, detail: str) -> None:
        self._recording, self._detail = recording, detail
        lost = self._pending.lost
        log.warning(
            "readings %s the database%s; lost so far: %d",
            "reach" if recording else "do not reach",
            f" ({detail})" if detail else "",
            lost,
        )
        self._on_recording(recording, detail)
