"""Real brokers, a real terminal, and the demo as a real process."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from service.demo.broker import BrokerChild, BrokerKind

PATIENCE_S = 60.0
"""How long anything in these tests may take before it counts as never [s, real]."""


def wait_until(happened: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
    """Poll a condition until a deadline."""
    end_s = time.monotonic() + patience_s
    while not happened():
        if time.monotonic() > end_s:
            pytest.fail(f"within {patience_s:g} s, not seen: {what}")
        threading.Event().wait(0.01)


@pytest.fixture(name="wait_until")
def _wait_until() -> Callable[..., None]:
    return wait_until


@pytest.fixture(params=[pytest.param("mosquitto", marks=pytest.mark.mosquitto), "amqtt"])
def broker(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BrokerChild]:
    """Each kind of broker, started."""
    kind: BrokerKind = request.param
    child = BrokerChild(tmp_path, kind)
    child.start()
    yield child
    child.stop()


class DemoProcess:
    """``heatwindow demo`` as a person starts it."""

    def __init__(self, *arguments: str) -> None:
        self._child = subprocess.Popen(
            [sys.executable, "-m", "service.commands.main", "demo", "--port", "0", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self.pid = self._child.pid
        self.lines: list[str] = []
        self._more = threading.Condition()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self.address = self.wait_for("http://")

    def _read(self) -> None:
        for line in self._child.stdout or ():
            with self._more:
                self.lines.append(line.rstrip("\n"))
                self._more.notify_all()
        with self._more:
            self._more.notify_all()

    def said(self, text: str) -> str | None:
        with self._more:
            return next((line for line in self.lines if text in line), None)

    def wait_for(self, text: str) -> str:
        """The first line with this text."""
        with self._more:
            self._more.wait_for(lambda: self.said(text) or self._ended(), timeout=PATIENCE_S)
        line = self.said(text)
        if line is None:
            lines = "\n".join(self.lines)
            pytest.fail(f"the demo never said {text!r}; it said:\n{lines}")
        return line

    def _ended(self) -> bool:
        return not self._reader.is_alive() or self._child.poll() is not None

    def bench(self) -> dict[str, Any]:
        with urllib.request.urlopen(
            f"{self.address.rstrip('/')}/api/v1/bench", timeout=10
        ) as answer:
            found: dict[str, Any] = json.load(answer)
        return found

    def part(self, name: str) -> dict[str, Any]:
        return next(part for part in self.bench()["parts"] if part["name"] == name)

    def channel(self, name: str) -> dict[str, Any]:
        return next(channel for channel in self.bench()["channels"] if channel["name"] == name)

    def children(self) -> list[int]:
        """Process ids of its children (Linux)."""
        found = Path(f"/proc/{self.pid}/task").glob("*/children")
        return [int(pid) for file in found for pid in file.read_text().split()]

    def stop(
        self, sort: signal.Signals = signal.SIGTERM, *, group: bool = False
    ) -> tuple[int, str]:
        """Exit code and what it said on standard error; a terminal signals the whole group."""
        if self._child.poll() is None and group:
            os.killpg(self.pid, sort)
        elif self._child.poll() is None:
            self._child.send_signal(sort)
        code = self._child.wait(PATIENCE_S)
        self._reader.join(PATIENCE_S)
        errors = self._child.stderr.read() if self._child.stderr else ""
        for stream in (self._child.stdout, self._child.stderr):
            if stream is not None:
                stream.close()
        return code, errors

    def story_s(self, line: str) -> float:
        """Shop time of a line of the story [s]."""
        found = re.match(r"(\d+):(\d\d)  ", line)
        assert found is not None, line
        return int(found[1]) * 60 + int(found[2])


@pytest.fixture
def demo() -> Iterator[Callable[..., DemoProcess]]:
    """Starts demos, and ends those a test has left running."""
    started: list[DemoProcess] = []

    def start(*arguments: str) -> DemoProcess:
        process = DemoProcess(*arguments)
        started.append(process)
        return process

    yield start
    for process in started:
        if process_exists(process.pid):
            process.stop(signal.SIGKILL)


def process_exists(pid: int) -> bool:
    """Whether a process runs (a zombie does not)."""
    try:
        os.kill(pid, 0)
        state = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0]
    except (ProcessLookupError, FileNotFoundError):
        return False
    return state != "Z"


@pytest.fixture(name="process_exists")
def _process_exists() -> Callable[[int], bool]:
    return process_exists
