"""A serial port as a source of readings.

The port is opened for us alone and read in whatever chunks have come, never by the line: one call
per byte would be five hundred times slower, and its time limit counts per byte. A port that is
missing, busy or pulled out is tried again for ever; the status says which it is.

Opening a port resets many boards, and a reset can come at any time in a weld's electrical noise.
Neither is a fault: the half line before it is dropped and counted, a new ``boot`` mark is noted,
and the next line is read as usual.

Our lock keeps out only programs that ask for it. One that opens the port all the same (a modem
manager, a terminal left open) takes bytes that we never see, so when an open port falls silent or
sends lines that cannot be read, whoever else holds it is named.
"""

from __future__ import annotations

import errno
import logging
import os
import threading
import time
from collections import deque

import serial

from service.clock import Clock
from service.sources.link import Ack, Intake, ThreadedLink
from service.sources.ports import PortNotFound, holders, resolve_port
from service.wire.lines import LineAssembler
from service.wire.pack import Pack, RejectCause
from service.wire.profiles import LineProfile, SenmlLines

log = logging.getLogger(__name__)

READ_WAIT_S = 0.5
"""Longest a read waits for a first byte; also how often the loop shows it is alive."""
CHUNK_BYTES = 65_536
"""Most bytes taken at once, which bounds memory."""
BOOTS_KNOWN = 64
"""Several boards may share a line, each with its own mark."""
SUSPICION_S = 3.0
"""An open port silent for so long may be read by somebody else [s, real]."""
LOOK_EVERY_S = 5.0
"""Who else holds the port is looked up no more often than this [s, real]."""


class _Port(serial.Serial):
    """pyserial's port, but what has already arrived when it is opened is kept."""

    def _reset_input_buffer(self) -> None:
        """Called by ``open``; a good line must not be lost there, and a half one does no harm."""


class SerialLink(ThreadedLink):
    """One serial port.

    Args:
        port: Device path or ``usb:…`` name, see ``service.sources.ports``.
        intake: Where packs go.
        clock: The shop's clocks.
        baud: Line speed [bit/s].
        profile: How a line is decoded.
        name: Name of the link; the port's by default.
    """

    kind = "serial"

    def __init__(
        self,
        port: str,
        intake: Intake,
        clock: Clock,
        *,
        baud: int = 115_200,
        profile: LineProfile | None = None,
        name: str | None = None,
    ) -> None:
        super().__init__(name or f"serial {port}", intake, clock)
        self.port = port
        self._baud = baud
        self._profile = profile or SenmlLines()
        self._lines = LineAssembler()
        self._open: serial.Serial | None = None
        self._open_lock = threading.Lock()
        self._boots: deque[str] = deque(maxlen=BOOTS_KNOWN)
        self._heard_s = 0.0
        self._looked_s = 0.0
        self._spoilt = False

    def deliver(self, pack: Pack, ack: Ack | None = None) -> bool:
        """As in ``Link``; a board that has powered up anew is noted."""
        if pack.boot is not None and pack.boot not in self._boots:
            if self._boots:
                self.note_reset()
                log.warning("%s: the board was reset (boot %s)", self.name, pack.boot)
            self._boots.append(pack.boot)
        return super().deliver(pack, ack)

    def _wake(self) -> None:
        with self._open_lock:
            if self._open is not None:
                self._open.cancel_read()

    def _session(self) -> None:
        try:
            device = resolve_port(self.port)
            port = _Port(
                device, self._baud, timeout=READ_WAIT_S, write_timeout=READ_WAIT_S, exclusive=True
            )
        except PortNotFound as error:
            self.note_state(str(error), ready=False)
            return
        except OSError as error:
            self.note_state(_why_not_open(device, error), ready=False)
            return
        with self._open_lock:
            self._open = port
        try:
            self._profile.restart()
            self._heard_s = self._looked_s = time.monotonic()
            self._spoilt = False
            self.note_state("open", ready=True, opened=True)
            self._read(port, device)
        finally:
            with self._open_lock:
                self._open = None
            port.close()
            self._lines.break_off()
            self.refuse(self._lines.take_rejects())

    def _read(self, port: serial.Serial, device: str) -> None:
        """Until the stop, or until the port is lost."""
        while not self.stopping.is_set():
            try:
                data = port.read(max(1, min(port.in_waiting, CHUNK_BYTES)))
            except OSError as error:  # SerialException is one; in_waiting raises it plain
                self.note_state(f"lost: {error}", ready=False)
                return
            self.note_progress()
            if data:
                self._take(data)
            elif _is_another_device(port, device):
                self.note_state(f"lost: {device} is another device now", ready=False)
                return
            self._look_for_others(device)

    def _take(self, data: bytes) -> None:
        self._heard_s = time.monotonic()
        self.note_bytes(data)
        lines = self._lines.feed(data)
        self.refuse(self._lines.take_rejects())
        self.note_lines(len(lines))
        for line in lines:
            for pack in self._profile.decode(line):
                self._spoilt |= any(each.cause is RejectCause.SYNTAX for each in pack.rejects)
                self.deliver(pack)

    def _look_for_others(self, device: str) -> None:
        """Name who may be taking our bytes, while there is reason to think so."""
        now_s = time.monotonic()
        if now_s - self._looked_s < LOOK_EVERY_S:
            return
        self._looked_s = now_s
        silent = now_s - self._heard_s > SUSPICION_S
        others = holders(device) if silent or self._spoilt else []
        self._spoilt = False
        if others:
            what = "nothing comes" if silent else "lines come broken"
            names = ", ".join(others)
            self.note_state(f"open, but {what}: {names} has opened {device} too", ready=True)
        else:
            self.note_state("open", ready=True)


def _why_not_open(device: str, error: OSError) -> str:
    """What a person can do something about."""
    if error.errno == errno.ENOENT:
        return f"no such port: {device}"
    if error.errno == errno.EACCES:
        return f"not allowed to open {device}: this user must be in the group that owns it"
    if error.errno in (errno.EBUSY, errno.EAGAIN):
        others = ", ".join(holders(device)) or "another program"
        return f"port busy: {device} is held by {others}"
    return f"cannot open {device}: {error}"


def _is_another_device(port: serial.Serial, device: str) -> bool:
    """A silent port may have been pulled out and another plugged in under the same name."""
    if os.name != "posix":
        return False
    try:
        return os.fstat(port.fileno()).st_rdev != os.stat(device).st_rdev
    except FileNotFoundError:
        return True
