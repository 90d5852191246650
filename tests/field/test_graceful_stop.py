"""What holds a service up does not hold it: a stop, half-dead pages, a fault that never ends."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.commands.assembly import LEAST_STOP_S, STOP_S
from tests.field.bench_parts import Mosquitto, ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

PAGES = 20
FAULTS = 3000


@pytest.fixture
def shop(
    service_folder: Path, mosquitto: Mosquitto, scripted_port: ScriptedPort
) -> Iterator[ServiceProcess]:
    service = ServiceProcess(
        service_folder,
        f'[[serial]]\nport = "{scripted_port.path}"\n'
        f'[mqtt]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n',
    )
    service.start()
    yield service
    service.end()


@contextlib.contextmanager
def half_dead_pages(shop: ServiceProcess) -> Iterator[None]:
    """Browsers that asked for half a page and never said another word."""
    with contextlib.ExitStack() as pages:
        for _ in range(PAGES // 2):
            page = pages.enter_context(socket.create_connection(("127.0.0.1", shop.port)))
            page.sendall(b"GET /api/v1/bench HTTP/1.1\r\nHost: 127.0.0.1\r\n")
        yield


@pytest.mark.mosquitto
def test_it_ends_though_everything_holds_it(shop: ServiceProcess, mosquitto: Mosquitto) -> None:
    """A read that waits, a broker that answers nothing, open pages; within 5 s by construction."""
    assert STOP_S + 3 * LEAST_STOP_S <= 5.0
    mosquitto.freeze()
    try:
        with half_dead_pages(shop):
            assert shop.stop() == 0
    finally:
        mosquitto.thaw()


@pytest.mark.mosquitto
def test_twenty_pages_half_dead_hold_up_nobody(shop: ServiceProcess) -> None:
    with half_dead_pages(shop):
        answers = [shop.ask("GET", "/api/v1/bench")[0] for _ in range(5 * PAGES)]
    assert answers == [200] * len(answers)
    assert shop.healthy()


@pytest.mark.mosquitto
def test_a_fault_that_repeats_fills_no_log(
    shop: ServiceProcess, scripted_port: ScriptedPort
) -> None:
    """A probe that says "open circuit", and lines that are none, for the best part of an hour."""
    scripted_port.write(b'[{"n":"probe","u":"Cel","v":300}]\n')
    wait_until(lambda: shop.channel("probe"), "the probe")
    before = len(shop.log())
    for _ in range(FAULTS // 100):
        scripted_port.write(b'[{"n":"probe","u":"Cel","vs":"open-circuit"}]\n' * 100)
        scripted_port.write(b"no line at all\n" * 100)
    wait_until(lambda: len(shop.stored("probe")) > FAULTS, "every fault is a row")
    (link,) = [each for each in shop.ask("GET", "/healthz")[1]["links"] if each["kind"] == "serial"]
    assert link["rejected"]["syntax"] >= FAULTS
    assert len(shop.log()) - before < 10_000, "bytes for six thousand faults"
