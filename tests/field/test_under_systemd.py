"""The unit that the command prints, under a real systemd: up, restarted when it hangs, stopped.

A manager of the test's own (``systemd --user``) loads the unit as printed, but for what only the
machine's first one or a machine of its own can do (``NOT_HERE``), and with shorter times.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.field.bench_parts import wait_until
from tests.field.service_process import ServiceProcess

MANAGER = Path("/lib/systemd/systemd")
BOOTED = Path("/run/systemd/system")
NOT_HERE = (
    "User=",  # a user's manager knows one user
    "SupplementaryGroups=",
    "PrivateTmp=",  # the test's own folder lies in /tmp
    "ProtectKernelTunables=",  # a container may not mount over what it was given of /proc
    "ProtectKernelLogs=",
)
QUICK = "[Service]\nWatchdogSec=4\nTimeoutAbortSec=1\nRestartSec=1\n"
"""A frozen process is aborted after 4 s without a ping, killed a second later, and started anew."""


class Systemd:
    """A manager with its own units and its own socket."""

    def __init__(self, folder: Path) -> None:
        self.units = folder / "config" / "systemd" / "user"
        self.units.mkdir(parents=True)
        runtime = folder / "runtime"
        runtime.mkdir(mode=0o700)
        self.env = os.environ | {
            "XDG_RUNTIME_DIR": str(runtime),
            "XDG_CONFIG_HOME": str(folder / "config"),
        }
        command = [str(MANAGER), "--user"]
        if not BOOTED.exists():
            # In a container: let it see, and nobody else, that systemd runs here.
            seen = f"mount -t tmpfs tmpfs /run/systemd && mkdir {BOOTED} && exec {MANAGER} --user"
            command = ["unshare", "--mount", "sh", "-c", seen]
        self.log = folder / "manager.log"
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(command, env=self.env, stdout=log, stderr=log)

    def ask(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["systemctl", "--user", *words],
            env=self.env, capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip

    def shown(self, name: str) -> str:
        return self.ask("show", "heatwindow", "--property", name, "--value").stdout.strip()

    def up(self) -> bool:
        return self.ask("list-units").returncode == 0

    def end(self) -> None:
        self.ask("kill", "--signal=SIGKILL", "heatwindow")
        self.process.terminate()
        self.process.wait(30)


@pytest.fixture
def systemd(tmp_path: Path) -> Iterator[Systemd]:
    if not BOOTED.exists() and os.geteuid() != 0:
        pytest.skip("needs a machine started by systemd, or root")
    manager = Systemd(tmp_path)
    try:
        yield manager
    finally:
        manager.end()


@pytest.mark.systemd
def test_the_printed_unit(systemd: Systemd, tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    folder.mkdir()
    service = ServiceProcess(folder)
    (systemd.units / "heatwindow.service").write_text(_printed(service))
    quick = systemd.units / "heatwindow.service.d"
    quick.mkdir()
    (quick / "quick.conf").write_text(QUICK)
    wait_until(systemd.up, f"systemd answering: {systemd.log.read_text()}")

    begun = systemd.ask("start", "heatwindow")  # returns once the service has said READY=1
    assert begun.returncode == 0, systemd.ask("status", "heatwindow").stdout
    assert systemd.shown("SubState") == "running"
    assert _healthy(service)
    assert systemd.shown("NoNewPrivileges") == "yes"

    pid = int(systemd.shown("MainPID"))
    os.kill(pid, signal.SIGSTOP)
    wait_until(lambda: systemd.shown("NRestarts") == "1", "systemd starting it anew")
    wait_until(lambda: _healthy(service), "the service healthy again")
    assert int(systemd.shown("MainPID")) != pid

    assert systemd.ask("stop", "heatwindow").returncode == 0
    assert systemd.shown("Result") == "success"
    assert systemd.shown("ExecMainStatus") == "0"
    assert systemd.shown("NRestarts") == "0"  # counted anew; above all, stopped is stopped


def _printed(service: ServiceProcess) -> str:
    """What the command prints for the service's config, without what cannot be had here."""
    program = str(Path(sys.executable).with_name("heatwindow"))
    command = [program, "check", "--service-unit", "--config", str(service.config)]
    text = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return "\n".join(each for each in text.splitlines() if not each.startswith(NOT_HERE)) + "\n"


def _healthy(service: ServiceProcess) -> bool:
    try:
        return service.ask("GET", "/healthz")[0] == 200
    except OSError:
        return False
