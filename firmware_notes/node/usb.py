"""Packs as lines on the board's own USB serial port (its standard output).

Nobody acknowledges a line, so what counts is that it was written. Nothing is written while the
host takes nothing, and then only a little at a time: a write that has to wait would stop the
measuring. Samples wait in the ring meanwhile.
"""

import select
import sys

CHUNK = 64
AT_ONCE = 32
"""Chunks before the inputs have their turn again."""


class UsbLink:
    """Sends an outbox as lines.

    Args:
        outbox: The packs.
    """

    linked = True

    def __init__(self, outbox: object) -> None:
        self._outbox = outbox
        self._out = getattr(sys.stdout, "buffer", sys.stdout)
        self._poll = select.poll()
        self._poll.register(sys.stdout, select.POLLOUT)
        self._rest = b""
        self._seq = None

    def step(self, _now_ms: int) -> None:
        """Write as much as is taken."""
        for _ in range(AT_ONCE):
            if not self._poll.poll(0):
                return
            if not self._rest and not self._next():
                return
            written = self._out.write(self._rest[:CHUNK])
            if not written:
                return
            self._rest = self._rest[written:]
            if not self._rest:
                self._outbox.arrived(self._seq)

    def _next(self) -> bool:
        seq = self._outbox.next()
        if seq is None:
            return False
        line = self._outbox.take(seq)
        if line is None:
            return False
        self._seq, self._rest = seq, line + b"\n"
        return True
