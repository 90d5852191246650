"""A port taken in by ``heatwindow check`` is read by the running service, and after a restart."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

LINE = b"flange=300.5 degC\n"


@pytest.fixture
def shop(service_folder: Path) -> Iterator[ServiceProcess]:
    service = ServiceProcess(service_folder)
    service.start()
    yield service
    service.end()


def check(shop: ServiceProcess, *more: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "service.commands.main", "check", "--config", str(shop.config)]
    return subprocess.run(
        [*command, *more], capture_output=True, text=True, timeout=60, check=False
    )


def links(shop: ServiceProcess) -> list[str]:
    return [
        link["name"].removeprefix("serial ") for link in shop.ask("GET", "/healthz")[1]["links"]
    ]


def read_on(shop: ServiceProcess, port: ScriptedPort) -> None:
    """Lines are sent until one more is stored: the first may come before the port is open."""
    before = len(shop.stored("flange"))

    def heard() -> bool:
        port.write(LINE)
        return len(shop.stored("flange")) > before

    wait_until(heard, "its readings")


def test_from_check_to_readings_and_back(shop: ServiceProcess, scripted_port: ScriptedPort) -> None:
    name = str(scripted_port.path)
    assert links(shop) == []
    told = check(shop, "--adopt", name, "--profile", "name=value", "--baud", "9600")
    assert f"adopted    FAIL  {name} is busy" in told.stdout, "the test itself holds it"
    wait_until(lambda: links(shop) == [name], "the running service takes it up")
    read_on(shop, scripted_port)
    adopted = shop.ask("GET", "/api/v1/ports")[1]["adopted"]
    assert adopted == [{"port": name, "baud": 9600, "profile": "name=value"}]

    shop.stop()
    shop.start()
    assert links(shop) == [name]
    read_on(shop, scripted_port)

    status, body = shop.ask("POST", "/api/v1/ports/release", {"port": name})
    assert (status, body["adopted"]) == (200, [])
    assert links(shop) == []


def test_what_cannot_be_read_is_not_taken_in(
    shop: ServiceProcess, scripted_port: ScriptedPort
) -> None:
    for asked, says in (
        (["--adopt", "/dev/nowhere"], "not adopted: /dev/nowhere cannot be opened"),
        (["--adopt", str(shop.config)], "is not a serial port"),
        (["--adopt", str(scripted_port.path), "--baud", "1"], "baud 1"),
        (["--adopt", str(scripted_port.path), "--profile", "xml"], "profile 'xml'"),
        (["--baud", "9600"], "give that too"),
        (["--release", "/dev/nowhere"], "/dev/nowhere was not adopted; adopted: none"),
    ):
        told = check(shop, *asked)
        assert told.returncode == 2, told.stderr
        assert says in told.stderr
        assert "Traceback" not in told.stderr
    assert links(shop) == []
