"""The configuration we ship, in a real mosquitto, with the service's own link at its end."""

from __future__ import annotations

import gc
import shutil
import ssl
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from service.clock import SystemClock
from service.sources.broker import Broker
from service.sources.mqtt import MqttLink
from service.sources.shipped_broker import VARIANTS, config_text, rights_text
from service.wire.pack import Pack
from service.wire.senml import Value, encode_pack
from tests.field.bench_parts import Mosquitto, Publisher, wait_until

pytestmark = pytest.mark.mosquitto
TOPIC = "heatwindow/readings/node1"
PASSWORDS = {"heatwindow": "forge", "node1": "anvil", "node2": "tongs"}


def pack(value: float) -> bytes:
    return encode_pack([Value("port2", value, "Cel")], base_name="node1:")


class Shop:
    """A service that commits at once: what it has taken, and its link."""

    def __init__(self, broker: Broker) -> None:
        self.values: list[float | None] = []
        self.arrived = threading.Condition()
        self.link = MqttLink(broker, ["heatwindow/readings/#"], self, SystemClock())

    def __call__(self, link: str, taken: Pack, ack: Callable[[], None] | None) -> None:
        with self.arrived:
            self.values += [each.value for each in taken.measurements]
            self.arrived.notify_all()
        if ack is not None:
            ack()

    def open(self) -> Shop:
        self.link.start()
        wait_until(lambda: self.link.status().ready, f"the subscription: {self.link.status()}")
        return self

    def close(self) -> None:
        assert self.link.stop()

    def wait_for(self, count: int) -> None:
        with self.arrived:
            came = self.arrived.wait_for(lambda: len(set(self.values)) >= count, 30)
        assert came, f"{len(set(self.values))} of {count} came"


@pytest.fixture
def loopback(tmp_path: Path) -> Iterator[Mosquitto]:
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = Mosquitto(folder)
    broker.config = config_text("loopback", data=folder, port=broker.port, save_every_s=1)
    broker.start()
    yield broker
    broker.kill()


def shop_at(broker: Mosquitto) -> Shop:
    return Shop(Broker(broker.host, broker.port, "hw-shipped"))


def test_thousands_wait_for_the_service_and_survive_a_proper_restart(loopback: Mosquitto) -> None:
    shop_at(loopback).open().close()  # makes the session
    node = Publisher(loopback.port)
    node.publish(TOPIC, *[pack(value) for value in range(3000)])
    node.close()
    loopback.stop()
    loopback.start()
    shop = shop_at(loopback).open()
    shop.wait_for(3000)
    assert shop.values == list(range(3000))
    shop.close()


def test_what_was_saved_survives_a_kill(loopback: Mosquitto) -> None:
    """The session too, so that what comes before we are back is kept for us."""
    shop_at(loopback).open().close()
    node = Publisher(loopback.port)
    node.publish(TOPIC, *[pack(value) for value in range(100)])
    node.close()
    saved = loopback.folder / "heatwindow.db"
    size = len(pack(99)) * 100
    wait_until(lambda: saved.exists() and saved.stat().st_size > size, "the save")
    loopback.kill()
    loopback.start()
    node = Publisher(loopback.port)
    node.publish(TOPIC, pack(100))  # before the service is back
    node.close()
    shop = shop_at(loopback).open()
    shop.wait_for(101)
    assert sorted(shop.values) == list(range(101))  # type: ignore[type-var]
    shop.close()


def test_loopback_only(loopback: Mosquitto) -> None:
    lines = [line for line in loopback.config.splitlines() if line.startswith("listener")]
    assert lines == [f"listener {loopback.port} 127.0.0.1"]


# The network variant -----------------------------------------------------------------------


