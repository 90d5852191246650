"""The real service as a child process, worked from outside as a user and a sensor would."""

from __future__ import annotations

import http.client
import json
import resource
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.field.bench_parts import DEADLINE_S, free_port, wait_until


class ServiceProcess:
    """``heatwindow run`` with a config of the test's own, on a fixed free port.

    Args:
        folder: Where config, database and log live.
        links: TOML of the links, appended to the config.
        speed: Shop seconds per real second; 1 is the plain command.
        clock: File of a ``SharedClock`` to run on instead.
    """

    def __init__(
        self, folder: Path, links: str = "", speed: float = 1.0, clock: Path | None = None
    ) -> None:
        self.folder = folder
        self.clock = clock
        self.speed = speed
        self.port = free_port()
        self.database = folder / "shop.db"
        self.config = folder / "shop.toml"
        self.config.write_text(
            f'[store]\nurl = "sqlite:///{self.database}"\n'
            f'[dashboard]\nhost = "127.0.0.1"\nport = {self.port}\n{links}'
        )
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start and wait until every worker and subscription is up."""
        self.launch()
        wait_until(self.healthy, f"the service healthy: {self.log()[-2000:]}")

    def launch(self) -> None:
        command = ["service.commands.main", "run", "--config", str(self.config)]
        if self.speed != 1.0 or self.clock is not None:
            pace = str(self.speed if self.clock is None else self.clock)
            command = ["tests.field.fast_service", str(self.config), pace]
        with (self.folder / "service.log").open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", *command], stdout=log, stderr=log
            )

    def kill(self) -> None:
        """As when the power fails, but for the disk's own cache."""
        assert self.process is not None
        self.process.kill()
        self.process.wait(DEADLINE_S)
        self.process = None

    def stop(self) -> int:
        """Ask it to end; its exit code."""
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(DEADLINE_S)
        self.process = None
        return code

    def end(self) -> None:
        """Whatever state it is in."""
        if self.process is not None:
            self.kill()

    def fill_disk(self, size_bytes: int | None) -> None:
        """From now on no file of the service grows beyond a size; ``None``: as it was.

        The limit is the process's own (``RLIMIT_FSIZE``), so nobody else is held up and nobody
        has to be root. The system answers EFBIG where a full disk answers ENOSPC.
        """
        assert self.process is not None
        _, hard = resource.prlimit(self.process.pid, resource.RLIMIT_FSIZE)
        soft = hard if size_bytes is None else size_bytes
        resource.prlimit(self.process.pid, resource.RLIMIT_FSIZE, (soft, hard))

    def log(self) -> str:
        file = self.folder / "service.log"
        return file.read_text(errors="replace") if file.exists() else ""

    def ask(self, method: str, path: str, body: object = None) -> tuple[int, Any]:
        """One request; status and JSON."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            headers = {"Content-Type": "application/json", "X-Heatwindow": "1"}
            payload = None if body is None else json.dumps(body)
            connection.request(method, path, payload, headers)
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read() or b"null")
        finally:
            connection.close()

    def text(self, path: str) -> str:
        """What is answered to a GET, as text."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            connection.request("GET", path)
            return connection.getresponse().read().decode()
        finally:
            connection.close()

    def healthy(self) -> bool:
        assert self.process is not None
        if self.process.poll() is not None:
            raise AssertionError(f"the service ended by itself: {self.log()[-2000:]}")
        try:
            return self.ask("GET", "/healthz")[0] == 200
        except (OSError, http.client.HTTPException):
            return False

    def bench(self) -> dict[str, Any]:
        status, body = self.ask("GET", "/api/v1/bench")
        assert status == 200, body
        return body  # type: ignore[no-any-return]

    def channel(self, name: str) -> dict[str, Any] | None:
        """One channel of the bench answer."""
        return next((each for each in self.bench()["channels"] if each["name"] == name), None)

    def act(self, kind: str, **fields: object) -> dict[str, Any]:
        """An operator's tap."""
        status, body = self.ask("POST", "/api/v1/actions", {"kind": kind, **fields})
        assert status in (200, 201), body
        return body  # type: ignore[no-any-return]

    def rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        """Look into the database as any other program could."""
        connection = sqlite3.connect(f"file:{self.database}?mode=ro", uri=True, timeout=30)
        try:
            return connection.execute(query, values).fetchall()
        finally:
            connection.close()

    def stored(self, channel: str) -> list[tuple[int, float]]:
        """Time [µs UTC] and value of every row of a channel, in order of time."""
        return self.rows(
            "SELECT t_us, value FROM reading JOIN channel ON channel.id = reading.channel_id "
            "WHERE channel.name = ? ORDER BY t_us",
            channel,
        )


@pytest.fixture
def service_folder(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "service"
    folder.mkdir()
    return folder
