"""Serial ports taken in while the service runs: real pseudo-terminals, a list made by the test."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace

import pytest

from service.clock import SystemClock
from service.commands.links import Links
from service.config import AdoptedPorts, Config, SerialConfig
from service.config.tables import StoreConfig
from service.judge.events import Refused
from service.wire.pack import Pack
from tests.field.bench_parts import ScriptedPort, wait_until

LINE = b'[{"n":"flange","u":"Cel","v":300}]\n'


@dataclass
class Bench:
    """Links with somewhere to put what they read."""

    folder: Path
    port: ScriptedPort
    heard: list[tuple[str, Pack]] = field(default_factory=list)
    prepared: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def intake(self, link: str, pack: Pack, ack: object) -> None:
        with self.lock:
            self.heard.append((link, pack))

    def make(self, *configured: SerialConfig) -> Links:
        config = Config(
            store=StoreConfig(url=f"sqlite:///{self.folder / 'shop.db'}"), serial=list(configured)
        )
        return Links(
            config,
            self.intake,
            SystemClock(),
            prepare=lambda link: self.prepared.append(link.name),
            lister=self.lister,
        )

    def lister(self) -> list[SimpleNamespace]:
        return [
            SimpleNamespace(
                device=str(self.port.path), vid=None, pid=None, serial_number=None,
                description="bench board",
            )
        ]  # fmt: skip

    def says_something(self) -> bool:
        """Send a line; whether any has been heard yet."""
        self.port.write(LINE)
        return bool(self.heard)


@pytest.fixture
def bench(tmp_path: Path, scripted_port: ScriptedPort) -> Bench:
    return Bench(tmp_path, scripted_port)


@pytest.fixture
def links(bench: Bench) -> Iterator[Links]:
    made = bench.make()
    made.start()
    yield made
    assert made.stop(5.0)


def test_an_unused_port_is_offered_taken_in_and_let_go(bench: Bench, links: Links) -> None:
    name = str(bench.port.path)
    assert [port.name for port in links.unused()] == [name]
    assert links.current() == []
    links.adopt(SerialConfig(port=name))
    assert links.unused() == []
    assert bench.prepared == [f"serial {name}"]
    wait_until(bench.says_something, "a reading by the adopted port")
    assert bench.heard[-1][1].measurements[0].value == 300.0

    (link,) = links.current()
    links.release(name)
    assert not link.alive()
    assert [port.name for port in links.unused()] == [name]
    assert AdoptedPorts(f"sqlite:///{bench.folder / 'shop.db'}").read() == []


def test_what_was_taken_in_is_read_again_after_a_restart(bench: Bench, links: Links) -> None:
    links.adopt(SerialConfig(port=str(bench.port.path), profile="name=value"))
    assert links.stop(5.0)
    again = bench.make()
    again.start()
    try:
        bench.heard.clear()
        bench.port.write(b"flange=301.5 degC\n")
        wait_until(lambda: bench.heard, "a line of the profile it was taken in with")
        assert bench.heard[0][1].measurements[0].value == 301.5
    finally:
        assert again.stop(5.0)


def test_only_what_is_there_and_unused_is_taken_in(bench: Bench, links: Links) -> None:
    name = str(bench.port.path)
    with pytest.raises(Refused, match="/dev/elsewhere is no unused serial port here; unused: "):
        links.adopt(SerialConfig(port="/dev/elsewhere"))
    links.adopt(SerialConfig(port=name))
    with pytest.raises(Refused, match="unused: none"):
        links.adopt(SerialConfig(port=name))
    with pytest.raises(Refused, match="was not taken in here"):
        links.release("/dev/elsewhere")


def test_a_port_of_the_config_is_neither_offered_nor_opened_twice(bench: Bench) -> None:
    name = str(bench.port.path)
    AdoptedPorts(f"sqlite:///{bench.folder / 'shop.db'}").add(SerialConfig(port=name))
    links = bench.make(SerialConfig(port=name))
    links.start()
    try:
        assert len(links.current()) == 1
        assert links.unused() == []
    finally:
        assert links.stop(5.0)


def test_a_change_of_the_file_is_taken_up(bench: Bench, links: Links) -> None:
    file = AdoptedPorts(f"sqlite:///{bench.folder / 'shop.db'}")
    links.look()
    assert links.current() == []
    file.add(SerialConfig(port=str(bench.port.path)))
    links.look()
    assert len(links.current()) == 1
    file.path.write_text("[[serial]\n")
    os.utime(file.path, ns=(1, 1))
    links.look()
    assert len(links.current()) == 1, "a broken file changes nothing"
    with pytest.raises(Refused, match="is not TOML"):
        links.release(str(bench.port.path))
    file.path.unlink()
    links.look()
    assert links.current() == []
