"""Finding serial ports and telling them apart by what they are, not by when they were plugged in.

Names such as ``/dev/ttyUSB0`` change with the order of plugging. A port is therefore named by one
of these, best first:

* ``usb:VID:PID:SERIAL`` - the adapter with this serial number, in whatever socket;
* a link below ``/dev/serial/by-path`` - the adapter in this socket, for identical adapters
  without serial numbers;
* a plain device path, or ``COM3`` on Windows.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from serial.tools import list_ports

LINKS = Path("/dev/serial")


class PortNotFound(LookupError):
    """No port, or more than one, fits the name; the message says which are there."""


@dataclass(frozen=True, slots=True)
class PortIdentity:
    """A serial port that is present.

    Attributes:
        device: Its name today.
        description: What it says of itself, for a person.
        usb: ``VID:PID`` in hexadecimal; ``None`` for a port that is not on USB.
        serial_number: The adapter's own; cheap ones have none.
        by_id: Link named for maker, model and serial number, if the system makes one.
        by_path: Link named for the socket it is plugged into, if the system makes one.
        name: What to write into the config so that it is found again.
    """

    device: str
    description: str
    usb: str | None
    serial_number: str | None
    by_id: str | None
    by_path: str | None
    name: str


Lister = Callable[[], Iterable[Any]]
"""Gives what ``serial.tools.list_ports.comports`` gives; passed in for tests."""


def list_candidates(
    lister: Lister = list_ports.comports, links: Path = LINKS
) -> list[PortIdentity]:
    """Every port that could carry readings, with the name it is best known by."""
    infos = sorted(lister(), key=lambda info: str(info.device))
    by_id, by_path = _links(links / "by-id"), _links(links / "by-path")
    marks = [_usb_mark(info) for info in infos]
    found = []
    for info, mark in zip(infos, marks, strict=True):
        real = os.path.realpath(info.device)
        unique = mark is not None and info.serial_number and marks.count(mark) == 1
        path = by_path.get(real)
        found.append(
            PortIdentity(
                device=info.device,
                description=_description(info),
                usb=None if info.vid is None else f"{info.vid:04x}:{info.pid:04x}",
                serial_number=info.serial_number or None,
                by_id=by_id.get(real),
                by_path=path,
                name=mark if unique and mark else path or info.device,
            )
        )
    return found


def resolve_port(name: str, lister: Lister = list_ports.comports, links: Path = LINKS) -> str:
    """The device to open for a name from the config.

    Args:
        name: ``usb:VID:PID``, ``usb:VID:PID:SERIAL``, or anything else, which is taken as it is.
        lister: What lists the ports.
        links: Where the system keeps its links to ports.

    Raises:
        PortNotFound: A ``usb:`` name fits no port or several.
    """
    if not name.startswith("usb:"):
        return name
    present = list_candidates(lister, links)
    fitting = [port for port in present if name.lower() in _usb_names(port)]
    if len(fitting) == 1:
        return fitting[0].device
    if fitting:
        listed = ", ".join(port.by_path or port.device for port in fitting)
        raise PortNotFound(f"{len(fitting)} ports are {name}: name one of {listed}")
    listed = ", ".join(port.name for port in present) or "none"
    raise PortNotFound(f"no port is {name}; present: {listed}")


def holders(device: str, proc: Path = Path("/proc")) -> list[str]:
    """Which other programs have a device open, as far as we may see: ``name (pid)``.

    Linux only; elsewhere, or where nothing may be seen, the list is empty.
    """
    real = os.path.realpath(device)
    found = []
    for process in proc.glob("[0-9]*"):
        if process.name == str(os.getpid()):
            continue
        try:
            if any(_points_to(link, real) for link in (process / "fd").iterdir()):
                found.append(f"{(process / 'comm').read_text().strip()} ({process.name})")
        except OSError:  # ended meanwhile, or somebody else's: not ours to see
            continue
    return sorted(found)


def _points_to(link: Path, device: str) -> bool:
    try:
        return os.readlink(link) == device
    except OSError:  # closed meanwhile
        return False


def _usb_mark(info: Any) -> str | None:
    if info.vid is None:
        return None
    mark = f"usb:{info.vid:04x}:{info.pid:04x}"
    return f"{mark}:{info.serial_number}" if info.serial_number else mark


def _usb_names(port: PortIdentity) -> set[str]:
    if port.usb is None:
        return set()
    names = {f"usb:{port.usb}"}
    if port.serial_number:
        names.add(f"usb:{port.usb}:{port.serial_number}".lower())
    return names


def _links(folder: Path) -> dict[str, str]:
    """Link target to link name; several links to one port: the first by name."""
    try:
        entries = sorted(folder.iterdir(), reverse=True)
    except OSError:
        return {}
    return {os.path.realpath(entry): str(entry) for entry in entries}


def _description(info: Any) -> str:
    text = info.description
    return text if isinstance(text, str) and text not in ("", "n/a") else str(info.device)


def unclaimed(present: Iterable[PortIdentity], configured: Iterable[str]) -> list[PortIdentity]:
    """The ports that no configured name stands for: they are offered for adoption."""
    names = set(configured)
    taken = {os.path.realpath(name) for name in names}
    usb_taken = {name.lower() for name in names if name.startswith("usb:")}
    return [
        port
        for port in present
        if os.path.realpath(port.device) not in taken and not usb_taken & _usb_names(port)
    ]
