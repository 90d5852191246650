"""Records on the page: found by a few letters, opened, drawn and handed over."""

from __future__ import annotations

import re
from datetime import datetime

import pytest
from playwright.sync_api import expect

from tests.field.recorded_heat import recorded_shelf

pytestmark = pytest.mark.chromium

NAME = "Pump engine manifold <b>&"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    yield from recorded_shelf(tmp_path_factory, name=NAME, again=True)


def test_the_first_heat_is_waited_for(opened, board):
    board.show("empty")
    page = opened("#records")
    expect(page.locator("#records .empty")).to_contain_text("Begin a heat on the bench")


def test_a_heat_is_found_and_read(opened, board, shelf):
    board.shelf = shelf
    page = opened("#records", width=1024)
    rows = page.locator("#records .row")
    expect(rows).to_have_count(2)
    expect(rows.first).to_contain_text(NAME)
    page.fill("#find-heat", "sawmill")
    expect(page.locator("#records .rows")).to_contain_text("No heat fits")
    page.fill("#find-heat", "pump")
    expect(rows).to_have_count(2)
    page.fill("#find-heat", "slag")
    expect(rows).to_have_count(1)
    page.fill("#find-heat", "")
    page.click(".find-ways summary")
    page.fill("#find-deviation", "verdict was")
    expect(rows).to_have_count(1)
    page.fill("#find-deviation", "")
    page.fill("#find-to", "2026-09-20")
    expect(page.locator("#records .rows")).to_contain_text("No heat fits")
    page.fill("#find-to", "")
    expect(rows).to_have_count(2)
    page.click("[data-heat-id='1'] [data-action='open record']")
    record = page.locator(".record")
    expect(record.locator("h2")).to_contain_text(NAME)
    expect(record).to_contain_text("Soak in the oven")
    expect(record).to_contain_text("only inspection by qualified people")
    passes = record.locator(".record-table:has(table)").first.locator("tbody tr")
    expect(passes).to_have_count(2)
    for what in ("report_a4", "table"):
        with page.expect_download() as download:
            page.click(f"[data-action='hand over'][data-value='{what}']")
        assert download.value.suggested_filename in ("heat-1.pdf", "heat-1.csv")
    page.click("[data-action='back']")
    expect(rows).to_have_count(2)


def test_a_heat_is_kept_for_good_and_a_note_written_at_a_moment(opened, board, shelf):
    board.shelf = shelf
    page = opened("#records/1", width=390)
    pin = page.locator("[data-action='pin heat']")
    expect(pin).to_have_attribute("aria-pressed", "false", timeout=30_000)
    pin.click()
    expect(pin).to_have_attribute("aria-pressed", "true")
    expect(pin).to_contain_text("let them go with age")
    assert board.acted[-1] == {"kind": "pin heat", "heat_id": 1, "pinned": True}
    expect(page.locator(".heat-chart .heat-keys")).to_be_visible(timeout=30_000)
    write = page.locator("[data-action='write note']")
    write.click()
    expect(page.locator("#records")).to_contain_text("Write something first")
    page.locator(".heat-reads input").focus()
    page.keyboard.press("End")
    page.fill("#heat-note", "=1+1 <b>toe ground</b>")
    page.fill("#heat-note-by", "Ada")
    record = shelf.record(1)
    write.click()
    expect(page.locator("#heat-note")).to_have_value("", timeout=30_000)
    said = board.acted[-1]
    assert (said["text"], said["by"]) == ("=1+1 <b>toe ground</b>", "Ada")
    ended = datetime.fromisoformat(record["ended_at"]).timestamp()
    assert abs(said["about_us"] / 1e6 - ended) < 1
    for each in page.locator(".record button:visible, .record input:visible").all():
        assert each.bounding_box()["height"] >= 56


def test_what_was_said_at_a_moment_is_shown(opened, board, shelf):
    board.shelf = shelf
    page = opened("#records/2", width=390)
    page.click("[data-action='what was said']")
    moment = page.locator(".said-moment")
    expect(moment).to_contain_text("Bench", timeout=150_000)
    expect(page.locator(".said .record-lines")).to_contain_text("Said: the window closes in")
    expect(page.locator(".heat-reading")).to_contain_text("Bench")
    before = moment.text_content()
    page.click("[data-action='later']")
    expect(moment).not_to_have_text(before)
    slider = page.locator(".said input")
    slider.focus()
    page.keyboard.press("Home")
    expect(moment).to_contain_text("Oven")
    expect(page.locator("[data-action='earlier']")).to_be_visible()


def test_heats_are_laid_side_by_side(opened, board, shelf):
    board.shelf = shelf
    page = opened("#records", width=390)
    go = page.locator("[data-action='compare']")
    expect(go).to_be_hidden()
    page.click("[data-heat-id='2'] [data-action='choose']")
    expect(go).to_contain_text("Choose another")
    page.click("[data-heat-id='1'] [data-action='choose']")
    expect(page.locator("[data-action='choose'][aria-pressed='true']")).to_have_count(2)
    expect(go).to_have_text("Compare these 2 heats")
    go.click()
    table = page.locator(".compare-table")
    expect(table.locator("thead th")).to_have_count(2)
    expect(table).to_contain_text("Oven to first arc")
    page.wait_for_function("() => document.querySelector('.record-chart').naturalWidth > 100")
    page.click("[data-action='align'][data-value='first pass']")
    expect(page.locator(".record")).to_contain_text("Heat 2 is not drawn: no pass was welded in it")
    expect(page.locator(".record-chart")).to_have_attribute("alt", re.compile("of heats 1,"))
    page.click("[data-action='back']")
    page.click("[data-action='compare none']")
    expect(go).to_be_hidden()


def test_a_heat_that_is_not_there_is_said(opened, board, shelf):
    board.shelf = shelf
    page = opened("#bench", is_mobile=False)
    page.goto(page.url.split("#")[0] + "#records/77")
    expect(page.locator("#records > .fault")).to_contain_text("There is no heat 77")
