"""A database that was really damaged: the service starts afresh and says so until it is read."""

from __future__ import annotations

from pathlib import Path

import pytest

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