def make_certificates(folder: Path) -> None:
    """A certificate authority of our own and a broker's certificate for 127.0.0.1."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("needs openssl: apt-get install openssl")

    def run(*arguments: str) -> None:
        subprocess.run([openssl, *arguments], cwd=folder, check=True, capture_output=True)

    new = ["req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    run(*new, "-x509", "-days", "2", "-subj", "/CN=shop", "-keyout", "ca.key", "-out", "ca.crt")
    run(*new, "-subj", "/CN=broker", "-keyout", "broker.key", "-out", "broker.csr")
    (folder / "names").write_text("subjectAltName=IP:127.0.0.1\n")
    signing = ["-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial", "-extfile", "names"]
    run("x509", "-req", "-in", "broker.csr", *signing, "-days", "2", "-out", "broker.crt")


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[Mosquitto]:
    folder = tmp_path / "broker"
    folder.mkdir()
    make_certificates(folder)
    (folder / "rights.acl").write_text(rights_text())
    program = shutil.which("mosquitto_passwd") or "/usr/bin/mosquitto_passwd"
    (folder / "passwords").touch(mode=0o600)
    for user, password in PASSWORDS.items():
        command = [program, "-b", str(folder / "passwords"), user, password]
        subprocess.run(command, check=True, capture_output=True)
    broker = Mosquitto(folder)
    broker.config = config_text(
        "lan", folder=folder, data=folder, port=broker.port, tls_port=broker.tls_port
    )
    broker.start()
    yield broker
    broker.kill()


def credentials(lan: Mosquitto, user: str = "heatwindow", password: str | None = None) -> Broker:
    file = lan.folder / f"{user}.password"
    file.write_text((password or PASSWORDS[user]) + "\n")
    return Broker(
        lan.host,
        lan.tls_port,
        f"hw-{user}",
        username=user,
        password_file=file,
        tls_ca_file=lan.folder / "ca.crt",
    )


class Node:
    """A node on the network, over TLS."""

    def __init__(self, lan: Mosquitto, user: str) -> None:
        self.heard: list[str] = []
        self.client = paho.Client(CallbackAPIVersion.VERSION2, client_id=user)
        self.client.username_pw_set(user, PASSWORDS[user])
        self.client.tls_set(str(lan.folder / "ca.crt"))
        self.client.on_message = lambda _client, _data, message: self.heard.append(message.topic)
        self.client.connect(lan.host, lan.tls_port)
        self.client.loop_start()
        wait_until(self.client.is_connected, "the node's connection")

    def publish(self, topic: str, payload: bytes) -> None:
        self.client.publish(topic, payload, 1).wait_for_publish(20)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def test_each_node_writes_below_its_own_name_only_and_reads_nothing(lan: Mosquitto) -> None:
    shop = Shop(credentials(lan)).open()
    one, two = Node(lan, "node1"), Node(lan, "node2")
    two.client.subscribe("#", 1)
    two.publish(TOPIC, pack(99))  # not node2's to write
    two.publish("heatwindow/alarms/all", b"false alarm")
    one.publish(TOPIC, pack(1))
    one.publish("heatwindow/nodes/node1/status", b"online")
    shop.wait_for(1)
    wait_until(lambda: "heatwindow/nodes/node1/status" in shop.link.nodes(), "the status")
    assert shop.link.publish("heatwindow/alarms/all", b"below preheat")
    two.publish("heatwindow/readings/node2", pack(2))  # after all of the above, by the same way
    shop.wait_for(2)
    assert shop.values == [1, 2]
    assert two.heard == []
    one.close()
    two.close()
    shop.close()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"password": "wrong"}, "refused by the broker"),
        ({"user": "node1"}, "subscribed"),  # may ask, is sent nothing: tested above
    ],
)
def test_who_comes_in(lan: Mosquitto, change: dict[str, str], says: str) -> None:
    shop = Shop(credentials(lan, **change))
    shop.link.start()
    wait_until(lambda: says in shop.link.status().state, says)
    shop.close()


def test_nobody_comes_in_without_a_name(lan: Mosquitto) -> None:
    shop = Shop(Broker(lan.host, lan.port, "hw-nobody"))
    shop.link.start()
    wait_until(lambda: "refused by the broker" in shop.link.status().state, "the refusal")
    shop.close()


@pytest.mark.filterwarnings(  # the client library forgets to close the refused socket
    "ignore::pytest.PytestUnraisableExceptionWarning", "ignore::ResourceWarning"
)
def test_a_broker_that_cannot_prove_itself_is_not_talked_to(lan: Mosquitto, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    make_certificates(other)
    broker = credentials(lan)
    shop = Shop(
        Broker(
            broker.host,
            broker.port,
            broker.client_id,
            username=broker.username,
            password_file=broker.password_file,
            tls_ca_file=other / "ca.crt",
        )
    )
    shop.link.start()
    wait_until(lambda: "certificate" in shop.link.status().state, "the refusal")
    assert shop.link.alive()
    shop.close()
    gc.collect()  # while the filter above holds


def test_a_certificate_file_that_is_none_is_said_in_words(lan: Mosquitto, tmp_path: Path) -> None:
    (tmp_path / "none.crt").write_text("no certificate")
    shop = Shop(Broker(lan.host, lan.tls_port, "hw-x", tls_ca_file=tmp_path / "none.crt"))
    shop.link.start()
    wait_until(lambda: "cannot use the credentials" in shop.link.status().state, "the words")
    shop.close()
    with pytest.raises(ssl.SSLError):
        ssl.create_default_context(cafile=str(tmp_path / "none.crt"))


def test_no_other_variant() -> None:
    assert VARIANTS == ("loopback", "lan")
    with pytest.raises(ValueError, match="'wan' is not one of loopback, lan"):
        config_text("wan")  # type: ignore[arg-type]
