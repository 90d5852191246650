"""What came of heats, photos and what heats took, by the API, out of a real database."""

from __future__ import annotations

import csv
import io
import threading

import pytest

from dashboard.app import create_app
from service.judge import actions as act
from service.judge.outcome_actions import PHOTO_MOST_BYTES
from service.records.results import Results
from service.records.shelf import Shelf
from service.store import photos as photo_files
from tests.field.described import fits
from tests.field.said_shop import jpeg, small_shop

HOSTILE = '=HYPERLINK("http://x/")<script>'
OURS = {"X-Heatwindow": "page", "Content-Type": "image/jpeg"}
ROOT = "/api/v1/photos?of=root&heat_id=1"


@pytest.fixture
def shop(tmp_path):
    made = small_shop(tmp_path / "shop.db", ("pump elbow", HOSTILE))
    yield made
    made.store.close()


@pytest.fixture
def board(board, shop):
    board.shelf = Shelf(shop.store, lambda: 1_790_100_000_000_000)
    board.desk, board.results = shop.desk, Results(shop.store)
    board.act = shop.desk.act
    return board


def ids(client, wanted: str) -> list[int]:
    answer = client.get("/api/v1/heats", query_string={"outcome": wanted})
    return [each["heat_id"] for each in fits(answer, "/api/v1/heats")["heats"]]


def test_an_outcome_is_said_listed_and_found(client, post):
    assert ids(client, "not said") == [2, 1]
    said = {"kind": "say outcome", "heat_id": 1, "cracked": "seen by dye", "root": "crusted"}
    assert post({**said, "oxygen_colour": 9, "by": "Ada"}).status_code == 200
    assert ids(client, "cracked") == ids(client, "seen by dye") == ids(client, "crusted") == [1]
    assert ids(client, "not said") == [2]
    assert ids(client, "none seen") == []
    heats = fits(client.get("/api/v1/heats"), "/api/v1/heats")["heats"]
    assert heats[1]["outcome"]["oxygen_colour"] == 9
    assert heats[0]["outcome"] is None
    post({"kind": "say outcome", "heat_id": 1, "cracked": "none seen"})
    assert ids(client, "cracked") == []
    record = fits(client.get("/api/v1/heats/1"), "/api/v1/heats/{heat_id}")
    assert [each["cracked"] for each in record["outcomes"]] == ["seen by dye", "none seen"]
    post({"kind": "say outcome", "heat_id": 1})
    assert ids(client, "not said") == [2, 1]  # taken back
    answer = client.get("/api/v1/heats?outcome=sound")
    assert "'sound' is not one of cracked, not said" in fits(answer, "/api/v1/heats")["detail"]


def test_what_cannot_be_said_is_refused(client, post, shop):
    assert post({"kind": "say outcome", "heat_id": 9, "cracked": "none seen"}).status_code == 409
    for wrong in ({"oxygen_colour": 11}, {"oxygen_colour": 0}, {"cracked": "sound"}, {"sound": 1}):
        assert post({"kind": "say outcome", "heat_id": 1, **wrong}).status_code == 422
    told = fits(client.get("/api/v1/heats/1/colour"), "/api/v1/heats/{heat_id}/colour")
    assert (told["refused"], told["sample_ppm"][3]) == (None, 100)
    shop.facts(metal="grey iron", joining_metal="mild steel")
    told = fits(client.get("/api/v1/heats/1/colour"), "/api/v1/heats/{heat_id}/colour")
    assert "never for iron" in told["refused"]
    refused = post({"kind": "say outcome", "heat_id": 1, "oxygen_colour": 2})
    assert (refused.status_code, refused.get_json()["detail"]) == (409, told["refused"])
    missing = client.get("/api/v1/heats/9/colour")
    assert fits(missing, "/api/v1/heats/{heat_id}/colour")["status"] == 404


def test_a_photo_is_sent_shown_and_dropped(client, post):
    sent = client.post(f"{ROOT}&caption=root,%20side%20B&by=Ada", data=jpeg(), headers=OURS)
    added = fits(sent, "/api/v1/photos", "post")
    assert (added["caption"], added["recorded"]) == ("root, side B", True)
    shown = fits(client.get("/api/v1/photos?heat_id=1"), "/api/v1/photos")["photos"]
    assert [each["sha256"] for each in shown] == [added["sha256"]]
    picture = client.get(f"/api/v1/photos/{added['sha256']}")
    assert picture.mimetype == "image/jpeg"
    assert len(picture.data) == added["size_bytes"]
    assert b"Exif" not in picture.data
    headers = picture.headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Content-Security-Policy"] == (
        "default-src 'none'; sandbox; frame-ancestors 'none'"
    )
    name = f"photo-{added['sha256'][:12]}.jpg"
    assert headers["Content-Disposition"] == f'inline; filename="{name}"'
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    again = client.post(ROOT, data=jpeg(), headers=OURS)  # the same picture: still one
    assert again.get_json()["sha256"] == added["sha256"]
    assert len(client.get("/api/v1/photos?heat_id=1").get_json()["photos"]) == 1
    drop = {"kind": "drop photo", "sha256": added["sha256"], "of": "root", "heat_id": 1}
    assert post(drop).status_code == 200
    assert post(drop).status_code == 409
    assert client.get("/api/v1/photos?heat_id=1").get_json() == {"photos": []}
    assert client.get(f"/api/v1/photos/{added['sha256']}").status_code == 200


