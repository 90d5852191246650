"""Looking at ports, brokers, files and programs without taking any of them.

Each probe returns ``(would open, what was found)``.
"""

from __future__ import annotations

import os
import shlex
import shutil
import socket
import stat
import sys
from collections.abc import Sequence
from pathlib import Path

from serial.tools import list_ports
from sqlalchemy.engine import make_url

from service.config import DashboardConfig, MqttConfig
from service.sources.ports import PortNotFound, holders, list_candidates, resolve_port, unclaimed

Found = tuple[bool, str]

SERVER_WAIT_S = 5.0
"""How long a server may take to answer [s]."""

_SQLITE_MAGIC = b"SQLite format 3\0"  # https://www.sqlite.org/fileformat2.html section 1.3


def store(url: str) -> Found:
    """Whether the database file could be opened or made."""
    path = Path(str(make_url(url).database))
    if path.exists():
        return _existing_store(path)
    folder = path.parent
    while not folder.exists():
        folder = folder.parent
    if not folder.is_dir() or not os.access(folder, os.W_OK | os.X_OK):
        return False, f"{path} cannot be made: no right to write in {folder}"
    return True, f"{path} would be made"


def _existing_store(path: Path) -> Found:
    if not path.is_file():
        return False, f"{path} is not a file"
    if not os.access(path, os.R_OK | os.W_OK) or not os.access(path.parent, os.W_OK):
        return False, f"{path} may not be written by this user"
    with path.open("rb") as file:
        start = file.read(16)
    if start not in (_SQLITE_MAGIC, b""):
        return False, f"{path} is not a SQLite database"
    return True, f"{path} ({path.stat().st_size / 1e6:.1f} MB)"


def serial_port(name: str) -> Found:
    """Whether a serial port is there, allowed and free. It is not opened."""
    try:
        device = resolve_port(name)
    except PortNotFound as error:
        return False, str(error)
    shown = name if device == name else f"{name} is {device}, which"
    fault = _port_fault(device)
    return fault is None, f"{shown} {fault or 'is there and free'}"


def missing_port(name: str) -> str | None:
    """Why a serial port could not be opened even if nobody held it; ``None`` if it could."""
    try:
        device = resolve_port(name)
    except PortNotFound as error:
        return str(error)
    fault = _missing(device)
    return None if fault is None else f"{name} {fault}"


def _port_fault(device: str) -> str | None:
    fault = _missing(device)
    if fault is not None:
        return fault
    others = holders(device)
    return f"is busy: held by {', '.join(others)}" if others else None


def _missing(device: str) -> str | None:
    if sys.platform == "win32":
        seen = {info.device.upper() for info in list_ports.comports()}
        return None if device.upper() in seen else "is not there"
    try:
        mode = os.stat(device)
    except OSError as error:
        return f"cannot be opened: {(error.strerror or str(error)).lower()}"
    if not stat.S_ISCHR(mode.st_mode):
        return "is not a serial port"
    if not os.access(device, os.R_OK | os.W_OK):
        return "may not be opened by this user (on Debian: group dialout)"
    return None


def log_file(path: Path) -> Found:
    """Whether a log can be followed; one that is not there yet may still come."""
    if not path.exists():
        return path.parent.is_dir(), f"{path} is not there yet"
    try:
        with path.open("rb"):
            pass
    except OSError as error:
        return False, f"{path} cannot be read: {(error.strerror or str(error)).lower()}"
    return True, f"{path} ({path.stat().st_size / 1e6:.1f} MB)"


def broker(mqtt: MqttConfig) -> Found:
    """Whether the broker takes a connection with the configured credentials."""
    from service.commands.broker_visit import NoBroker, visit  # noqa: PLC0415 - only to ask one

    try:
        with visit(mqtt, "check"):
            return True, f"{mqtt.host}:{mqtt.port} answers; topics {', '.join(mqtt.topics)}"
    except NoBroker as error:
        return False, str(error)


def server(host: str, port: int) -> Found:
    """Whether somebody listens there; nothing is said to them."""
    where = f"{host} port {port}"
    try:
        with socket.create_connection((host, port), timeout=SERVER_WAIT_S):
            return True, f"{where} can be reached; 'heatwindow notify' sends a test notice"
    except OSError as error:
        return False, f"{where} cannot be reached: {(error.strerror or str(error)).lower()}"


def page(dashboard: DashboardConfig) -> Found:
    """Whether the page's address is free."""
    where = f"http://{dashboard.host}:{dashboard.port}"
    try:
        found = socket.getaddrinfo(
            dashboard.host, dashboard.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )
        family, kind, protocol, _, address = found[0]
        with socket.socket(family, kind, protocol) as server:
            server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            server.bind(address)
    except OSError as error:
        return False, f"{where}: {(error.strerror or str(error)).lower()}"
    if not dashboard.on_loopback:
        return True, f"{where} (CAUTION: everybody on the network can reach it)"
    return True, where


def program(name: str) -> Found:
    """Whether a program can be found and run."""
    found = shutil.which(name)
    return (True, found) if found else (False, f"{name} is not a program that can be run")


def unused_ports(known: Sequence[str]) -> list[str]:
    """Serial ports of this machine that ``known`` does not name, and how to take them in."""
    return [
        f"{port.description} at {port.device}: to read it, adopt it on the page, or "
        f"heatwindow check --adopt {shlex.quote(port.name)}"
        for port in unclaimed(list_candidates(), known)
    ]
