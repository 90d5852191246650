"""The whole service telling of thin air: from a wire to every outlet, with no heat open."""

from __future__ import annotations

import http.client
import json
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from jsonschema import Draft202012Validator

from tests.field.bench_parts import Mosquitto, Publisher, ScriptedPort, free_port, wait_until
from tests.field.service_process import ServiceProcess

pytestmark = pytest.mark.mosquitto

OPENAPI = json.loads(
    (Path(__file__).resolve().parents[2] / "service" / "openapi.json").read_text("utf-8")
)
TOKEN = "mF_9.B5f-4.1JqM"
NODE = "heatwindow/readings/room-node"


class Receivers:
    """A web server and a mail server on this machine."""

    def __init__(self) -> None:
        self.posts: list[dict[str, Any]] = []
        self.mails: list[str] = []
        receivers = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                allowed = self.headers["Authorization"] == f"Bearer {TOKEN}"
                if allowed:
                    receivers.posts.append(body)
                self.send_response(204 if allowed else 401)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        class Postbox:
            async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802
                receivers.mails.append(envelope.content.decode())
                return "250 OK"

        self.web = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self.web.serve_forever, args=(0.02,), daemon=True)
        self._thread.start()
        self.mail = Controller(Postbox(), hostname="127.0.0.1", port=free_port())
        self.mail.start()

    def close_web(self) -> None:
        self.web.shutdown()
        self._thread.join()
        self.web.server_close()

    def close(self) -> None:
        if self._thread.is_alive():
            self.close_web()
        self.mail.stop()


@pytest.fixture
def receivers() -> Iterator[Receivers]:
    made = Receivers()
    yield made
    made.close()


@pytest.fixture
def shop(
    service_folder: Path, mosquitto: Mosquitto, scripted_port: ScriptedPort, receivers: Receivers
) -> Iterator[ServiceProcess]:
    (service_folder / "token").write_text(f"{TOKEN}\n")
    book = service_folder / "book"
    code = f"import os; open({str(book)!r}, 'a').write(os.environ['HEATWINDOW_ALARM_KIND'] + ';')"
    service = ServiceProcess(
        service_folder,
        f'[mqtt]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n'
        f"[notify]\nsounder = {json.dumps([sys.executable, '-c', code])}\n"
        f'sounder_every_s = 3600\nserial_port = "{scripted_port.path}"\n'
        'mqtt_topic = "shop/alarms"\n'
        f'[notify.webhook]\nurl = "http://127.0.0.1:{receivers.web.server_address[1]}/hook"\n'
        'password_file = "token"\n'
        f'[notify.email]\nhost = "127.0.0.1"\nport = {receivers.mail.port}\nsecurity = "none"\n'
        'sender = "bench@mill.example"\nrecipients = ["night@mill.example"]\n',
    )
    service.start()
    yield service
    service.end()


def outlets(shop: ServiceProcess) -> dict[str, dict[str, Any]]:
    status, body = shop.ask("GET", "/healthz")
    assert status == 200, "an outlet that does not get through is no reason to restart the service"
    return {each["key"]: each for each in body["outlets"]}


def fits(body: object, schema: str) -> None:
    whole = OPENAPI | {"$ref": f"#/components/schemas/{schema}"}
    Draft202012Validator(whole).validate(body)


def test_every_outlet_can_be_tried_while_the_service_runs(
    shop: ServiceProcess, receivers: Receivers, scripted_port: ScriptedPort
) -> None:
    for key in ("sounder", "serial", "mqtt", "webhook", "email"):
        assert outlets(shop)[key]["trial"] is None
        status, body = shop.ask("POST", f"/api/v1/outlets/{key}/try", {})
        assert status == 200
        fits(body, "Outlets")
    wait_until(
        lambda: all(each["trial"]["state"] != "waiting" for each in outlets(shop).values()),
        "what became of the notices",
    )
    for each in outlets(shop).values():
        assert each["trial"]["state"] == "told", each
        assert each["working"] is True
        assert each["told"] == 0 or each["key"] == "mqtt", "a test notice is no message"
    fits(shop.ask("GET", "/healthz")[1], "Health")
    assert (shop.folder / "book").read_text() == "test;"
    assert b"TEST Test notice" in scripted_port.read()
    assert [body["event"] for body in receivers.posts] == ["test"]
    assert "Subject: heatwindow: test notice" in receivers.mails[0]
    assert shop.ask("POST", "/api/v1/outlets/lamp/try", {})[0] == 404
    assert TOKEN not in shop.log()
    assert TOKEN not in json.dumps(shop.ask("GET", "/healthz")[1])


def room(shop: ServiceProcess) -> dict[str, Any]:
    (air,) = shop.bench()["room"]
    return air  # type: ignore[no-any-return]


def test_thin_air_reaches_everybody_with_no_heat_open(
    shop: ServiceProcess, receivers: Receivers, publisher: Publisher, scripted_port: ScriptedPort
) -> None:
    def say(percent: float) -> None:
        record = {"n": "room/oxygen", "u": "%", "v": percent}
        publisher.publish(NODE, json.dumps([record]).encode())

    def heard(percent: float, standing: str) -> None:
        """The sensor speaks until the page shows it so."""

        def shown() -> bool:
            say(percent)
            return bool(room(shop)["standing"] == standing)

        wait_until(shown, f"{percent} % shown as {standing}")

    say(20.9)
    wait_until(lambda: shop.channel("room/oxygen"), "the channel")
    adopt = {"kind": "adopt channel", "channel": "room/oxygen", "channel_kind": "room oxygen"}
    assert shop.ask("POST", "/api/v1/actions", adopt)[0] == 200
    heard(20.9, "normal")
    assert room(shop)["oxygen_percent"] == 20.9
    heard(18.4, "low")
    wait_until(lambda: say(18.4) or receivers.mails, "the mail")
    wait_until(lambda: receivers.posts, "the post")
    post = receivers.posts[0]
    assert (post["event"], post["kind"], post["channel"]) == ("alarm", "room oxygen", "room/oxygen")
    assert post["speak"] is True
    assert "room oxygen" in receivers.mails[0]
    wait_until((shop.folder / "book").exists, "the sounder")
    wait_until(lambda: b"RAISED room oxygen" in scripted_port.read(), "the line")
    # Silence from here: the last number is not shown as of now, and the alarm does not return.
    wait_until(lambda: room(shop)["standing"] == "unknown", "silence told")
    assert room(shop)["oxygen_percent"] is None
    wait_until(
        lambda: {a["kind"] for a in shop.bench()["alarms"]} == {"room oxygen", "no data"},
        "both alarms",
    )


def test_a_dead_receiver_is_told_and_holds_up_nobody(
    shop: ServiceProcess, receivers: Receivers
) -> None:
    receivers.close_web()
    shop.ask("POST", "/api/v1/outlets/webhook/try", {})
    wait_until(lambda: outlets(shop)["webhook"]["working"] is False, "the failure")
    # The outlet is known to fail a moment before the test notice is given up.
    wait_until(lambda: outlets(shop)["webhook"]["trial"]["state"] == "failed", "the trial's end")
    assert "connection refused" in outlets(shop)["webhook"]["last_error"]
    assert shop.bench()["at"], "the judge goes on"
    connection = http.client.HTTPConnection("127.0.0.1", shop.port, timeout=10)
    connection.request("GET", "/metrics")
    told = connection.getresponse().read().decode()
    connection.close()
    assert 'heatwindow_outlet_working{outlet="webhook"} 0' in told
    assert shop.stop() == 0
