"""The judge's state kept now and then, so that a restart need not replay a day."""

from __future__ import annotations

import copy
import threading
import time

from service.judge.checkpoint import encode
from service.judge.judge import Judge
from service.store.writer import Writer

EVERY_S = 60.0
"""How often the state is kept [s, real] ..."""

FIRST_S = 5.0
"""... and how soon after the start: what was just replayed need not be replayed again [s, real]."""


class Checkpoints:
    """Hands the judge's state to the writer. For the judge's thread.

    Args:
        judge: Whose state.
        writer: Takes it, behind everything that the state rests on.
        order: Held while a reading passes the judge's gate.
        version: Of all code that the state depends on; only that may take it up again.
    """

    def __init__(self, judge: Judge, writer: Writer, order: threading.Lock, version: str) -> None:
        self._judge = judge
        self._writer = writer
        self._order = order
        self._version = version
        self._due_s = time.monotonic() + FIRST_S
        self._kept_seq = 0
        self.judged_seq = 0
        """The last reading or accepted action that the judge has seen."""
        self.took_s = 0.0
        """How long the judge was held up by the last one [s, real]."""
        self.size_bytes = 0
        """Size of the last one."""

    def due(self, now_s: float) -> bool:
        """Whether it is time for one."""
        return now_s >= self._due_s

    def keep(self) -> None:
        """Keep the state, if anything has happened since the last time.

        While nothing can be recorded there is nothing to go with it either.
        """
        begun_s = time.monotonic()
        self._due_s = begun_s + EVERY_S
        if self.judged_seq == self._kept_seq or not self._writer.status().recording:
            return
        with self._order:  # the gate's memory changes with every arrival
            gate = copy.deepcopy(self._judge.gate)
        state = encode((self._judge.state, gate), self._version)
        self._writer.put_checkpoint(self.judged_seq, state)
        self._kept_seq = self.judged_seq
        self.took_s, self.size_bytes = time.monotonic() - begun_s, len(state)
