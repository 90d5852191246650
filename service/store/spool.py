"""A file beside the database for what cannot be committed now: ``<database>.spool``.

A record is::

    4 bytes  "HWS1"
    4 bytes  length of the body, big-endian
    4 bytes  CRC-32 of the length and the body, big-endian
    n bytes  body

Records are found by their mark and believed by their checksum, so a torn or damaged one costs
itself and no other. An append is on the disk (``fsync``) when it returns.
"""

from __future__ import annotations

import contextlib
import logging
import mmap
import os
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path

from service.store.files import sync_folder

log = logging.getLogger(__name__)

MARK = b"HWS1"
_HEAD_BYTES = 12

BODY_MAX_BYTES = 64 * 1024 * 1024
"""A longer body is not believed."""

SPOOL_MAX_BYTES = 1024 * 1024 * 1024
"""The file grows no further: some weeks of a shop's readings."""


class SpoolFull(OSError):
    """The spool file has reached its limit."""


def pack(body: bytes) -> bytes:
    """A body as a record."""
    length = len(body).to_bytes(4, "big")
    return MARK + length + zlib.crc32(length + body).to_bytes(4, "big") + body


class Spool:
    """Appends records durably and reads them back in order. For one thread at a time.

    Args:
        path: The file; made by the first append.
        max_bytes: It grows no further than this.
    """

    def __init__(self, path: Path, max_bytes: int = SPOOL_MAX_BYTES) -> None:
        self.path = path
        self._max_bytes = max_bytes
        self._fd: int | None = None
        # Behind the last whole record: a torn end is cut off before anything is appended.
        self._end = max((end for _, end in self.read()), default=0)
        self.records = 0
        """Records appended by this object since the file was last emptied."""

    def __bool__(self) -> bool:
        """Whether anything is in it."""
        return self._end > 0

    @property
    def size_bytes(self) -> int:
        return self._end

    def append(self, bodies: Sequence[bytes]) -> None:
        """Add records and return when they are on the disk; all of them, or none.

        Raises:
            OSError: The disk would not take them; the file is as it was.
        """
        data = b"".join(map(pack, bodies))
        if self._end + len(data) > self._max_bytes:
            raise SpoolFull(f"the spool {self.path} is full at {self._max_bytes} bytes")
        fd = self._open()
        try:
            _write_all(fd, data, self._end)
            os.fsync(fd)
        except OSError:
            # What was half written is cut off again. Should that fail too, the reader skips it
            # by its checksum, and the next append overwrites it.
            with contextlib.suppress(OSError):
                os.ftruncate(fd, self._end)
            raise
        self._end += len(data)
        self.records += len(bodies)

    def read(self, from_byte: int = 0) -> Iterator[tuple[bytes, int]]:
        """Every whole record from a place on, each with the place after it."""
        if not self.path.exists():
            return
        with self.path.open("rb") as file:
            if os.fstat(file.fileno()).st_size <= from_byte:
                return
            with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
                yield from _records(data, from_byte)

    def clear(self) -> None:
        """Empty the file, once all of it is in the database."""
        fd = self._open()
        os.ftruncate(fd, 0)
        os.fsync(fd)
        self._end = 0
        self.records = 0

    def close(self) -> None:
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None

    def _open(self) -> int:
        if self._fd is None:
            new = not self.path.exists()
            self._fd = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
            os.ftruncate(self._fd, self._end)
            if new:
                sync_folder(self.path.parent)
        return self._fd


def _write_all(fd: int, data: bytes, at: int) -> None:
    view = memoryview(data)
    while view:
        written = os.pwrite(fd, view, at)
        at += written
        view = view[written:]


def _records(data: mmap.mmap, at: int) -> Iterator[tuple[bytes, int]]:
    while (start := data.find(MARK, at)) >= 0:
        if start > at:
            log.warning("the spool has %d damaged bytes at %d, skipped", start - at, at)
        body = _body_at(data, start)
        if body is None:
            at = start + 1
            continue
        at = start + _HEAD_BYTES + len(body)
        yield body, at


def _body_at(data: mmap.mmap, start: int) -> bytes | None:
    """The body of the record that begins here; ``None`` when it is torn or damaged."""
    head = data[start + len(MARK) : start + _HEAD_BYTES]
    length = int.from_bytes(head[:4], "big")
    if len(head) < 8 or length > BODY_MAX_BYTES:
        return None
    body = data[start + _HEAD_BYTES : start + _HEAD_BYTES + length]
    whole = len(body) == length and zlib.crc32(head[:4] + body) == int.from_bytes(head[4:], "big")
    return body if whole else None
