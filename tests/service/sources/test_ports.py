"""Ports by identity. The listing is scripted in the library's own form; links are real ones."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from serial.tools.list_ports_common import ListPortInfo

from service.clock import SystemClock
from service.sources import serial_port
from service.sources.ports import (
    PortIdentity,
    PortNotFound,
    holders,
    list_candidates,
    resolve_port,
    unclaimed,
)
from service.sources.serial_port import SerialLink
from tests.field.bench_parts import ScriptedPort, wait_until


def usb_port(device: Path, vid: int, pid: int, serial: str | None) -> ListPortInfo:
    device.touch()
    info = ListPortInfo(str(device), skip_link_detection=True)
    info.vid, info.pid, info.serial_number = vid, pid, serial
    info.description = "USB serial"
    return info


class Shelf:
    """Two identical adapters without serial numbers, one with, and a port on the board."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.infos = [
            usb_port(folder / "ttyUSB0", 0x1A86, 0x7523, None),
            usb_port(folder / "ttyUSB1", 0x1A86, 0x7523, None),
            usb_port(folder / "ttyACM0", 0x2E8A, 0x0005, "E66058388357A12F"),
        ]
        (folder / "ttyS0").touch()
        self.infos.append(ListPortInfo(str(folder / "ttyS0"), skip_link_detection=True))
        self.links = folder / "serial"
        for kind in ("by-id", "by-path"):
            (self.links / kind).mkdir(parents=True)
        for name, device in [("port-1:1.0", "ttyUSB0"), ("port-2:1.0", "ttyUSB1")]:
            (self.links / "by-path" / name).symlink_to(folder / device)
        # Both adapters would have this name; the system keeps the last one plugged in.
        (self.links / "by-id" / "usb-serial-if00").symlink_to(folder / "ttyUSB1")

    def candidates(self) -> list[PortIdentity]:
        return list_candidates(lambda: self.infos, self.links)

    def resolve(self, name: str) -> str:
        return resolve_port(name, lambda: self.infos, self.links)


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(tmp_path)


def test_each_port_is_named_so_that_it_is_found_again(shelf: Shelf) -> None:
    names = {Path(port.device).name: port.name for port in shelf.candidates()}
    assert names == {
        "ttyUSB0": str(shelf.links / "by-path" / "port-1:1.0"),
        "ttyUSB1": str(shelf.links / "by-path" / "port-2:1.0"),
        "ttyACM0": "usb:2e8a:0005:E66058388357A12F",
        "ttyS0": str(shelf.folder / "ttyS0"),
    }
    for port in shelf.candidates():
        assert os.path.realpath(shelf.resolve(port.name)) == port.device


def test_a_renumbered_adapter_is_found_by_its_serial_number(shelf: Shelf) -> None:
    shelf.infos[2] = usb_port(shelf.folder / "ttyACM7", 0x2E8A, 0x0005, "E66058388357A12F")
    assert shelf.resolve("usb:2e8a:0005:e66058388357a12f") == str(shelf.folder / "ttyACM7")
    assert shelf.resolve("usb:2E8A:0005") == str(shelf.folder / "ttyACM7")


def test_two_identical_adapters_are_never_guessed_between(shelf: Shelf) -> None:
    with pytest.raises(PortNotFound, match=r"2 ports are usb:1a86:7523: name one of .*port-1"):
        shelf.resolve("usb:1a86:7523")


def test_two_adapters_with_the_same_serial_number_are_told_apart_by_their_sockets(
    shelf: Shelf,
) -> None:
    """Cheap ones all carry the same number; it says nothing then."""
    for index, name in enumerate(("ttyUSB0", "ttyUSB1")):
        shelf.infos[index] = usb_port(shelf.folder / name, 0x10C4, 0xEA60, "0001")
    names = [port.name for port in shelf.candidates() if port.serial_number == "0001"]
    assert names == [str(shelf.links / "by-path" / f"port-{socket}:1.0") for socket in (1, 2)]
    with pytest.raises(PortNotFound, match="2 ports are usb:10c4:ea60:0001"):
        shelf.resolve("usb:10c4:ea60:0001")
    # Swapped between the sockets, each name still means its socket.
    for socket, device in ((1, "ttyUSB1"), (2, "ttyUSB0")):
        link = shelf.links / "by-path" / f"port-{socket}:1.0"
        link.unlink()
        link.symlink_to(shelf.folder / device)
        assert os.path.realpath(shelf.resolve(str(link))) == str(shelf.folder / device)


