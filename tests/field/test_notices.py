"""A database that was really damaged: the service starts afresh and says so until it is read."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

pytestmark = pytest.mark.timeout(120)


def test_a_damaged_database_is_told_until_somebody_has_read_it(service_folder: Path) -> None:
    service = ServiceProcess(service_folder)
    try:
        service.start()
        service.act("create part", facts={"name": "Pump engine manifold"})
        assert service.stop() == 0
        with service.database.open("r+b") as file:
            file.write(b"\xa5" * 4096)  # the first page: header and schema

        service.start()
        assert service.bench()["parts"] == []
        status, body = service.ask("GET", "/api/v1/notices")
        assert status == 200
        (notice,) = body["notices"]
        (aside,) = service.folder.glob("shop.db.damaged-*[0-9Z]")
        assert str(aside) in notice["text"]
        assert notice["id"] > 0

        assert service.stop() == 0
        service.start()  # a restart is not reading
        assert service.ask("GET", "/api/v1/notices")[1]["notices"] == [notice]

        address = f"/api/v1/notices/{notice['id']}/seen"
        assert service.ask("POST", address, {}) == (200, {"notices": []})
        assert service.ask("POST", address, {})[0] == 404

        assert service.stop() == 0
        service.start()
        assert service.ask("GET", "/api/v1/notices") == (200, {"notices": []})
        assert service.stop() == 0
    finally:
        service.end()


def test_damage_found_while_the_past_is_read_does_not_keep_the_service_from_starting(
    service_folder: Path, scripted_port: ScriptedPort
) -> None:
    """The schema is whole and the tables behind it are not: opening goes well, reading does not."""
    service = ServiceProcess(service_folder, f'[[serial]]\nport = "{scripted_port.path}"\n')
    try:
        service.start()
        scripted_port.write(b'[{"n":"a","u":"Cel","v":20}]\n' * 200)
        wait_until(lambda: len(service.stored("a")) == 200, "the record")
        service.act("create part", facts={"name": "Pump engine manifold"})
        assert service.stop() == 0
        pages = service.rows(
            "SELECT rootpage FROM sqlite_schema WHERE name IN ('journal', 'reading', 'checkpoint')"
        )
        with service.database.open("r+b") as file:
            for (page,) in pages:
                file.seek((page - 1) * 4096)
                file.write(b"\xa5" * 4096)

        service.start()
        (notice,) = service.ask("GET", "/api/v1/notices")[1]["notices"]
        assert "set aside" in notice["text"]
        assert len(list(service.folder.glob("shop.db.damaged-*[0-9Z]"))) == 1
        scripted_port.write(b'[{"n":"a","u":"Cel","v":21}]\n')
        wait_until(lambda: len(service.stored("a")) == 1, "recording goes on in the fresh one")
        assert service.stop() == 0
    finally:
        service.end()
