"""Backup beside a running service, restore in its absence; both through the command line."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from service.commands.main import main
from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess


def readings_in(path: Path) -> int:
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        return int(connection.execute("SELECT count(*) FROM reading").fetchone()[0])
    finally:
        connection.close()


def test_a_backup_of_a_running_service_restores(
    service_folder: Path,
    scripted_port: ScriptedPort,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    shop = ServiceProcess(service_folder, f'[[serial]]\nport = "{scripted_port.path}"\n')
    copy, config = tmp_path / "copy.db", str(shop.config)
    shop.start()
    try:
        for number in range(20):
            scripted_port.write(f'[{{"n":"bench/flange","u":"Cel","v":{number}}}]\n'.encode())
        wait_until(lambda: len(shop.stored("bench/flange")) == 20, "twenty rows")
        assert main(["backup", str(copy), "--config", config]) == 0
        assert "20 readings" in capsys.readouterr().out
        assert main(["backup", str(copy), "--config", config]) == 1
        assert "exists already" in capsys.readouterr().err
        assert main(["restore", str(copy), "--config", config]) == 1
        assert "in use" in capsys.readouterr().err
        scripted_port.write(b'[{"n":"bench/flange","u":"Cel","v":20}]\n')
        wait_until(lambda: len(shop.stored("bench/flange")) == 21, "one row more")
    finally:
        shop.end()
    assert main(["restore", str(copy), "--config", config]) == 0
    told = capsys.readouterr().out
    assert readings_in(shop.database) == 20
    aside = Path(told.strip().rpartition(" ")[2])
    assert readings_in(aside) == 21


def test_a_backup_of_nothing_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = tmp_path / "shop.toml"
    config.write_text('[store]\nurl = "sqlite:///absent.db"\n')
    assert main(["backup", str(tmp_path / "copy.db"), "--config", str(config)]) == 1
    assert "there is no database" in capsys.readouterr().err
    assert not (tmp_path / "copy.db").exists()