BAD_UPLOADS: list[tuple[str, bytes, dict[str, str | None], int, str]] = [
    ("of=root&heat_id=1", b"<svg onload='x'/>", {}, 422, "neither JPEG nor PNG"),
    ("of=root&heat_id=1", b"<html><script>", {"Content-Type": "image/png"}, 422, "neither"),
    ("of=root&heat_id=1", b"", {}, 422, "no byte came"),
    ("of=root&heat_id=1", jpeg()[:-40], {}, 422, "ends"),
    ("of=root&heat_id=1", b"\xff" * (PHOTO_MOST_BYTES + 1), {}, 413, "at most 12 MB"),
    ("of=root&heat_id=1", jpeg(), {"Content-Type": "image/svg+xml"}, 415, "'image/svg+xml'"),
    ("of=root&heat_id=1", jpeg(), {"Content-Type": "text/plain"}, 415, "'text/plain'"),
    ("of=root&heat_id=1", jpeg(), {"Content-Type": "multipart/form-data"}, 415, "multipart"),
    ("of=root&heat_id=1", jpeg(), {"X-Heatwindow": None}, 403, "header"),
    ("of=root&heat_id=1", jpeg(), {"Origin": "http://elsewhere"}, 403, "not accepted"),
    ("of=root&heat_id=9", jpeg(), {}, 409, "no heat 9"),
    ("of=part&part_id=9", jpeg(), {}, 409, "no part 9"),
    ("of=root&part_id=1", jpeg(), {}, 422, "has heat_id and no part_id"),
    ("of=root&heat_id=../../etc", jpeg(), {}, 422, "heat_id"),
    ("of=root&heat_id=1&name=../../x.jpg", jpeg(), {}, 422, "name"),
]


def test_a_bad_upload_is_told_and_leaves_nothing(client, shop):
    for query, body, changed, status, words in BAD_UPLOADS:
        headers = {name: value for name, value in {**OURS, **changed}.items() if value is not None}
        answer = client.post(f"/api/v1/photos?{query}", data=body, headers=headers)
        assert answer.status_code == status, words
        assert words in fits(answer, "/api/v1/photos", "post")["detail"]
    assert list(shop.store.path.parent.glob("shop.db.photos/*")) == []
    assert client.get("/api/v1/photos?heat_id=1").get_json() == {"photos": []}


def test_a_device_that_may_only_look_sends_none(board):
    client = create_app(board.wiring()).test_client()
    answer = client.post(
        ROOT, data=jpeg(), headers=OURS, environ_base={"REMOTE_ADDR": "192.168.1.9"}
    )
    assert fits(answer, "/api/v1/photos", "post")["code"] == "viewing-only"


def test_a_full_disk_is_told_and_the_next_photo_is_kept(client, shop, monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr(photo_files.shutil, "disk_usage", lambda _: type("U", (), {"free": 1}))
        answer = client.post(ROOT, data=jpeg(), headers=OURS)
    assert answer.status_code == 507
    assert "which the readings need" in fits(answer, "/api/v1/photos", "post")["detail"]
    kept = client.post(ROOT, data=jpeg(), headers=OURS).get_json()
    (file,) = shop.store.path.parent.glob("shop.db.photos/*")
    file.write_bytes(b"damaged")
    answer = client.get(f"/api/v1/photos/{kept['sha256']}")
    assert answer.status_code == 410
    assert "is damaged" in answer.get_json(force=True)["detail"]


def test_many_at_once_are_all_kept(board, shop):
    """As many as a heat may have, at the same moment; the one too many is told."""
    app = create_app(board.wiring())
    found: list[int] = []

    def send(place: int) -> None:
        answer = app.test_client().post(ROOT, data=jpeg(place * 15), headers=OURS)
        found.append(answer.status_code)

    threads = [threading.Thread(target=send, args=(place,)) for place in range(14)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert sorted(found) == [200] * 12 + [409] * 2
    assert len(shop.desk.photos(1, None)) == 12


def test_photos_are_asked_for_by_number_or_digest(client):
    for name in ("..%2f..%2fshop.db", "0" * 64, "x", "%00"):
        assert client.get(f"/api/v1/photos/{name}").status_code == 404
    for query in ("", "?heat_id=x", "?part_id=-1", "?heat_id=1234567890"):
        assert fits(client.get(f"/api/v1/photos{query}"), "/api/v1/photos")["status"] == 422


def test_what_heats_took(client, shop):
    """Begun, 1 s and 45 s of pass, 60 s until it ended: 106 s; 12 l/min for 45 s are 9 l."""
    told = fits(client.get("/api/v1/work"), "/api/v1/work")
    assert [each["heat_id"] for each in told["heats"]] == [2, 1]
    work = told["heats"][0]["work"]
    assert (work["total_s"], work["arc_s"], work["arc_by"]) == (106.0, 45.0, "taps")
    assert (work["torch_l"], work["torch_by"], work["purge_l"]) == (9.0, "setting", 0.0)
    assert [each["heats"] for each in told["parts"]] == [1, 1]
    assert client.get("/api/v1/heats").get_json()["heats"][0]["work"] == work
    assert client.get("/api/v1/heats/2").get_json()["work"] == work
    for by, first in (("heat", "heat"), ("part", "part_number")):
        text = client.get(f"/api/v1/work.csv?by={by}").get_data(as_text=True)
        rows = list(csv.DictReader(io.StringIO(text)))
        assert next(iter(rows[0])) == first
        assert (rows[0]["arc_min"], rows[0]["torch_argon_l"]) == ("0.75", "9.0")
        assert rows[0]["part"].startswith("'=HYPERLINK")
    assert fits(client.get("/api/v1/work.csv?by=day"), "/api/v1/work.csv")["status"] == 422
    # A correction of a pass is followed: 45 s become 40.
    ended_us = shop.at_us - 60_000_000 - 5_000_000
    shop.put(act.CorrectPass(heat_id=2, number=1, ended_us=ended_us))
    assert client.get("/api/v1/work").get_json()["heats"][0]["work"]["arc_s"] == 40.0
