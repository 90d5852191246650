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
import threading
import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from serial.tools import list_ports
from sqlalchemy.engine import make_url

from service.config import DashboardConfig, MqttConfig
from service.sources.ports import PortNotFound, holders, list_candidates, resolve_port, unclaimed

Found = tuple[bool, str]

BROKER_WAIT_S = 5.0
"""How long the broker may take to answer [s]."""

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
    import paho.mqtt.client as paho  # noqa: PLC0415 - only when there is a broker to ask
    from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415

    where = f"{mqtt.host}:{mqtt.port}"
    # Another client id than the service's: a broker ends the older session of the same name.
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"hw-check-{uuid.uuid4().hex[:12]}",
        protocol=paho.MQTTv311,
    )
    answered, answer = threading.Event(), []

    def on_connect(_client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        answer.append(reason)
        answered.set()

    client.on_connect = on_connect
    client.connect_timeout = BROKER_WAIT_S
    try:
        if mqtt.username is not None:
            client.username_pw_set(mqtt.username, mqtt.password())
        if mqtt.tls_ca_file is not None:
            client.tls_set(
                ca_certs=str(mqtt.tls_ca_file),
                certfile=None if mqtt.tls_cert_file is None else str(mqtt.tls_cert_file),
                keyfile=None if mqtt.tls_key_file is None else str(mqtt.tls_key_file),
            )
        client.connect(mqtt.host, mqtt.port, keepalive=10)
    except (OSError, ValueError) as error:
        return False, f"{where} cannot be reached: {error}"
    client.loop_start()
    try:
        if not answered.wait(BROKER_WAIT_S):
            return False, f"{where} is connected but gives no MQTT answer"
    finally:
        client.disconnect()
        client.loop_stop()
    if answer[0].is_failure:
        return False, f"{where} refuses: {str(answer[0]).lower()}"
    return True, f"{where} answers; topics {', '.join(mqtt.topics)}"


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
