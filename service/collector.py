"""The wiring in the middle: every reading and every action gets its place in one order here.

One lock gives each reading and action its stamps and its sequence number and hands it, in that
order, to the writer (which keeps it) and to the judge's queue (which weighs it). One thread runs
the judge. Nothing here waits for the database or for a page:

* a source calls ``intake`` and is held back only when the judge is far behind;
* an operator's ``act`` waits for the judge's answer, and briefly for the journal;
* the writer keeps what it cannot commit in its spool.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence

from service.board import Board
from service.checkpoints import Checkpoints
from service.clock import Clock
from service.judge.actions import (
    Action,
    ClockStepped,
    OperatorAction,
    RecordingChanged,
    ServiceAction,
    UpdateTimeTold,
)
from service.judge.arrival import Arrivals
from service.judge.events import TICK_US, Acted, Advance, Outcome, Refused, Stamp
from service.judge.judge import Judge
from service.judge.promises import Promises
from service.readings import Reading
from service.store.entries import PackMark
from service.store.writer import Writer
from service.tickets import ActResult, Queued, Ticket, numbered
from service.wire.senml import Pack

log = logging.getLogger(__name__)

BACKLOG_LIMIT = 20_000
"""Events waiting for the judge before a source is held back; some seconds of its work."""

ANSWER_S = 5.0
"""How long an operator's action waits for the judge [s, real]."""

JOURNAL_S = 1.0
"""How long it then waits for the journal before answering "not yet recorded" [s, real]."""

STEP_US = 50_000
"""A wall clock that has moved this far against the monotonic one has been stepped [µs]."""

GATHER_S = 0.005
"""The judge takes readings in strides: one thread switch for a burst, not for each reading [s]."""

POST_EVERY_S = 0.05
"""Least time between two postings of the board [s, real]."""


Listener = Callable[[Outcome], None]


