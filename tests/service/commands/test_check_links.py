"""What ``check`` says of serial ports, logs and the broker's file: found by looking, not taken."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from service.commands import probes
from service.commands.main import main
from service.sources import ports
from service.sources.shipped_broker import config_text, rights_text
from tests.field.bench_parts import Mosquitto, ScriptedPort, free_port


def checked(
    tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]
) -> tuple[int, dict[str, str]]:
    """Exit code, and the lines of the answer by their first word."""
    file = tmp_path / "shop.toml"
    file.write_text(f'[store]\nurl = "sqlite:///shop.db"\n[dashboard]\nport = 0\n{text}')
    code = main(["check", "--config", str(file)])
    lines = capsys.readouterr().out.splitlines()
    return code, {line[:10].strip(): line[11:] for line in lines}


def test_a_port_that_is_there_is_said_to_be_free(
    tmp_path: Path, scripted_port: ScriptedPort, capsys: pytest.CaptureFixture[str]
) -> None:
    code, lines = checked(tmp_path, f'[[serial]]\nport = "{scripted_port.path}"\n', capsys)
    assert code == 0
    assert lines["serial"] == f"ok    {scripted_port.path} is there and free"
    assert not (tmp_path / "shop.db").exists(), "nothing is made by looking"


def test_a_port_held_by_another_program_names_it(
    tmp_path: Path, scripted_port: ScriptedPort, capsys: pytest.CaptureFixture[str]
) -> None:
    holding = "import sys; f = open(sys.argv[1], 'rb'); print('open', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", holding, os.path.realpath(scripted_port.path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as other:
        assert other.stdout is not None
        assert other.stdin is not None
        assert other.stdout.readline() == b"open\n"
        code, lines = checked(tmp_path, f'[[serial]]\nport = "{scripted_port.path}"\n', capsys)
        other.stdin.close()
    assert code == 1
    assert "FAIL" in lines["serial"]
    assert f"({other.pid})" in lines["serial"]


def test_a_usb_name_is_looked_up_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, lines = checked(tmp_path, '[[serial]]\nport = "usb:dead:beef:X1"\n', capsys)
    assert code == 1
    assert lines["serial"].startswith("FAIL  no port is usb:dead:beef:X1; present: ")
    monkeypatch.setattr(probes, "resolve_port", lambda _name: str(tmp_path / "node"))
    code, lines = checked(tmp_path, '[[serial]]\nport = "usb:dead:beef:X1"\n', capsys)
    assert "usb:dead:beef:X1 is " in lines["serial"]
    assert "cannot be opened: no such file" in lines["serial"]


def test_a_port_nobody_reads_is_offered_by_its_lasting_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    usb = SimpleNamespace(
        device="/dev/ttyUSB7",
        description="bench node",
        vid=0x1A86,
        pid=0x7523,
        serial_number="A7",
    )
    found = ports.list_candidates(lambda: [usb], tmp_path)
    monkeypatch.setattr(probes, "list_candidates", lambda: found)
    _, lines = checked(tmp_path, "", capsys)
    assert lines["unused"].endswith(
        "bench node at /dev/ttyUSB7: to read it, adopt it on the page, or "
        "heatwindow check --adopt usb:1a86:7523:A7"
    )
    _, lines = checked(tmp_path, '[[serial]]\nport = "usb:1a86:7523"\n', capsys)
    assert "unused" not in lines


@pytest.mark.parametrize(
    ("path", "code", "says"),
    [("there.csv", 0, "(0.0 MB)"), ("later.csv", 0, "not there yet"), ("no/x.csv", 1, "not there")],
)
def test_a_log_is_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], path: str, code: int, says: str
) -> None:
    (tmp_path / "there.csv").write_text("time,oven [Cel]\n")
    found, lines = checked(tmp_path, f'[[log_file]]\npath = "{path}"\n', capsys)
    assert found == code
    assert says in lines["log file"]


@pytest.mark.parametrize("which", ["loopback", "lan"])
def test_the_broker_config_is_printed_whole_and_alone(
    which: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--broker-config", which]) == 0
    printed = capsys.readouterr()
    assert printed.out == config_text(which)  # type: ignore[arg-type]
    assert "/etc/mosquitto/mosquitto.conf" in printed.err
    assert ("rights" in printed.err) is (which == "lan")


def test_the_rights_are_printed_and_their_place_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--broker-config", "rights"]) == 0
    printed = capsys.readouterr()
    assert printed.out == rights_text()
    assert "/etc/mosquitto/heatwindow/rights.acl" in printed.err


@pytest.mark.mosquitto
def test_mosquitto_takes_what_is_printed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The file as printed, but for its folder and port, starts a broker."""
    assert main(["check", "--broker-config", "loopback"]) == 0
    text = capsys.readouterr().out
    broker = Mosquitto(tmp_path)
    broker.port = free_port()
    broker.config = text.replace("listener 1883", f"listener {broker.port}").replace(
        "/var/lib/mosquitto", str(tmp_path)
    )
    broker.start()  # waits for its answer
    broker.kill()
