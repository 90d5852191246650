"""Acknowledgements in the order of arrival, and never by the wrong connection.

A broker counts on both: MQTT 3.1.1 section 4.6 asks for the order, and a message number means
something only within the connection it came by. Commits finish when they finish, on another
thread; this queue puts them right.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial


@dataclass(slots=True, eq=False)
class _Waiting:
    number: int
    generation: int
    done: bool = False


class AckQueue:
    """Messages of the present connection whose readings are not all committed yet.

    A message is entered without a lock: the network thread must not wait while the writer's
    thread, which holds it, works through a row of acknowledgements.

    Args:
        send: Acknowledges a message number to the broker; called in order, under the lock, from
            whatever thread completes the front of the queue. It must not block.
    """

    def __init__(self, send: Callable[[int], object]) -> None:
        self._send = send
        self._lock = threading.Lock()
        self._generation = 0
        self._open = False
        self._waiting: deque[_Waiting] = deque()
        self.dropped = 0
        """Acknowledgements that came too late for their connection: the broker sends again."""

    @property
    def waiting(self) -> int:
        """Messages that have come and are not acknowledged."""
        with self._lock:
            return sum(entry.generation == self._generation for entry in self._waiting)

    def connected(self) -> None:
        """A new connection begins; what the last one left is void."""
        with self._lock:
            self._void()
            self._open = True

    def lost(self) -> None:
        """The connection is gone; nothing may be sent until the next one begins."""
        with self._lock:
            self._void()

    def expect(self, number: int) -> Callable[[], None]:
        """A message has come; returns what to call once, from any thread, when it is safe."""
        entry = _Waiting(number, self._generation)
        self._waiting.append(entry)
        return partial(self._finish, entry)

    def _finish(self, entry: _Waiting) -> None:
        with self._lock:
            if entry.generation != self._generation:
                self.dropped += 1
            entry.done = True
            waiting = self._waiting
            # One of an earlier connection may have been entered just as that one was lost.
            while waiting and (waiting[0].done or waiting[0].generation != self._generation):
                front = waiting.popleft()
                if self._open and front.generation == self._generation:
                    self._send(front.number)

    def _void(self) -> None:
        self._generation += 1
        self._open = False
        self._waiting.clear()
