"""What systemd is told, over a real datagram socket; the unit, read by systemd's own checker."""

from __future__ import annotations

import shutil
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.commands.main import main
from service.commands.supervisor import Supervisor
from service.commands.unit import unit_text
from service.config import Config
from service.config.tables import StoreConfig


@pytest.fixture
def listener(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as link:
        link.bind(str(tmp_path / "notify"))
        link.settimeout(20)
        yield link


def test_it_says_ready_then_alive_then_stopping(listener: socket.socket) -> None:
    told = Supervisor(list, {"NOTIFY_SOCKET": listener.getsockname()})
    told.ready("http://127.0.0.1:8080")
    told.alive()
    told.stopping()
    assert listener.recv(200) == b"READY=1\nSTATUS=page at http://127.0.0.1:8080"
    assert listener.recv(200) == b"WATCHDOG=1"
    assert listener.recv(200) == b"STOPPING=1"


def test_with_a_worker_stuck_the_watchdog_is_not_fed(listener: socket.socket) -> None:
    stuck = ["writer"]
    told = Supervisor(lambda: stuck, {"NOTIFY_SOCKET": listener.getsockname()})
    told.alive()
    stuck.clear()
    told.alive()
    assert listener.recv(200) == b"STATUS=stuck: writer"
    assert listener.recv(200) == b"WATCHDOG=1"


def test_an_abstract_name_is_understood() -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as link:
        link.bind("")  # Linux gives a free abstract name
        link.settimeout(20)
        name = link.getsockname().decode()
        Supervisor(list, {"NOTIFY_SOCKET": name.replace("\0", "@")}).alive()
        assert link.recv(200) == b"WATCHDOG=1"


@pytest.mark.parametrize("environment", [{}, {"NOTIFY_SOCKET": "/nowhere/socket"}])
def test_nobody_listening_does_no_harm(environment: dict[str, str]) -> None:
    Supervisor(list, environment).alive()


def test_the_unit_is_for_this_config(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "the shop.toml"
    file.write_text('[store]\nurl = "sqlite:///data/shop.db"\n')
    assert main(["check", "--service-unit", "--config", str(file)]) == 0
    text = capsys.readouterr().out
    assert f'/heatwindow run --config "{file.resolve()}"' in text
    assert f"ReadWritePaths={tmp_path.resolve() / 'data'}\n" in text
    assert not (tmp_path / "data").exists(), "nothing is made by looking"


@pytest.mark.systemd
def test_systemd_reads_the_unit_and_finds_it_closed(tmp_path: Path) -> None:
    """Oracle: systemd's own ``systemd-analyze verify`` and ``security``."""
    shop = Config(store=StoreConfig(url=f"sqlite:///{tmp_path / 'a b$c%d' / 'shop.db'}"))
    unit = tmp_path / "heatwindow.service"
    unit.write_text(unit_text(shop, None))
    analyze = str(shutil.which("systemd-analyze"))
    verified = subprocess.run(
        [analyze, "verify", str(unit)], capture_output=True, text=True, check=False
    )
    assert (verified.returncode, verified.stderr) == (0, "")
    secured = subprocess.run(
        [analyze, "security", "--offline=true", "--threshold=30", str(unit)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert secured.returncode == 0, secured.stdout[-400:]
