"""What each link does is shown from outside: ``/healthz`` and ``/metrics`` of the real service."""

from __future__ import annotations

import http.client
import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from service.wire.pack import RejectCause
from tests.field.bench_parts import Mosquitto, Publisher, ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

pytestmark = pytest.mark.mosquitto

OPENAPI = Path(__file__).resolve().parents[2] / "service" / "openapi.json"


@pytest.fixture
def shop(
    service_folder: Path, mosquitto: Mosquitto, scripted_port: ScriptedPort
) -> Iterator[ServiceProcess]:
    """One link of each sort, with a profile each."""
    (service_folder / "oven.csv").write_text("time,oven [degF]\n2026-03-01T08:15:00Z,212\n")
    service = ServiceProcess(
        service_folder,
        f'[[serial]]\nport = "{scripted_port.path}"\nprofile = "name=value"\n'
        '[[log_file]]\npath = "oven.csv"\nfrom_start = true\n'
        f'[mqtt]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n',
    )
    service.start()
    yield service
    service.end()


def links(shop: ServiceProcess) -> dict[str, dict[str, object]]:
    return {link["kind"]: link for link in shop.ask("GET", "/healthz")[1]["links"]}


def metrics(shop: ServiceProcess) -> str:
    connection = http.client.HTTPConnection("127.0.0.1", shop.port, timeout=10)
    try:
        connection.request("GET", "/metrics")
        return connection.getresponse().read().decode()
    finally:
        connection.close()


def test_each_link_tells_what_it_takes_and_refuses(
    shop: ServiceProcess, publisher: Publisher, scripted_port: ScriptedPort
) -> None:
    scripted_port.write(b"argon=12 l/min, oven=5 furlong\nno sense at all\n\xff\xfe\n")
    marked = b'[{"boot":"b","seq":1,"n":"a","u":"Cel","v":20}]'
    topic = "heatwindow/readings/n"
    publisher.publish(topic, marked, marked, b"{", b'[{"n":"a","u":"Cel","v":1,"x_":2}]')
    publisher.publish(topic, b'[{"n":"gas","s":12.5},{"n":"gas","s":13}]')
    publisher.publish("heatwindow/nodes/n1/status", b"online", retain=True)
    with (shop.folder / "oven.csv").open("a") as log:
        log.write("2026-03-01T08:15:01Z,213.8\nyesterday,214\n")

    wait_until(lambda: links(shop)["mqtt"]["measurements"] == 1, "the pack, once")
    wait_until(lambda: links(shop)["mqtt"].get("nodes"), "the node's status")
    wait_until(lambda: links(shop)["serial"]["rejected"]["syntax"] == 2, "the lines")  # type: ignore[index]
    wait_until(lambda: links(shop)["log file"]["rejected"]["time"] == 1, "the row")  # type: ignore[index]
    found = links(shop)
    for link in found.values():
        assert set(link["rejected"]) == {cause.value for cause in RejectCause}  # type: ignore[call-overload]
    rejected = found["mqtt"]["rejected"]
    assert (rejected["duplicate"], rejected["syntax"], rejected["label"]) == (1, 1, 1)  # type: ignore[index]
    assert found["serial"]["rejected"]["unit"] == 1  # type: ignore[index]
    wait_until(lambda: links(shop)["mqtt"]["sums_ignored"] == 2, "the sums, counted")
    assert "furlong" in str(found["serial"]["last_bytes"])
    assert "yesterday" in str(found["log file"]["last_reject"])
    (node,) = found["mqtt"]["nodes"]  # type: ignore[misc]
    assert (node["topic"], node["says"]) == ("heatwindow/nodes/n1/status", "online")

    told = metrics(shop)
    assert f'heatwindow_link_sums_ignored_total{{link="{found["mqtt"]["name"]}"}} 2\n' in told
    assert f'heatwindow_link_resets_total{{link="{found["serial"]["name"]}"}} 0\n' in told
    for cause in RejectCause:
        assert told.count(f'cause="{cause.value}"') == 3, "every cause of every link, zeros too"
    wait_until(lambda: len(shop.stored("oven")) == 2, "the log's readings")
    assert [value for _, value in shop.stored("oven")] == pytest.approx([100.0, 101.0])


def test_the_answer_is_as_described(shop: ServiceProcess) -> None:
    document = json.loads(OPENAPI.read_text())
    described = document["components"]["schemas"]["Health"] | {"components": document["components"]}
    _, body = shop.ask("GET", "/healthz")
    assert list(Draft202012Validator(described).iter_errors(body)) == []
    assert set(body) <= set(described["properties"])
    for link in body["links"]:
        assert set(link) <= set(document["components"]["schemas"]["Link"]["properties"])
