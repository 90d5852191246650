"""Things a node can say beyond a temperature, through a real serial line and the whole service.

The voltage is what a type K thermocouple at 270.714 °C gives a meter at 25 °C (NIST SRD 60, as in
``tests/reference/test_thermocouple.py``).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

EMF_MV = 10.0
TERMINALS_C = 25.0
HOT_C = 270.714


@pytest.fixture
def shop(service_folder: Path, scripted_port: ScriptedPort) -> Iterator[ServiceProcess]:
    service = ServiceProcess(service_folder, f'[[serial]]\nport = "{scripted_port.path}"\n')
    service.start()
    yield service
    service.end()


def line(*records: dict[str, object]) -> bytes:
    return json.dumps(records).encode() + b"\n"


BOARD = {"n": "board", "u": "Cel", "v": TERMINALS_C}
EMF = {"n": "emf", "u": "mV", "v": EMF_MV}


def reads(shop: ServiceProcess, port: ScriptedPort) -> float | None:
    """What the voltage channel reads after one more pack."""
    port.write(line(BOARD, EMF))
    shown = shop.channel("emf")
    return shown["value"] if shown and shown["unit"] == "Cel" else None


def test_a_bare_voltage_is_named_once_and_stays_a_temperature(
    shop: ServiceProcess, scripted_port: ScriptedPort
) -> None:
    scripted_port.write(line(BOARD, EMF))
    wait_until(lambda: shop.channel("emf"), "the voltage heard")
    found = shop.channel("emf")
    assert found is not None
    assert (found["unit"], found["kind_guess"], found["emf_mv"]) == ("mV", "thermocouple", EMF_MV)
    status, problem = shop.ask(
        "POST",
        "/api/v1/actions",
        {"kind": "adopt channel", "channel": "emf", "channel_kind": "thermocouple"},
    )
    assert (status, "cold junction" in problem["detail"]) == (409, True)
    shop.act(
        "adopt channel",
        channel="emf",
        channel_kind="thermocouple",
        thermocouple="K",
        cold_junction="board",
    )
    wait_until(lambda: reads(shop, scripted_port) is not None, "a temperature")
    assert reads(shop, scripted_port) == pytest.approx(HOT_C, abs=0.01)
    assert {value for _, value in shop.stored("emf")} == {EMF_MV}, "kept as it was sent"

    shop.stop()
    shop.start()
    wait_until(lambda: reads(shop, scripted_port) is not None, "a temperature after a restart")
    assert reads(shop, scripted_port) == pytest.approx(HOT_C, abs=0.01)
    begin = (datetime.now(UTC) - timedelta(minutes=5)).strftime("%Y-%m-%dT%H:%M:%SZ")
    history = shop.ask("GET", f"/api/v1/history?channel=emf&start={begin}")[1]
    assert history["unit"] == "Cel"
    told = {point["low"] for point in history["points"] if point["low"] is not None}
    assert told
    assert all(low == pytest.approx(HOT_C, abs=0.01) for low in told)


def test_a_promised_update_time_is_journalled_once(
    shop: ServiceProcess, scripted_port: ScriptedPort
) -> None:
    for update_s in (30, 30, 5, 45, -1):
        scripted_port.write(line(EMF | {"ut": update_s}))
    wait_until(lambda: len(shop.stored("emf")) == 5, "every reading, whatever its promise")
    said = "SELECT body FROM journal WHERE kind = 'update time told'"
    wait_until(lambda: shop.rows(said), "the promise in the journal")
    told = shop.rows(said)
    assert [json.loads(body)["update_us"] for (body,) in told] == [30_000_000]
    (link,) = shop.ask("GET", "/healthz")[1]["links"]
    assert link["rejected"]["range"] == 1
    assert "ut -1 s is not between 0 and" in link["last_reject"]
