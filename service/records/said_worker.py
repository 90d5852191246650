"""Judging a heat again takes a processor for a while: done in a process of its own, out of the way.

``python -m service.records.said_worker URL HEAT`` writes how much is done as one number a line,
then the answer as JSON. ``Sayings`` is the service's side of it: one such process at a time, the
newest answers kept.
"""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from service.records.gather import clock_of
from service.records.packing import pack
from service.records.said_then import said_json, said_then, step_s
from service.records.scores import scores_json, scores_of
from service.store.database import Store
from service.store.errors import StoreError

log = logging.getLogger(__name__)

KEPT = 6
WAITING_MOST = 6
OPEN_HEAT_S = 60.0
"""An answer about a heat that still runs is made anew after so long [s, real]."""
NICE = 5


def main(words: Sequence[str]) -> int:
    """The worker."""
    url, heat_id = words[0], int(words[1])
    os.nice(NICE)
    store = Store.open_to_read(url)
    try:
        package, clock = pack(store, heat_id), clock_of(store, heat_id)
    finally:
        store.close()
    every_s = step_s(package)

    def progress(share: float) -> None:
        sys.stdout.write(f"{share:.2f}\n")
        sys.stdout.flush()  # a reader that has gone ends this process here

    said = said_json(list(said_then(package, every_s, progress)), clock.of_mono)
    scores = scores_json(scores_of(heat_id, said))
    told = {"heat_id": heat_id, "every_s": every_s, "said": said, "scores": scores}
    sys.stdout.write(json.dumps(told) + "\n")
    return 0


@dataclass(slots=True)
class _Work:
    heat_id: int
    open_heat: bool
    done: float = 0.0
    answer: Mapping[str, Any] | None = None
    fault: str | None = None
    ended_s: float = field(default_factory=lambda: float("inf"))

    def stale(self) -> bool:
        """Whether it must be made anew: it failed, or the heat has gone on."""
        if self.fault is not None:
            return True
        return self.open_heat and time.monotonic() - self.ended_s > OPEN_HEAT_S


class Sayings:
    """Answers of the worker; every method may be called from several threads.

    Args:
        url: Of the database.
    """

    def __init__(self, url: str) -> None:
        self._url = url
        self._lock = threading.Lock()
        self._turn = threading.Lock()
        self._works: OrderedDict[int, _Work] = OrderedDict()

    def ask(self, heat_id: int, *, open_heat: bool) -> tuple[float, Mapping[str, Any] | None]:
        """How much is done, and the answer when it is all; the first question begins the work.

        Args:
            heat_id: A heat that is there.
            open_heat: It still runs.

        Raises:
            StoreError: It cannot be judged again, or too many wait already; ask again later.
        """
        with self._lock:
            work = self._works.get(heat_id)
            fault = None if work is None else work.fault
            if work is None or work.stale():
                waiting = sum(each.answer is None for each in self._works.values())
                if fault is None and waiting >= WAITING_MOST:
                    raise StoreError("other heats are being judged again; try again in a minute")
                self._works.pop(heat_id, None)
                if fault is not None:
                    raise StoreError(f"heat {heat_id} could not be judged again: {fault}")
                work = self._works[heat_id] = _Work(heat_id, open_heat)
                threading.Thread(
                    target=self._do, args=(work,), name=f"said-{heat_id}", daemon=True
                ).start()
            self._works.move_to_end(heat_id)
            finished = [each for each in self._works.values() if each.answer is not None]
            for each in finished[: max(0, len(finished) - KEPT)]:
                del self._works[each.heat_id]
            return (1.0 if work.answer is not None else work.done), work.answer

    def _do(self, work: _Work) -> None:
        with self._turn:
            try:
                work.answer = self._answer(work)
            except (OSError, ValueError) as error:
                log.warning("heat %d was not judged again: %s", work.heat_id, error)
                work.fault = str(error)
            work.ended_s = time.monotonic()

    def _answer(self, work: _Work) -> Mapping[str, Any]:
        command = [sys.executable, "-m", "service.records.said_worker", self._url]
        last = ""
        with (
            tempfile.TemporaryFile("w+", encoding="utf-8") as faults,
            subprocess.Popen(  # noqa: S603 - our own module, by this very interpreter
                [*command, str(work.heat_id)],
                stdout=subprocess.PIPE, stderr=faults, text=True, encoding="utf-8",
            ) as process,
        ):  # fmt: skip
            for line in process.stdout or ():
                if line.startswith("{"):
                    last = line
                else:
                    work.done = float(line)
            process.wait()
            faults.seek(0)
            said = faults.read()
        if process.returncode != 0:
            raise ValueError(said.strip().rpartition("\n")[2] or f"exit {process.returncode}")
        answer: Mapping[str, Any] = json.loads(last)
        return answer


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