def test_a_missing_adapter_is_named_with_what_is_there(shelf: Shelf) -> None:
    with pytest.raises(PortNotFound, match=r"no port is usb:0403:6001; present: .*usb:2e8a"):
        shelf.resolve("usb:0403:6001")
    shelf.infos.clear()
    with pytest.raises(PortNotFound, match="present: none"):
        shelf.resolve("usb:0403:6001")


def test_what_nobody_reads_is_offered_for_adoption(shelf: Shelf) -> None:
    configured = [
        str(shelf.links / "by-path" / "port-1:1.0"),
        "usb:2e8a:0005",
        "/dev/not-there",
    ]
    free = unclaimed(shelf.candidates(), configured)
    assert [Path(port.device).name for port in free] == ["ttyS0", "ttyUSB1"]


def test_a_link_says_that_its_adapter_is_missing(intake) -> None:
    link = SerialLink("usb:ffff:ffff:none", intake, SystemClock())
    link.start()
    wait_until(lambda: "no port is usb:ffff:ffff" in link.status().state, "the missing adapter")
    assert link.stop()


@pytest.mark.skipif(sys.platform != "linux", reason="open files are listed in /proc")
def test_the_program_that_holds_a_port_is_named(scripted_port: ScriptedPort, intake) -> None:
    script = (
        "import serial, sys; port = serial.Serial(sys.argv[1], exclusive=True);"
        "print('open', flush=True); sys.stdin.read()"
    )
    command = [sys.executable, "-c", script, str(scripted_port.path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"open\n"
        assert any(f"({other.pid})" in holder for holder in holders(str(scripted_port.path)))
        link = SerialLink(str(scripted_port.path), intake, SystemClock())
        link.start()
        wait_until(lambda: f"({other.pid})" in link.status().state, "the holder's name")
        assert link.status().state.startswith("port busy")
        assert link.stop()
        other.communicate(b"")


@pytest.mark.skipif(sys.platform != "linux", reason="open files are listed in /proc")
def test_a_program_that_opens_our_port_all_the_same_is_named(
    scripted_port: ScriptedPort, intake, monkeypatch
) -> None:
    """It asks for no lock, so it gets in, and takes bytes: silence or broken lines give it away."""
    monkeypatch.setattr(serial_port, "SUSPICION_S", 0.2)
    monkeypatch.setattr(serial_port, "LOOK_EVERY_S", 0.1)
    link = SerialLink(str(scripted_port.path), intake, SystemClock())
    link.start()
    wait_until(lambda: link.status().ready, "the opening")
    script = "import sys; port = open(sys.argv[1]); print('open', flush=True); sys.stdin.read()"
    command = [sys.executable, "-c", script, str(scripted_port.path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"open\n"
        wait_until(lambda: f"({other.pid})" in link.status().state, "its name, in the silence")
        assert link.status().state.startswith("open, but nothing comes: ")
        assert link.status().ready

        halt = threading.Event()
        sender = threading.Thread(target=_send_halves, args=(scripted_port, halt))
        sender.start()
        wait_until(lambda: "lines come broken" in link.status().state, "the broken lines")
        assert f"({other.pid})" in link.status().state
        halt.set()
        sender.join()
        other.communicate(b"")
    wait_until(lambda: link.status().state == "open", "that it is ours alone again")
    scripted_port.write(b'\n[{"n":"port2","u":"Cel","v":3}]\n')
    assert intake.wait_for(1) == [3]
    assert link.stop()


def _send_halves(port: ScriptedPort, halt: threading.Event) -> None:
    while not halt.wait(0.01):
        port.write(b'[{"n":"port2","u":"C\n')
