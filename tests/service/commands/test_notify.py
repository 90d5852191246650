"""``heatwindow notify``: a test notice by each outlet, against real receivers on this machine."""

from __future__ import annotations

import json
import os
import socket
import sys
import threading
import tty
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from aiosmtpd.controller import Controller
from paho.mqtt.enums import CallbackAPIVersion

from service.commands.main import main
from service.demo.broker import BrokerChild

Notify = Callable[..., tuple[int, dict[str, str], str]]


@pytest.fixture
def notify(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Notify:
    """Run the command with a config; code, lines by outlet, standard error."""

    def run(config: str, *outlets: str) -> tuple[int, dict[str, str], str]:
        file = tmp_path / "shop.toml"
        file.write_text(config, encoding="utf-8")
        code = main(["notify", "--config", str(file), *outlets])
        said = capsys.readouterr()
        lines = {line[:12].strip(): line[13:] for line in said.out.splitlines()}
        return code, lines, said.err

    return run


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


def test_the_sounder(notify: Notify, tmp_path: Path) -> None:
    book = tmp_path / "book"
    code = (
        "import os; "
        f"open({str(book)!r}, 'w').write(' '.join(os.environ['HEATWINDOW_ALARM_' + x] "
        "for x in ('KIND', 'TEXT')))"
    )
    argv = json.dumps([sys.executable, "-c", code])
    ended, lines, _ = notify(f"[notify]\nsounder = {argv}\n")
    assert ended == 0
    assert lines == {"sounder": f"ok    {sys.executable} has run"}
    assert book.read_text() == "test Test notice: no alarm, somebody tries whether this arrives."


def test_the_serial_line(notify: Notify) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    ended, lines, _ = notify(f"[notify]\nserial_port = '{os.ttyname(slave)}'\n", "serial")
    assert ended == 0
    assert lines["serial line"] == f"ok    written to {os.ttyname(slave)}"
    assert b"Z TEST Test notice: no alarm" in os.read(master, 1000)
    os.close(master)
    os.close(slave)


@pytest.mark.mosquitto
def test_the_topic_without_touching_its_state(notify: Notify, tmp_path: Path) -> None:
    broker = BrokerChild(tmp_path, "mosquitto")
    broker.start()
    got: list[tuple[str, Any]] = []
    ready, came = threading.Event(), threading.Event()

    def on_message(_client: Any, _data: Any, message: paho.MQTTMessage) -> None:
        got.append((message.topic, json.loads(message.payload)))
        came.set()

    lamp = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
    lamp.on_connect = lambda client, *_: client.subscribe("shop/alarms/#", qos=1)
    lamp.on_subscribe = lambda *_: ready.set()
    lamp.on_message = on_message
    lamp.connect("127.0.0.1", broker.port)
    lamp.loop_start()
    try:
        assert ready.wait(20)
        ended, lines, _ = notify(
            f"[mqtt]\nhost = '127.0.0.1'\nport = {broker.port}\n"
            "[notify]\nmqtt_topic = 'shop/alarms'\n"
        )
        assert ended == 0
        assert lines["MQTT topic"] == "ok    the broker has confirmed it under shop/alarms/test"
        assert came.wait(20)
        assert [topic for topic, _ in got] == ["shop/alarms/test"]
        assert got[0][1]["text"].startswith("Test notice")
    finally:
        lamp.disconnect()
        lamp.loop_stop()
        broker.stop()


def test_a_broker_that_is_not_there(notify: Notify) -> None:
    ended, lines, _ = notify(
        f"[mqtt]\nhost = '127.0.0.1'\nport = {free_port()}\n[notify]\nmqtt_topic = 'a'\n"
    )
    assert ended == 1
    assert lines["MQTT topic"].startswith("FAIL  127.0.0.1:")


def test_webhook_and_mail_each_say_whether_they_went(notify: Notify) -> None:
    got: list[dict[str, Any]] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            got.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    class Postbox:
        async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802
            got.append({"mail": envelope.content.decode()})
            return "250 OK"

    web = HTTPServer(("127.0.0.1", 0), Handler)
    server = threading.Thread(target=web.serve_forever, args=(0.02,), daemon=True)
    server.start()
    mail = Controller(Postbox(), hostname="127.0.0.1", port=free_port())
    mail.start()
    config = (
        f"[notify.webhook]\nurl = 'http://127.0.0.1:{web.server_address[1]}/T0PSECRET'\n"
        f"[notify.email]\nhost = '127.0.0.1'\nport = {mail.port}\nsecurity = 'none'\n"
        "sender = 'bench@mill.example'\nrecipients = ['night@mill.example']\n"
    )
    try:
        ended, lines, _ = notify(config)
        assert ended == 0
        assert lines == {
            "webhook": f"ok    http://127.0.0.1:{web.server_address[1]} answered 200",
            "e-mail": "ok    127.0.0.1 has taken it, recipients: 1",
        }
        assert got[0]["event"] == "test"
        assert "Subject: heatwindow: test notice" in got[1]["mail"]
    finally:
        web.shutdown()
        server.join()
        web.server_close()
        mail.stop()
    ended, lines, _ = notify(config, "email")
    assert ended == 1
    assert list(lines) == ["e-mail"]
    assert "connection refused" in lines["e-mail"]


@pytest.mark.parametrize(
    ("config", "outlets", "words"),
    [
        ("", (), "no outlet is configured"),
        ("[notify]\nsounder = ['true']\n", ("email",), "email is not configured; sounder is"),
        ("[notify]\nsounder = ['true']\n", ("lamp",), "lamp is no outlet; there are sounder,"),
        ("[notify]\nlamp = 1\n", (), "unknown key"),
    ],
)
def test_what_cannot_be_tried(
    config: str, outlets: tuple[str, ...], words: str, notify: Notify
) -> None:
    ended, lines, err = notify(config, *outlets)
    assert ended == 2
    assert lines == {}
    assert words in err
