"""What came of a heat and its photo, said to the real service, which is then killed."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from service.commands.main import main
from tests.field.said_shop import jpeg
from tests.field.service_process import ServiceProcess


def send(shop: ServiceProcess, query: str, body: bytes) -> dict:
    asked = urllib.request.Request(
        f"http://127.0.0.1:{shop.port}/api/v1/photos?{query}",
        data=body,
        headers={"X-Heatwindow": "test", "Content-Type": "image/jpeg"},
    )
    with urllib.request.urlopen(asked, timeout=20) as answer:
        return json.load(answer)


def test_an_outcome_and_its_photo_outlive_a_kill(
    service_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = ServiceProcess(service_folder, "")
    shop.start()
    try:
        part_id = shop.act("create part", facts={"name": "pump manifold"})["part_id"]
        heat_id = shop.act("begin heat", part_id=part_id)["heat_id"]
        shop.act("end heat", heat_id=heat_id)
        kept = send(shop, f"of=root&heat_id={heat_id}", jpeg())
        shop.act("say outcome", heat_id=heat_id, cracked="seen cold", root_photo=kept["sha256"])
        with pytest.raises(urllib.error.HTTPError, match="HTTP Error 413"):
            send(shop, f"of=root&heat_id={heat_id}", b"\xff\xd8\xff" * 4_100_000)
        shop.kill()
        shop.start()
        shop.act("say outcome", heat_id=heat_id, cracked="seen by dye", by="Ada")
        found = shop.ask("GET", "/api/v1/heats?outcome=cracked")[1]["heats"]
        assert [each["outcome"]["cracked"] for each in found] == ["seen by dye"]
        record = shop.ask("GET", f"/api/v1/heats/{heat_id}")[1]
        assert [each["cracked"] for each in record["outcomes"]] == ["seen cold", "seen by dye"]
        assert [each["sha256"] for each in record["photos"]] == [kept["sha256"]]
        copy, config = tmp_path / "copy.db", str(shop.config)
        assert main(["backup", str(copy), "--config", config]) == 0
        assert "photos beside it: 1" in capsys.readouterr().out
        assert main(["work", "--by", "part", "--database", str(copy)]) == 0
        assert "1,pump manifold,1," in capsys.readouterr().out
        table = tmp_path / "work.csv"
        assert main(["work", "-o", str(table), "--database", str(copy)]) == 0
        assert table.read_text().splitlines()[0].startswith("heat,part,begun_utc,hours,")
        assert main(["work", "-o", str(tmp_path), "--database", str(copy)]) == 1
        assert main(["replay", str(copy)]) == 0
        assert shop.stop() == 0
    finally:
        shop.end()
