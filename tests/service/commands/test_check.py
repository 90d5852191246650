"""``heatwindow check`` against real ports, a real broker and real files."""

from __future__ import annotations

import os
import socket
import sqlite3
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from service.commands import broker_visit
from service.commands.main import main
from service.demo.broker import BrokerChild, free_port

Check = Callable[[str], tuple[int, dict[str, str], str]]


@pytest.fixture
def check(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Check:
    """Writes a config with its store in a folder of its own and checks it: exit code, lines by
    what they are about, standard error."""

    def run(text: str) -> tuple[int, dict[str, str], str]:
        file = tmp_path / "shop.toml"
        head = "" if "[store]" in text else "[store]\nurl = 'sqlite:///shop.db'\n"
        page = "" if "[dashboard]" in text else "[dashboard]\nport = 0\n"
        file.write_text(f"{head}{page}{text}", encoding="utf-8")
        code = main(["check", "--config", str(file)])
        streams = capsys.readouterr()
        return code, {line.split()[0]: line for line in streams.out.splitlines()}, streams.err

    return run


@pytest.fixture
def terminal() -> Iterator[str]:
    """A pseudo-terminal that nobody has open but its other end."""
    master, slave = os.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    os.close(slave)
    yield name
    os.close(master)


def test_a_config_that_would_open(check: Check, tmp_path: Path, terminal: str) -> None:
    code, lines, errors = check(f"[[serial]]\nport = '{terminal}'\n")
    assert (code, errors) == (0, "")
    assert f"{tmp_path}/shop.db would be made" in lines["store"]
    assert "is there and free" in lines["serial"]
    assert not (tmp_path / "shop.db").exists()


def test_faults_of_the_file_are_all_told_with_code_2(check: Check) -> None:
    code, lines, errors = check("[mqtt]\nport = 0\n[[serial]]\nport = ''\n")
    assert code == 2
    assert lines == {}
    assert [line.split(": ")[2].split(" = ")[0] for line in errors.splitlines()] == [
        "serial[0].port",
        "mqtt.host",
        "mqtt.port",
    ]


def test_a_missing_file_is_told_with_code_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--config", "/no/such/shop.toml"]) == 2
    assert capsys.readouterr().err == (
        "heatwindow: /no/such/shop.toml: cannot be read: No such file or directory\n"
    )


def test_an_absent_port_fails(check: Check) -> None:
    code, lines, _ = check("[[serial]]\nport = '/dev/serial/by-id/none'\n")
    assert code == 1
    assert "FAIL" in lines["serial"]
    assert "no such file or directory" in lines["serial"]


def test_a_file_is_no_port(check: Check, tmp_path: Path) -> None:
    (tmp_path / "port").touch()
    code, lines, _ = check(f"[[serial]]\nport = '{tmp_path}/port'\n")
    assert code == 1
    assert "is not a serial port" in lines["serial"]


@pytest.mark.mosquitto
def test_a_broker_that_answers(check: Check, tmp_path: Path) -> None:
    broker = BrokerChild(tmp_path, "mosquitto")
    broker.start()
    code, lines, _ = check(f"[mqtt]\nhost = '127.0.0.1'\nport = {broker.port}\n")
    broker.stop()
    assert code == 0
    assert "answers; topics heatwindow/readings/#" in lines["mqtt"]


@pytest.mark.mosquitto
def test_a_broker_that_refuses_the_password(check: Check, tmp_path: Path) -> None:
    class Closed(BrokerChild):
        def _command(self) -> list[str]:
            command = super()._command()
            file = self.folder / "mosquitto.conf"
            text = file.read_text().replace("allow_anonymous true", "allow_anonymous false")
            file.write_text(text)
            return command

    broker = Closed(tmp_path, "mosquitto")
    broker.start()
    (tmp_path / "secret").write_text("hunter2")
    code, lines, errors = check(
        f"[mqtt]\nhost = '127.0.0.1'\nport = {broker.port}\n"
        "username = 'bench'\npassword_file = 'secret'\n"
    )
    broker.stop()
    assert code == 1
    assert "refuses: not authorized" in lines["mqtt"]
    assert "hunter2" not in lines["mqtt"] + errors


def test_a_broker_that_is_not_there(check: Check) -> None:
    code, lines, _ = check(f"[mqtt]\nhost = '127.0.0.1'\nport = {free_port()}\n")
    assert code == 1
    assert "cannot be reached" in lines["mqtt"]


def test_something_that_is_no_broker(check: Check, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(broker_visit, "WAIT_S", 0.3)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        code, lines, _ = check(f"[mqtt]\nhost = '127.0.0.1'\nport = {port}\n")
    assert code == 1
    assert "gives no MQTT answer" in lines["mqtt"]


def test_a_database_is_recognised_and_anything_else_is_not(check: Check, tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "shop.db") as connection:
        connection.execute("create table a (b)")
    connection.close()
    assert check("")[0] == 0
    (tmp_path / "shop.db").write_bytes(b"not a database at all")
    code, lines, _ = check("")
    assert code == 1
    assert "is not a SQLite database" in lines["store"]


def test_a_store_that_cannot_be_made(check: Check) -> None:
    code, lines, _ = check("[store]\nurl = 'sqlite:////dev/null/shop.db'\n")
    assert code == 1
    assert "cannot be made" in lines["store"]


def test_a_taken_page_and_an_open_one(check: Check) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        code, lines, _ = check(f"[dashboard]\nport = {other.getsockname()[1]}\n")
    assert code == 1
    assert "address already in use" in lines["page"]
    code, lines, _ = check("[dashboard]\nhost = '0.0.0.0'\nport = 0\n")
    assert code == 0
    assert "CAUTION" in lines["page"]


@pytest.mark.parametrize(("program", "code"), [("sh", 0), ("/no/such/bell", 1)])
def test_the_sounder(program: str, code: int, check: Check) -> None:
    found, lines, _ = check(f"[notify]\nsounder = ['{program}']\n")
    assert found == code
    assert program in lines["sounder"]
