"""Somebody who reads the database for long beside the running service."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

ROWS = 30_000


def test_a_long_reader_loses_nothing_and_the_log_shrinks_afterwards(
    service_folder: Path, scripted_port: ScriptedPort
) -> None:
    """His snapshot keeps the write-ahead log from being begun anew (sqlite.org/wal.html)."""
    service = ServiceProcess(service_folder, f'[[serial]]\nport = "{scripted_port.path}"\n')
    service.start()
    wal = service.database.with_name("shop.db-wal")
    try:
        scripted_port.write(b'[{"n":"count","u":"ppm","v":0}]\n')
        wait_until(lambda: service.stored("count"), "a row")
        reader = sqlite3.connect(service.database, isolation_level=None)
        reader.execute("BEGIN")
        assert reader.execute("SELECT count(*) FROM reading").fetchone()[0] >= 1
        lines = [f'[{{"n":"count","u":"ppm","v":{number}}}]\n' for number in range(1, ROWS)]
        for place in range(0, len(lines), 500):
            scripted_port.write("".join(lines[place : place + 500]).encode())
        wait_until(lambda: len(service.stored("count")) == ROWS, "every row", 60)
        held_bytes = wal.stat().st_size
        reader.close()
        scripted_port.write(b'[{"n":"count","u":"ppm","v":-1}]\n')
        wait_until(lambda: len(service.stored("count")) == ROWS + 1, "recording goes on")
        assert service.stop() == 0
        assert not wal.exists() or wal.stat().st_size < held_bytes / 10
    finally:
        service.end()
    assert [value for _, value in service.stored("count")][:ROWS] == [float(n) for n in range(ROWS)]