class Collector:
    """Gives everything its order and runs the judge.

    Args:
        judge: Already rebuilt from the journal.
        writer: Started by the caller.
        board: Where the judge's answers are posted.
        clock: The shop's clocks.
        next_seq: First free sequence number.
        mono_floor_us: Largest monotonic time ever recorded [µs]; the collector's starts above.
        checkpoint_version: What the judge's checkpoints are marked with.
        listeners: Told of every outcome on the judge's thread; must not block.
    """

    def __init__(
        self,
        judge: Judge,
        writer: Writer,
        board: Board,
        clock: Clock,
        *,
        next_seq: int,
        mono_floor_us: int,
        checkpoint_version: str,
        listeners: Sequence[Listener] = (),
    ) -> None:
        self._judge = judge
        self._writer = writer
        self._board = board
        self._clock = clock
        self._listeners = tuple(listeners)
        utc_us = clock.utc_us()
        self._mono_shift_us = max(utc_us, mono_floor_us + 1_000_000) - clock.monotonic_us()
        self._offset_us = utc_us - self._mono_us()
        self._order = threading.Lock()
        self._seq = next_seq
        self._last_mono_us = 0
        self._arrivals = Arrivals(judge)
        self._promises = Promises(
            {
                name: track.update_us
                for name, track in judge.state.channels.items()
                if track.update_us is not None
            }
        )
        self._queue: deque[Reading | Queued] = deque()
        queue_lock = threading.Lock()
        self._work = threading.Condition(queue_lock)
        self._room = threading.Condition(queue_lock)
        self._stopping = False
        self._urgent = False
        self.checkpoints = Checkpoints(judge, writer, self._order, checkpoint_version)
        self._thread = threading.Thread(target=self._run, name="judge", daemon=True)
        self.judge_progress_s = time.monotonic()
        """When the judge's thread last came round [s, real monotonic]."""
        self.failures = 0
        """Events whose handling raised: each is logged, none stops the judge."""

    # Time ---------------------------------------------------------------------------------

    def _mono_us(self) -> int:
        return self._clock.monotonic_us() + self._mono_shift_us

    @property
    def offset_us(self) -> int:
        """Wall clock minus monotonic shop time [µs], as last journalled."""
        return self._offset_us

    def utc_us(self) -> int:
        """The shop's UTC [µs], in step with the stamps that readings get."""
        return self._mono_us() + self._offset_us

    def _place(self) -> tuple[int, int, int]:
        """The next place in the order: sequence number, shop time and wall clock [µs].

        Call with ``_order`` held.
        """
        mono_us = max(self._mono_us(), self._last_mono_us)
        self._last_mono_us = mono_us
        seq = self._seq
        self._seq += 1
        return seq, mono_us, mono_us + self._offset_us

    def _stamp(self) -> Stamp:
        """The same for an action."""
        return Stamp(*self._place())

    # Life ---------------------------------------------------------------------------------

    def start(self, first: ServiceAction) -> None:
        """Begin judging; ``first`` (the start of the service) comes before everything else.

        Nothing is posted until the judge has taken it in: what the judge remembers of the last
        run ("not recording", say) must not be shown as of now.
        """
        self._thread.start()
        ticket = Ticket()
        self._submit(first, ticket)
        if not ticket.answered.wait(ANSWER_S):
            log.warning("the judge is still busy with what passed while the service was away")

    def stop(self, timeout_s: float) -> bool:
        """Work off the queue and stop the judge; ``True`` when its thread has ended."""
        with self._work:
            self._stopping = True
            self._work.notify_all()
        if self._thread.is_alive():
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    # In -----------------------------------------------------------------------------------

    def intake(self, link: str, pack: Pack, ack: Callable[[], None] | None = None) -> None:
        """Take a decoded pack: stamp it, keep it, queue it for the judge.

        Args:
            link: Where it came from; the sender's marks on packs count within it.
            pack: What the decoder found; its rejects stay with the link's own counts.
            ack: Called from any thread once everything taken up to and including this pack is
                on disk.
        """
        self._wait_for_room()
        with self._order:
            for measurement in pack.measurements:
                if measurement.update_us is not None:
                    self._promised(measurement.name, measurement.update_us)
            readings = self._arrive(pack)
            if readings or ack is not None:
                # With nothing in it to keep (its rejects are counted, and asking for it again
                # would bring the same bytes) it is acknowledged in its turn all the same.
                self._writer.put_readings(readings, ack, PackMark.of(link, pack))
            if readings:
                self._push(readings)

    def _arrive(self, pack: Pack) -> list[Reading]:
        """A pack's readings in their places; call with ``_order`` held.

        The clock is asked once. Each reading has a microsecond of its own, less than its handling
        takes, so shop time does not run ahead of the clock.
        """
        if not pack.measurements:
            return []
        seq, mono_us, utc_us = self._place()
        readings = self._arrivals.arrive_together(
            pack.measurements, seq, mono_us, utc_us, kept=pack.retained
        )
        self._seq, self._last_mono_us = readings[-1].seq + 1, readings[-1].mono_us
        return readings

    def _promised(self, channel: str, update_us: int) -> None:
        """A source says how often it will be heard; the judge is told when that changes."""
        if self._promises.is_news(channel, update_us, max(self._mono_us(), self._last_mono_us)):
            told = UpdateTimeTold(channel=channel, update_us=update_us)
            self._push([Queued(self._stamp(), told, None)])

    def act(self, action: OperatorAction) -> ActResult:
        """Do what an operator asks; waits for the judge's answer.

        Raises:
            Refused: It cannot be done now, or the judge did not answer; one sentence.
        """
        ticket = Ticket()
        self._submit(action, ticket)
        if not ticket.answered.wait(ANSWER_S):
            raise Refused(f"the judge did not answer within {ANSWER_S:g} s; try again")
        if ticket.refusal is not None:
            raise Refused(ticket.refusal)
        acted = ticket.acted
        if acted is None:  # pragma: no cover - answered without refusal always has it
            raise Refused("the action was lost; try again")
        recorded = ticket.recorded.wait(JOURNAL_S)
        return ActResult(
            seq=acted.stamp.seq,
            part_id=getattr(acted.action, "part_id", None),
            heat_id=getattr(acted.action, "heat_id", None),
            recorded=recorded,
        )

    def tell(self, action: ServiceAction) -> None:
        """Put an action of the service itself into the order; does not wait."""
        self._submit(action, None)

    def recording_changed(self, recording: bool, detail: str) -> None:
        """For the writer: readings do (not) reach the database."""
        self.tell(RecordingChanged(recording=recording, detail=detail))

    def _submit(self, action: Action, ticket: Ticket | None) -> None:
        with self._order:
            self._push([Queued(self._stamp(), action, ticket)], urgent=True)

    def _push(self, items: Sequence[Reading | Queued], *, urgent: bool = False) -> None:
        with self._work:
            asleep = not self._queue
            self._queue.extend(items)
            self._urgent |= urgent
            if asleep or urgent:
                self._work.notify_all()

    def _wait_for_room(self) -> None:
        if len(self._queue) < BACKLOG_LIMIT:
            return  # nearly always, and looking costs no lock
        with self._room:
            self._room.wait_for(
                lambda: self._stopping or len(self._queue) < BACKLOG_LIMIT, timeout=30.0
            )

    # The judge's thread -------------------------------------------------------------------

    def _run(self) -> None:
        next_post_s = 0.0
        changed = False
        while True:
            self.judge_progress_s = now_s = time.monotonic()
            if changed and now_s >= next_post_s:
                self._guarded(self._post)
                changed = False
                next_post_s = now_s + POST_EVERY_S
            pause_s = next_post_s - now_s if changed else self._until_tick_s()
            if self.checkpoints.due(now_s):
                self._guarded(self.checkpoints.keep)
            batch = self._take(max(pause_s, 0.001))
            if batch is None:
                self._guarded(self.checkpoints.keep)
                return
            self._judge_batch(batch)
            changed = changed or bool(batch)
            if not batch:
                changed = self._guarded(self._pass_time) or changed

    def _until_tick_s(self) -> float:
        """Real time until the judge's next tick [s], and a little more so that it has come."""
        return (TICK_US - self._mono_us() % TICK_US) / 1e6 / self._clock.speed + 0.001

    def _take(self, pause_s: float) -> list[Reading | Queued] | None:
        """What waits, at most a thousand at a time; ``None`` when stopping and all is done."""
        with self._work:
            if not self._queue and not self._stopping:
                self._work.wait(pause_s)
                if self._queue and not self._urgent:
                    self._work.wait(GATHER_S)
            self._urgent = False
            if not self._queue:
                return None if self._stopping else []
            batch = [self._queue.popleft() for _ in range(min(len(self._queue), 1000))]
            self._room.notify_all()
            return batch

    def _guarded(self, work: Callable[..., bool | None], *args: object) -> bool:
        """One failure in the judge must not end the watch over every other part."""
        try:
            return bool(work(*args))
        except Exception:
            self.failures += 1
            log.exception("the judge failed on %r", args)
            return False

    def _judge_batch(self, batch: Sequence[Reading | Queued]) -> None:
        """Everything in turn. What a reading changes is told before the next one is looked at."""
        weigh, checkpoints, outcome = self._judge.weigh, self.checkpoints, Outcome()
        for item in batch:
            if not isinstance(item, Reading):
                self._guarded(self._handle, item)
                continue
            checkpoints.judged_seq = item.seq
            try:
                weigh(item, outcome)
            except Exception:
                self.failures += 1
                log.exception("the judge failed on %r", item)
            if outcome.alarms or outcome.verdicts or outcome.trips:
                told, outcome = outcome, Outcome()
                self._guarded(self._publish, told)

    def _handle(self, item: Queued) -> None:
        ticket = item.ticket
        acted = Acted(item.stamp, numbered(item.action, self._judge.shop))
        if ticket is not None and self._judge.shop.seen(item.action.token) is not None:
            # The same tap again (a double tap, an answer lost on the way): done already.
            ticket.acted = acted
            ticket.recorded.set()
            ticket.answered.set()
            return
        try:
            outcome = self._judge.step(acted)
        except Refused as refusal:
            if ticket is not None:
                ticket.refusal = str(refusal)
                ticket.answered.set()
            else:
                log.warning("the judge refused %s: %s", item.action.kind, refusal)
            return
        except Exception:
            if ticket is not None:
                ticket.refusal = "something went wrong inside; the log says what"
                ticket.answered.set()
            raise
        self.checkpoints.judged_seq = item.stamp.seq
        self._writer.put_action(acted, ticket.recorded.set if ticket else None)
        self._publish(outcome)
        if ticket is not None:
            ticket.acted = acted
            # A page that asks right after its tap must see what the tap did.
            self._guarded(self._post)
            ticket.answered.set()

    def _pass_time(self) -> bool:
        """Nothing arrived: let the judge's ticks come, and look whether the date was set."""
        with self._order:
            with self._work:
                if self._queue:
                    return False
            mono_us = max(self._mono_us(), self._last_mono_us)
            self._last_mono_us = mono_us
            offset_us = self._clock.utc_us() - self._mono_us()
            if abs(offset_us - self._offset_us) > STEP_US:
                log.warning("the wall clock moved by %+.3f s", (offset_us - self._offset_us) / 1e6)
                self._push([Queued(self._stamp(), ClockStepped(offset_us=offset_us), None)])
                self._offset_us = offset_us
                return False
        outcome = self._judge.step(Advance(mono_us, mono_us + self._offset_us))
        self._publish(outcome)
        return True

    def _publish(self, outcome: Outcome) -> None:
        if not outcome.changed:
            return
        self._writer.put_outcome(outcome)
        for listener in self._listeners:
            listener(outcome)

    def _post(self) -> None:
        self._board.post(self._judge.bench())
