"""What came of a heat said by taps, photos really sent, what heats took; out of a real database."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from service.judge import actions as act
from service.records.results import Results
from service.records.shelf import Shelf
from tests.field.said_shop import jpeg, small_shop

pytestmark = pytest.mark.chromium

NAME = "Pump elbow <b>&"


@pytest.fixture
def shop(tmp_path):
    made = small_shop(tmp_path / "shop.db", (NAME, "Saw manifold"))
    yield made
    made.store.close()


@pytest.fixture
def board(board, shop):
    board.shelf = Shelf(shop.store, lambda: 1_790_100_000_000_000)
    board.desk, board.results = shop.desk, Results(shop.store)
    board.act = shop.desk.act
    return board


def test_an_outcome_is_said_by_taps_and_found(opened, board, shop):
    page = opened("#records", width=390)
    row = page.locator("[data-heat-id='1']")
    expect(row).to_contain_text("What came of it: not said yet")
    row.locator("[data-action='open record']").click()
    record = page.locator(".record")
    expect(record).to_contain_text("Nobody has said yet what came of this heat")
    page.click("[data-action='say outcome']")
    sheet = page.locator("#sheet")
    expect(sheet).to_contain_text("leave out the rest")
    page.click("[data-action='outcome cracked'][data-value='seen by dye']")
    page.click("[data-action='outcome cracked'][data-value='none seen']")
    page.click("[data-action='outcome root'][data-value='tinted']")
    page.click("[data-action='outcome penetration'][data-value='none']")
    page.click("[data-action='outcome penetration'][data-value='none']")  # a second tap: not said
    page.click("[data-action='outcome oxygen_colour'][data-value='4']")
    page.click("[data-action='add measure']")
    for name, value in (("name", "flange gap"), ("before", "0,4"), ("after", "x")):
        page.fill(f".measure [id$='-{name}']", value)
    page.fill("#outcome-by", "Ada")
    page.click("[data-action='save outcome']")
    expect(sheet.locator(".fault")).to_contain_text("flange gap: x is no length")
    page.fill(".measure [id$='-after']", "1.1")
    page.click("[data-action='save outcome']")
    expect(sheet).to_be_hidden()
    holds = record.locator(".outcome-lines [data-holds='true']")
    expect(holds).to_contain_text(
        "No crack seen; root inside: Tinted; colour step 4 of 10; "
        "flange gap before 0.4 mm, after 1.1 mm"
    )
    expect(holds).to_contain_text("by Ada; this holds")
    assert shop.outcomes()[-1]["penetration"] is None
    page.click("[data-action='say outcome']")  # a year later, on the engine
    page.click("[data-action='outcome cracked'][data-value='seen in service']")
    page.click("[data-action='save outcome']")
    expect(holds).to_contain_text("Seen in service")
    expect(record.locator("[data-holds='false']")).to_contain_text("no longer holds")
    page.click("[data-action='back']")
    expect(row).to_contain_text("Seen in service")
    page.locator(".find-ways > summary").click()
    page.select_option("#find-outcome", "cracked")
    expect(page.locator("#records .row")).to_have_count(1)
    page.select_option("#find-outcome", "not said")
    expect(page.locator("#records .row")).to_contain_text("Saw manifold")
    page.select_option("#find-outcome", "crusted")
    expect(page.locator("#records .rows")).to_contain_text("No heat fits")


def test_the_colour_scale_says_why_it_is_not_for_this_heat(opened, board, shop):
    shop.facts(metal="grey iron", joining_metal=None)
    page = opened("#records/1")
    page.click("[data-action='say outcome']")
    expect(page.locator("[data-refused='colour']")).to_contain_text("never for iron")
    assert page.locator("[data-action='outcome oxygen_colour']").count() == 0


def test_a_photo_is_taken_shown_and_taken_out(opened, board, shop, tmp_path):
    file = tmp_path / "IMG_0001.jpg"
    file.write_bytes(jpeg(200, (800, 600)))
    page = opened("#records/1", width=390)
    camera = page.locator("#photo-take")
    assert camera.get_attribute("capture") == "environment"
    assert camera.get_attribute("accept") == "image/jpeg,image/png"
    for tapped in page.locator(".photo-button, [data-action='photo of']").all():
        assert tapped.bounding_box()["height"] >= 56
    page.fill("#photo-caption", "side B <i>")
    camera.set_input_files(file)
    photo = page.locator(".photo")
    expect(photo).to_contain_text("Root inside: side B <i>")
    photo.scroll_into_view_if_needed()
    page.wait_for_function("() => document.querySelector('.photo img').naturalWidth === 800")
    kept = next(shop.store.path.parent.glob("shop.db.photos/*.jpg"))
    assert b"Exif" not in kept.read_bytes()
    page.click("[data-action='say outcome']")  # and chosen as the photo of the root
    page.click("[data-action='outcome root'][data-value='bright']")
    page.click("[data-action='outcome root_photo']")
    page.click("[data-action='save outcome']")
    expect(page.locator(".outcome-lines")).to_contain_text("root inside: Bright")
    assert shop.outcomes()[-1]["root_photo"] == kept.stem
    page.click("[data-action='photo of'][data-value='part']")
    wrong = tmp_path / "x.png"
    wrong.write_bytes(b"<svg onload='alert(1)'/>")
    page.locator("#photo-choose").set_input_files(wrong)
    expect(page.locator(".toast").first).to_contain_text("neither JPEG nor PNG")
    page.locator("#photo-choose").set_input_files(file)
    expect(page.locator(".photo")).to_have_count(2)
    expect(page.locator(".photo[data-of='part']")).to_contain_text("The part")
    page.click(".photo[data-of='root'] [data-action='drop photo']")
    expect(page.locator(".photo")).to_have_count(1)
    assert kept.is_file()


def test_what_heats_took_is_told_by_part(opened, board, shop):
    shop.put(act.BeginHeat(heat_id=3, part_id=1, phase="bench"))
    shop.weld(3, 1, 75)
    shop.put(act.EndHeat(heat_id=3))
    page = opened("#records", width=1024)
    page.locator(".work-fold > summary").click()
    table = page.locator(".work-fold table")
    expect(table.locator("tbody tr")).to_have_count(2)
    first = table.locator("tbody tr").first
    expect(first).to_contain_text(NAME)
    expect(first).to_contain_text("2 min")  # 45 s and 75 s of arc
    expect(first).to_contain_text("24 L")  # at 12 l/min
    expect(table.locator("tfoot")).to_contain_text("33 L")
    with page.expect_download() as download:
        page.click("[data-action='work table'][data-value='part']")
    assert download.value.suggested_filename == "work-by-part.csv"
    page.click("[data-heat-id='3'] [data-action='open record']")
    expect(page.locator(".record")).to_contain_text(re.compile("by the torch's setting"))
