"""What is said of a heat later: looked at against the records, kept, handed over, printed."""

from __future__ import annotations

import io
import json
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pypdfium2
import pytest
from PIL import Image

from service.commands.main import main
from service.judge import actions as act
from service.judge.events import Refused
from service.judge.outcome_actions import Dimension
from service.records.desk import PHOTOS_MOST, Desk, Of
from service.records.gather import gather
from service.records.package import NotAPackage, decode, encode
from service.records.record_json import record_json
from service.records.shelf import Shelf
from service.store.backup import backup, restore
from service.store.database import Store
from service.tickets import ActResult
from service.wire.picture import NotAPicture
from tests.field.said_shop import SaidShop, jpeg, small_shop

YEAR_US = 365 * 86_400_000_000
ROOT = Of("root", None, 1)


@pytest.fixture
def path(recorded: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(recorded, tmp_path / "shop.db"))


@pytest.fixture
def shop(path: Path) -> Iterator[SaidShop]:
    made = SaidShop(path)
    yield made
    made.store.close()


def test_the_newest_saying_holds_and_the_earlier_ones_stay(shop: SaidShop, tmp_path: Path) -> None:
    shop.say(cracked="none seen", root="tinted", penetration="all round",
             dimensions=[{"name": "flange gap", "before_mm": 0.4, "after_mm": 1.1}])  # fmt: skip
    shop.at_us += YEAR_US
    shop.say(cracked="seen in service", text="beside bead 2 <b>", by="Grace")
    first, second = shop.outcomes()
    assert first["dimensions"] == [{"name": "flange gap", "before_mm": 0.4, "after_mm": 1.1}]
    assert (first["at"][:4], second["at"][:4]) == ("2026", "2027")
    assert (first["by"], second["by"]) == ("Ada", "Grace")
    assert (second["cracked"], second["root"]) == ("seen in service", None)
    out = tmp_path / "heat.pdf"
    assert main(["report", "1", "-o", str(out), "--database", str(shop.store.path)]) == 0
    document = pypdfium2.PdfDocument(out)
    pages = [document[n].get_textpage().get_text_range() for n in range(len(document))]
    document.close()
    text = " ".join(" ".join(pages).split())
    for words in ("What came of it", "crack seen in service; beside bead 2 <b>", "holds", "earlier",
                  "before 0.4 mm, after 1.1 mm, change +0.7 mm", "never says that a weld is sound",
                  "In all", "in the oven 5 min 33 s"):  # fmt: skip
        assert words in text, words
    shop.say()
    assert shop.outcomes()[-1]["cracked"] is None
    with sqlite3.connect(shop.store.path) as connection:
        assert connection.execute("SELECT count(*) FROM outcome").fetchone() == (3,)


def test_a_heat_that_never_was_is_refused(shop: SaidShop) -> None:
    with pytest.raises(Refused, match="There is no heat 7"):
        shop.say(heat_id=7, cracked="none seen")
    with pytest.raises(Refused, match="no such photo of its root"):
        shop.say(root="bright", root_photo="0" * 64)
    with pytest.raises(ValueError, match="flange stands there 2 times"):
        act.SayOutcome(
            heat_id=1, dimensions=tuple(Dimension(name="flange", after_mm=n) for n in (1.0, 2.0))
        )
    with pytest.raises(ValueError, match="say before_mm, after_mm or both"):
        Dimension(name="flange")


def test_the_colour_scale_is_for_stainless_that_preheat_has_not_tinted(shop: SaidShop) -> None:
    with pytest.raises(Refused, match=r"never for iron\. The casting is ductile iron and the"):
        shop.say(oxygen_colour=4)
    shop.facts(joining_metal="mild steel tube")
    with pytest.raises(Refused, match="“mild steel tube”: where the tube is"):
        shop.say(oxygen_colour=4)
    shop.facts(joining_metal="stainless 316L, 2 mm")
    with pytest.raises(Refused, match=r"A probe of the part has shown 3\d\d °C before the first"):
        shop.say(oxygen_colour=4)
    shop.say(root="tinted")  # the words are still to be had
    assert shop.outcomes()[-1]["oxygen_colour"] is None


def test_a_cold_stainless_joint_may_be_graded(tmp_path: Path) -> None:
    shop = small_shop(tmp_path / "cold.db")
    try:
        shop.say(oxygen_colour=3, root="bright")
        assert shop.outcomes()[-1]["oxygen_colour"] == 3
        shop.put(act.SetLimits(part_id=1, limits=act.Limits(preheat_min_c=300)))
        shop.say(oxygen_colour=3)  # said after the heat: those limits were not its own
    finally:
        shop.store.close()


