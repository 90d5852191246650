"""The fault bench: a real broker and scripted serial ports, under the test's hand.

Plain classes, usable outside pytest too, and a fixture for each. Everything lives in the test's
own folder and on free loopback ports.
"""

from __future__ import annotations

import os
import select
import shutil
import signal
import socket
import subprocess
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

DEADLINE_S = 20.0


def wait_until(condition: Callable[[], object], what: str, deadline_s: float = DEADLINE_S) -> None:
    """Poll until the condition holds; fail, saying what was waited for, after the deadline."""
    end = time.monotonic() + deadline_s
    while not condition():
        if time.monotonic() > end:
            raise AssertionError(f"after {deadline_s} s still not: {what}")
        time.sleep(0.005)


def free_port() -> int:
    """A TCP port that was free on loopback a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Mosquitto:
    """A mosquitto of our own: started, stopped and killed at will, always on the same port.

    Args:
        folder: Where its config, log and persistence live.
        config: Whole text of its config with ``{port}`` and ``{folder}`` to be filled in.
    """

    OPEN_CONFIG = (
        "listener {port} 127.0.0.1\n"
        "allow_anonymous true\n"
        "persistence true\n"
        "persistence_location {folder}/\n"
        "max_queued_messages 0\n"
        "log_dest stderr\n"
    )

    def __init__(self, folder: Path, config: str | None = None) -> None:
        self.folder = folder
        self.port = free_port()
        self.tls_port = free_port()
        self.host = "127.0.0.1"
        self.config = config or self.OPEN_CONFIG
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start and wait until it answers."""
        program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        text = self.config.replace("{port}", str(self.port)).replace("{folder}", str(self.folder))
        if os.geteuid() == 0 and "\nuser " not in text:
            text += "user root\n"  # else it gives up root and cannot write into the folder
        file = self.folder / "mosquitto.conf"
        file.write_text(text)
        with (self.folder / "mosquitto.log").open("ab") as log:
            self.process = subprocess.Popen([program, "-c", str(file)], stdout=log, stderr=log)
        wait_until(self._answers, f"mosquitto on port {self.port}: {self.log()}")

    def stop(self) -> None:
        """As the system does at shutdown: it saves what it holds."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """As when the power fails, but for the disk's own cache."""
        self._end(signal.SIGKILL)

    def freeze(self) -> None:
        """The socket stays open and nothing answers."""
        assert self.process is not None
        self.process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGCONT)

    def log(self) -> str:
        file = self.folder / "mosquitto.log"
        return file.read_text(errors="replace") if file.exists() else ""

    def _end(self, how: signal.Signals) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGCONT)
            self.process.send_signal(how)
            self.process.wait(10)
            self.process = None

    def _answers(self) -> bool:
        assert self.process is not None
        if self.process.poll() is not None:
            raise AssertionError(f"mosquitto ended at once: {self.log()}")
        try:
            socket.create_connection((self.host, self.port), timeout=1).close()
        except OSError:
            return False
        return True


class Publisher:
    """A node on the broker: publishes and waits until the broker has taken it."""

    def __init__(self, port: int, client_id: str = "bench-node", **credentials: str) -> None:
        self.client = paho.Client(CallbackAPIVersion.VERSION2, client_id=client_id)
        if credentials:
            self.client.username_pw_set(credentials["username"], credentials["password"])
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        wait_until(self.client.is_connected, "the publisher's connection")

    def publish(self, topic: str, *payloads: bytes, qos: int = 1, retain: bool = False) -> None:
        sent = [self.client.publish(topic, payload, qos, retain) for payload in payloads]
        for message in sent:
            message.wait_for_publish(DEADLINE_S)
            assert message.is_published(), "the broker did not take the message"

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


class ScriptedPort:
    """A serial port whose far end is the test: a raw pseudo-terminal behind a fixed name.

    ``path`` is a symbolic link, as below ``/dev/serial/by-id``: unplugging removes it, and
    plugging in again points it at a new terminal, which usually has another number.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._near: int | None = None
        self._far: int | None = None

    def plug_in(self) -> None:
        assert self._near is None, "already plugged in"
        self._near, self._far = os.openpty()
        tty.setraw(self._near)
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        os.symlink(os.ttyname(self._far), self.path)

    @property
    def plugged_in(self) -> bool:
        return self._near is not None

    @property
    def near(self) -> int:
        """The node's end, for a process that is to be the node."""
        assert self._near is not None, "not plugged in"
        return self._near

    def unplug(self) -> None:
        """Gone in the middle of whatever was being sent."""
        if self._near is not None and self._far is not None:
            self.path.unlink()
            os.close(self._near)
            os.close(self._far)
            self._near = self._far = None

    def write(self, data: bytes) -> None:
        """What the node sends; waits until the terminal has taken all of it."""
        assert self._near is not None, "not plugged in"
        end = time.monotonic() + DEADLINE_S
        rest = memoryview(data)
        while rest:
            assert time.monotonic() < end, f"{len(rest)} bytes were never read"
            _, writable, _ = select.select([], [self._near], [], 1.0)
            if writable:
                rest = rest[os.write(self._near, rest[:4096]) :]

    def write_what_fits(self, data: bytes) -> int:
        """What the node sends without looking whether anybody takes it; how much was taken.

        A full terminal drops the rest, as an adapter does that nobody reads.
        """
        assert self._near is not None, "not plugged in"
        try:
            return os.write(self._near, data)
        except BlockingIOError:
            return 0

    def drain(self) -> bytes:
        """What the node has sent and nobody has read, as a service would read it."""
        assert self._far is not None, "not plugged in"
        data = b""
        while select.select([self._far], [], [], 0)[0]:
            data += os.read(self._far, 65_536)
        return data

    def read(self) -> bytes:
        """What has been sent to the node so far."""
        assert self._near is not None, "not plugged in"
        try:
            return os.read(self._near, 65_536)
        except BlockingIOError:
            return b""


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A running broker open to everybody on this machine; needs the mark ``mosquitto``."""
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    broker = Mosquitto(folder)
    broker.start()
    yield broker
    broker.kill()


@pytest.fixture
def publisher(mosquitto: Mosquitto) -> Iterator[Publisher]:
    """A node connected to ``mosquitto``."""
    node = Publisher(mosquitto.port)
    yield node
    node.close()


@pytest.fixture
def scripted_port(tmp_path: Path) -> Iterator[ScriptedPort]:
    """A serial port that is plugged in."""
    port = ScriptedPort(tmp_path / "usb-node")
    port.plug_in()
    yield port
    port.unplug()
