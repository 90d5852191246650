"""The running service tells its supervisor when it is up, that it lives, and that it ends."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from tests.field.service_process import ServiceProcess


def test_ready_watchdog_stopping(
    service_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as link:
        link.bind(str(tmp_path / "notify"))
        link.settimeout(60)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        service = ServiceProcess(service_folder)
        try:
            service.start()
            assert link.recv(200).startswith(b"READY=1\nSTATUS=page at http://127.0.0.1:")
            assert link.recv(200) == b"WATCHDOG=1"
            assert service.stop() == 0
        finally:
            service.end()
        said = link.recv(200)
        while said == b"WATCHDOG=1":
            said = link.recv(200)
        assert said == b"STOPPING=1"
