"""Records on the page with names like formulas and scripts, of a heat begun under a date that
cannot be right and set right within the hour that an American autumn night has twice."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from service.records.shelf import Shelf
from service.store.database import Store
from tests.field.recorded_heat import record_heat

pytestmark = pytest.mark.chromium

HOSTILE = "=cmd|'/C calc'!A0<img src=x onerror=window.ran=1><script>window.ran=1</script>"
PROBE = "<svg onload=window.ran=1>"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
STAMPED = datetime(2021, 1, 1, tzinfo=UTC)
RIGHT = datetime(2026, 11, 1, 5, 45, 30, tzinfo=UTC)
"""A quarter of an hour before clocks in New York go back (IANA time zone database)."""


@pytest.fixture
def shelf(tmp_path):
    begin, right = (round((at - EPOCH).total_seconds()) * 1_000_000 for at in (STAMPED, RIGHT))
    path = tmp_path / "shop.db"
    record_heat(path, name=HOSTILE, probe=PROBE, start_us=begin, clock_step_us=right - begin)
    store = Store.open_to_read(f"sqlite:///{path}")
    yield Shelf(store, lambda: right + 3_600_000_000)
    store.close()


def test_odd_names_and_times(opened, board, shelf):
    board.shelf = shelf
    page = opened("#records", timezone_id="America/New_York", locale="en-GB")
    row = page.locator("#records .row")
    expect(row.locator("strong")).to_contain_text(HOSTILE)
    expect(row).to_contain_text("1 Nov 2026, 01:46")
    expect(row).not_to_contain_text("year")
    page.fill("#find-heat", "=cmd 2026-11")
    expect(row).to_have_count(1)
    page.click("[data-action='open record']")
    record = page.locator(".record")
    expect(record.locator("h2")).to_contain_text(HOSTILE)
    expect(record).to_contain_text(PROBE)
    # Both offsets stand beside the times of day, and nothing is told by the wrong date.
    expect(record).to_contain_text("GMT-4")
    expect(record).to_contain_text("GMT-5")
    text = record.inner_text()
    assert "2021" not in text
    # Read as text everywhere: nothing of the names has become an element, and nothing has run.
    assert page.locator("#records img[src='x'], #records svg[onload], #records script").count() == 0
    assert page.evaluate("window.ran") is None
    with page.expect_download() as download:
        page.click("[data-action='hand over'][data-value='table']")
    table = download.value.path().read_text(encoding="utf-8")
    assert "\r\n=" not in table
    assert ",=" not in table
    assert PROBE in table
