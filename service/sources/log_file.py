"""A log file that some other program writes: followed as it grows.

Nothing is opened for writing and nothing is locked, so the writer never notices. A file that has
become shorter or has been replaced (rotated) is read anew from its beginning.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO

from service.clock import Clock
from service.sources.link import Intake, ThreadedLink
from service.wire.lines import LineAssembler
from service.wire.profiles import LineProfile

POLL_S = 0.2
CHUNK_BYTES = 65_536


class LogFileLink(ThreadedLink):
    """One log file.

    Args:
        path: The file; it may not exist yet.
        profile: How its lines are decoded.
        intake: Where packs go.
        clock: The shop's clocks.
        from_start: Read what is in the file already. Right for a log whose lines carry their
            times, since a reading already kept is not kept twice; otherwise only what is written
            from now on is read (and the first line, which may be a header).
    """

    kind = "log file"

    def __init__(
        self,
        path: Path,
        profile: LineProfile,
        intake: Intake,
        clock: Clock,
        *,
        from_start: bool = False,
    ) -> None:
        super().__init__(f"log file {path}", intake, clock)
        self.path = path
        self._profile = profile
        self._skip_old = not from_start
        self._lines = LineAssembler()

    def _session(self) -> None:
        try:
            file = self.path.open("rb", buffering=0)
        except OSError as error:
            self._skip_old = False  # what is written into a file that comes later is all new
            self.note_state(f"cannot read {self.path}: {error.strerror}", ready=False)
            return
        with file:
            self._profile.restart()
            if self._skip_old:
                self._skip_old = False
                self._read_header_only(file)
            self.note_state("open", ready=True, opened=True)
            self._follow(file)
        self._lines.break_off()
        self.refuse(self._lines.take_rejects())

    def _follow(self, file: BinaryIO) -> None:
        """Until the stop, or until the file is no longer the one under this name."""
        while not self.stopping.is_set():
            self.note_progress()
            data = file.read(CHUNK_BYTES)
            if data:
                self._take(data)
                continue
            if self._replaced(file):
                self.note_state("replaced or cut short: read anew", ready=False, trouble=False)
                return
            self.stopping.wait(POLL_S)

    def _take(self, data: bytes) -> None:
        self.note_bytes(data)
        lines = self._lines.feed(data)
        self.refuse(self._lines.take_rejects())
        self.note_lines(len(lines))
        for line in lines:
            for pack in self._profile.decode(line):
                self.deliver(pack)

    def _read_header_only(self, file: BinaryIO) -> None:
        """Show the profile the first line, drop what it makes of it, and go to the last line."""
        first, end, _ = file.read(CHUNK_BYTES).partition(b"\n")
        if end:
            self._profile.decode(first)
        size = file.seek(0, os.SEEK_END)
        tail_from = max(0, size - CHUNK_BYTES)
        file.seek(tail_from)
        tail = file.read(CHUNK_BYTES)
        file.seek(tail_from + tail.rfind(b"\n") + 1)  # a half line is completed later

    def _replaced(self, file: BinaryIO) -> bool:
        opened = os.fstat(file.fileno())
        if file.tell() > opened.st_size:
            return True
        try:
            named = self.path.stat()
        except OSError:
            return True
        return (named.st_dev, named.st_ino) != (opened.st_dev, opened.st_ino)
