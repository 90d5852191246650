"""The node at the broker we ship for a shop's network: TLS, a password, its own name only."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from service.sources.shipped_broker import config_text, rights_text
from tests.field.bench_parts import Mosquitto, Publisher, wait_until
from tests.firmware.conftest import MakeNode
from tests.firmware.node_process import LAMP, NodeProcess, example

pytestmark = pytest.mark.mosquitto
NAMED = "127.0.0.1"
USERS = {"heatwindow": "forge", "node1": "anvil"}


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[Mosquitto]:
    """The shipped configuration, with the two lines its rights name for a node with a lamp."""
    folder = tmp_path / "broker"
    folder.mkdir()
    make_certificates(folder)
    rights = rights_text().replace("# user node1\n# topic read", "user node1\ntopic read")
    (folder / "rights.acl").write_text(rights)
    (folder / "passwords").touch(mode=0o600)
    program = shutil.which("mosquitto_passwd") or "/usr/bin/mosquitto_passwd"
    for user, password in USERS.items():
        command = [program, "-b", str(folder / "passwords"), user, password]
        subprocess.run(command, check=True, capture_output=True)
    broker = Mosquitto(folder)
    broker.config = config_text(
        "lan", folder=folder, data=folder, port=broker.port, tls_port=broker.tls_port
    )
    broker.start()
    yield broker
    broker.kill()


def make_certificates(folder: Path) -> None:
    """An authority of the shop and one of strangers, and a broker's certificate of the first."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("needs openssl: apt-get install openssl")

    def run(*arguments: str) -> None:
        subprocess.run([openssl, *arguments], cwd=folder, check=True, capture_output=True)

    new = ["req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    for name in ("ca", "strangers"):
        own = ["-subj", f"/CN={name}", "-keyout", f"{name}.key", "-out", f"{name}.crt"]
        run(*new, "-x509", "-days", "2", *own)
        run("x509", "-in", f"{name}.crt", "-outform", "DER", "-out", f"{name}.der")
    run(*new, "-subj", "/CN=broker", "-keyout", "broker.key", "-out", "broker.csr")
    (folder / "names").write_text(f"subjectAltName=IP:{NAMED}\n")
    signing = ["-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial", "-extfile", "names"]
    run("x509", "-req", "-in", "broker.csr", *signing, "-days", "2", "-out", "broker.crt")


class Listener:
    """The service's user: what the node publishes."""

    def __init__(self, lan: Mosquitto) -> None:
        self.publisher = Publisher(
            lan.port, "listener", username="heatwindow", password=USERS["heatwindow"]
        )
        self.heard: list[str] = []
        client = self.publisher.client
        client.on_message = lambda _client, _data, message: self.heard.append(message.topic)
        client.subscribe("heatwindow/#", 1)


@pytest.fixture
def listener(lan: Mosquitto) -> Iterator[Listener]:
    made = Listener(lan)
    yield made
    made.publisher.close()


def secured(lan: Mosquitto, ca: str = "ca.der", **change: Any) -> dict[str, Any]:
    broker = {
        "host": NAMED,
        "port": lan.tls_port,
        "user": "node1",
        "password": USERS["node1"],
        "tls_ca_file": str(lan.folder / ca),
    }
    return example() | {
        "wifi": {"name": "shop", "password": "quench"},
        "mqtt": broker | change,
    }


def dark(node: NodeProcess) -> bool:
    """The lamp is out for a second and a half of the node's time."""
    began_ms = node.do("look")["now_ms"]
    while True:
        looked = node.do("look")
        if looked["levels"][str(LAMP)]:
            return False
        if looked["now_ms"] - began_ms > 2_100:
            return True


def test_over_tls_it_is_let_in_and_hears_of_alarms(
    lan: Mosquitto, listener: Listener, make_node: MakeNode
) -> None:
    node = make_node(secured(lan), clock_set=True)
    node.start()
    wait_until(
        lambda: (
            {"heatwindow/readings/node1", "heatwindow/nodes/node1/status"} <= set(listener.heard)
        ),
        f"readings and status: {node.log()[-500:]}",
    )
    quiet = b'{"sounding": false, "alarms": []}'
    listener.publisher.publish("heatwindow/alarms/state", quiet, retain=True)
    wait_until(lambda: dark(node), "quiet")
    assert "refused" not in node.log()
    assert not any(secret in node.log() for secret in (*USERS.values(), "quench"))


@pytest.mark.parametrize(
    ("ca", "change", "why"),
    [
        ("strangers.der", {}, "not correctly signed by the trusted CA"),
        ("ca.der", {"password": "hammer"}, "refused with code 5"),  # MQTT 3.1.1, table 3.1
    ],
    ids=["a broker of strangers", "a wrong password"],
)
def test_it_neither_trusts_strangers_nor_gets_in_with_a_wrong_password(
    lan: Mosquitto,
    listener: Listener,
    make_node: MakeNode,
    ca: str,
    change: dict[str, Any],
    why: str,
) -> None:
    node = make_node(secured(lan, ca, **change), clock_set=True)
    node.start()
    wait_until(lambda: node.log().count("broker:") >= 2, f"two attempts: {node.log()[-500:]}")
    assert why in node.log()
    assert listener.heard == []
