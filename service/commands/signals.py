"""Ending on purpose: a signal sets an event instead of tearing the program down."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

SORTS = [signal.SIGTERM, signal.SIGINT]
"""Ask to end: the supervisor, Ctrl-C, and (where there is such a thing) the closed terminal."""
if hasattr(signal, "SIGHUP"):
    SORTS.append(signal.SIGHUP)


@contextmanager
def stop_on_signals() -> Iterator[threading.Event]:
    """While inside, each of ``SORTS`` sets the event; a second one acts as usual."""
    stop = threading.Event()
    before = {sort: signal.getsignal(sort) for sort in SORTS}

    def ask_to_stop(_number: int, _frame: FrameType | None) -> None:
        stop.set()
        for sort in before:
            signal.signal(sort, signal.SIG_DFL)

    for sort in before:
        signal.signal(sort, ask_to_stop)
    try:
        yield stop
    finally:
        for sort, handler in before.items():
            signal.signal(sort, handler)