def test_a_photo_is_kept_shown_dropped_and_brought_back(shop: SaidShop) -> None:
    action, _ = shop.desk.add_photo(jpeg(), ROOT, "root, side B", "Ada", None)
    assert shop.desk.photo(action.sha256)[1] == "image/jpeg"
    assert not Image.open(io.BytesIO(shop.desk.photo(action.sha256)[0])).getexif()
    (shown,) = shop.desk.photos(1, None)
    assert (shown["caption"], shown["of"]) == ("root, side B", "root")
    shop.say(root="bright", root_photo=action.sha256)
    drop = act.DropPhoto(sha256=action.sha256, of="root", heat_id=1)
    shop.desk.act(drop)
    assert shop.desk.photos(1, None) == []
    assert shop.desk.photo(action.sha256) is not None  # the file stays: the saying rests on it
    with pytest.raises(Refused, match="no such photo that could be dropped"):
        shop.desk.act(drop)
    with pytest.raises(Refused, match="no such photo of its root"):
        shop.say(root="bright", root_photo=action.sha256)
    shop.desk.act(action)
    assert len(shop.desk.photos(1, None)) == 1
    with pytest.raises(Refused, match="send the photo itself"):
        shop.desk.act(action.model_copy(update={"sha256": "1" * 64}))
    assert shop.desk.photo("1" * 64) is None
    with pytest.raises(ValueError, match="a photo of the part has part_id"):
        act.DropPhoto(sha256="1" * 64, of="part", heat_id=1)


def test_photos_of_one_thing_are_so_many_at_most(shop: SaidShop) -> None:
    for place in range(PHOTOS_MOST):
        shop.desk.add_photo(jpeg(place * 9), Of("part", 1, None), None, None, None)
    with pytest.raises(Refused, match="There are 12 photos of part 1"):
        shop.desk.add_photo(jpeg(250), Of("part", 1, None), None, None, None)
    shop.desk.add_photo(jpeg(0), Of("part", 1, None), "the first again", None, None)
    shop.desk.add_photo(jpeg(250), ROOT, None, None, None)
    with pytest.raises(Refused, match="There is no part 9"):
        shop.desk.add_photo(jpeg(), Of("part", 9, None), None, None, None)
    with pytest.raises(NotAPicture):
        shop.desk.add_photo(b"<svg/>", ROOT, None, None, None)


def test_out_and_in_again_with_photos_to_the_byte(shop: SaidShop, tmp_path: Path) -> None:
    added, _ = shop.desk.add_photo(jpeg(), ROOT, "root", "Ada", None)
    shop.say(cracked="seen by dye", root="crusted", root_photo=added.sha256)
    whole = Shelf(shop.store, lambda: 0).package(1)
    file = tmp_path / "heat.json"
    file.write_bytes(whole)
    kinds = [each.action.kind for each in decode(whole).after]
    assert kinds[-2:] == ["add photo", "say outcome"]
    copy = tmp_path / "copy.db"
    assert main(["import", str(file), "--into", str(copy)]) == 0
    again = tmp_path / "again.json"
    assert main(["export", "1", "-o", str(again), "--database", str(copy)]) == 0
    assert again.read_bytes() == whole
    taken = Store.open_to_read(f"sqlite:///{copy}")
    desk = Desk(lambda _: ActResult(0, None, None, True), taken)
    assert desk.photo(added.sha256) == shop.desk.photo(added.sha256)
    assert record_json(gather(taken, 1)) == record_json(gather(shop.store, 1))
    taken.close()
    # Another file under the photo's name is found out, whoever made the checksum fit.
    package = decode(whole)
    other = replace(package.photos[0], data=jpeg(200))
    with pytest.raises(NotAPackage, match="not the one that its sha256"):
        decode(encode(replace(package, photos=(other,))))
    # Nothing of it is in the file of a heat without photos.
    assert b"photos" not in encode(replace(package, photos=()))[:-1].rpartition(b'"gaps"')[2]
    assert json.loads(whole)["body"]["photos"][0]["media_type"] == "image/jpeg"


def test_a_backup_brings_the_photos_along(shop: SaidShop, path: Path, tmp_path: Path) -> None:
    kept, _ = shop.desk.add_photo(jpeg(), ROOT, None, None, None)
    lost, _ = shop.desk.add_photo(jpeg(200), ROOT, None, None, None)
    url = f"sqlite:///{path}"
    copied = backup(url, tmp_path / "copy.db")
    assert (copied.photos, copied.unwell) == (2, ())
    away = tmp_path / "elsewhere.db"
    done = restore(tmp_path / "copy.db", f"sqlite:///{away}")
    assert (done.photos, done.unwell) == (2, ())
    assert (tmp_path / "elsewhere.db.photos" / f"{kept.sha256}.jpg").is_file()
    (path.parent / "shop.db.photos" / f"{lost.sha256}.jpg").unlink()
    assert backup(url, tmp_path / "second.db").unwell == (f"{lost.sha256} is missing",)
    assert Shelf(shop.store, lambda: 0).package(1)  # what is left goes along all the same


def test_what_is_said_of_an_older_heat_while_another_runs(shop: SaidShop, tmp_path: Path) -> None:
    """It lies in the stretch of the other one, which is taken in without the older heat."""
    shop.put(act.BeginHeat(heat_id=2, part_id=1))
    shop.say(cracked="seen cold")
    shop.desk.add_photo(jpeg(), ROOT, None, None, None)
    shop.put(act.EndHeat(heat_id=2))
    whole = Shelf(shop.store, lambda: 0).package(2)
    file = tmp_path / "two.json"
    file.write_bytes(whole)
    copy = str(tmp_path / "copy.db")
    assert main(["import", str(file), "--into", copy, "--even-so"]) == 0
    assert main(["export", "2", "-o", str(file), "--database", copy, "--unchecked"]) == 0
    assert file.read_bytes() == whole
