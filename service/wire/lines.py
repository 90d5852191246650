"""Bytes in, complete lines out: the assembler under every serial link and log file.

No I/O and no clock. A line ends with ``\\n``; a ``\\r`` before it is dropped. What cannot be a
line is thrown away and counted, and the next line feed always starts afresh, so neither garbage
nor a sender that never ends its line can stop the good lines behind it.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.wire.pack import Reject, RejectCause

MAX_LINE_BYTES = 65_536
"""Longest line kept: about a thousand SenML records."""


@dataclass(slots=True)
class LineCounts:
    """What has gone through an assembler since it was made.

    Attributes:
        bytes_in: Bytes fed.
        lines: Complete lines given out.
        blank: Empty lines skipped; not an error.
        too_long: Lines thrown away for their length.
        broken_off: Half lines thrown away because the link was lost in their midst.
        bytes_dropped: Bytes of the lines thrown away.
    """

    bytes_in: int = 0
    lines: int = 0
    blank: int = 0
    too_long: int = 0
    broken_off: int = 0
    bytes_dropped: int = 0


class LineAssembler:
    """Collects bytes into lines in bounded memory.

    At most ``max_line_bytes`` are kept between two calls, whatever is fed.
    """

    def __init__(self, max_line_bytes: int = MAX_LINE_BYTES) -> None:
        if max_line_bytes < 1:
            raise ValueError(f"max_line_bytes {max_line_bytes} must be at least 1")
        self.max_line_bytes = max_line_bytes
        self.counts = LineCounts()
        self.rejects: list[Reject] = []
        """Refusals since they were last taken: at most one for each ``max_line_bytes`` fed."""
        self._held = bytearray()
        self._skipping = False

    @property
    def held_bytes(self) -> int:
        """Bytes of an unfinished line kept at the moment."""
        return len(self._held)

    def feed(self, data: bytes) -> list[bytes]:
        """Add bytes; return the lines they complete, without their line ends, in order."""
        self.counts.bytes_in += len(data)
        *ended, rest = data.split(b"\n")
        lines = [line for piece in ended if (line := self._end_line(piece)) is not None]
        self._hold(rest)
        return lines

    def break_off(self) -> None:
        """The link was lost: forget the half line, so that it cannot join what comes next.

        After this the assembler stands at the start of a line, as after opening.
        """
        if self._held:
            self.counts.broken_off += 1
            self.counts.bytes_dropped += len(self._held)
            self._refuse(RejectCause.SYNTAX, f"half a line of {len(self._held)} bytes, link lost")
        self._held.clear()
        self._skipping = False

    def take_rejects(self) -> list[Reject]:
        """The refusals since the last call; they are forgotten here."""
        taken, self.rejects = self.rejects, []
        return taken

    def _end_line(self, piece: bytes) -> bytes | None:
        self._hold(piece)
        if self._skipping:
            self._skipping = False
            return None
        line = bytes(self._held)
        self._held.clear()
        line = line.removesuffix(b"\r")
        if not line.strip():
            self.counts.blank += 1
            return None
        self.counts.lines += 1
        return line

    def _hold(self, piece: bytes) -> None:
        if self._skipping:
            self.counts.bytes_dropped += len(piece)
            return
        if len(self._held) + len(piece) <= self.max_line_bytes:
            self._held += piece
            return
        self._skipping = True
        self.counts.too_long += 1
        self.counts.bytes_dropped += len(self._held) + len(piece)
        self._held.clear()
        self._refuse(RejectCause.LENGTH, f"a line longer than {self.max_line_bytes} bytes")

    def _refuse(self, cause: RejectCause, text: str) -> None:
        self.rejects.append(Reject(cause, text))
