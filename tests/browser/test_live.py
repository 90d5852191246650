"""What happens when the service falls silent, comes back or is updated."""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.chromium

LONG_MS = 20_000
"""How long a test waits for what must come; no measure of how fast it does."""


def test_silence_greys_everything_and_passes_by_itself(opened, served, board):
    page = opened()
    value = page.locator(".panel .degrees span").first
    struck = "e => getComputedStyle(e).textDecorationLine"
    colour = "e => getComputedStyle(e).color"
    live = value.evaluate(colour)
    assert value.evaluate(struck) == "none"
    served.stop()
    page.wait_for_selector("body[data-link='lost']", timeout=LONG_MS)
    expect(page.locator("#lost")).to_contain_text("No connection to the service")
    panel = page.locator(".panel")
    assert panel.get_attribute("data-verdict") == "unknown"
    expect(panel.locator(".why")).to_contain_text("Last verdict: ready")
    assert value.evaluate(struck) == "line-through"
    assert value.evaluate(colour) != live
    assert page.locator(".cell[data-verdict='ready']").count() == 0
    served.start()  # the same answer as before: the browser is told 304, and must recover on that
    page.wait_for_selector("body[data-link='live']", timeout=LONG_MS)
    expect(page.locator("#lost")).to_be_hidden()
    assert panel.get_attribute("data-verdict") == "ready"
    assert value.evaluate(struck) == "none"
    assert value.evaluate(colour) == live


def test_silence_is_noticed_within_five_seconds_by_construction(opened):
    """Lost after LOST_AFTER_MS without an answer, looked at with every pulse of 250 ms."""
    page = opened()
    lost_after_ms = page.evaluate(
        """async () => {
          const address = document.querySelector('link[href$="link.js"]').href;
          return (await import(address)).LOST_AFTER_MS;
        }"""
    )
    assert lost_after_ms + 2 * 250 < 5000


def test_the_page_begins_with_the_answer_inside_it(browser, served):
    page = browser.new_page()
    page.route("**/api/v1/bench", lambda route: route.abort())
    page.goto(served.address)
    page.wait_for_selector("body[data-link='live']")
    assert page.locator(".panel").get_attribute("data-verdict") == "ready"
    assert page.locator(".first").count() == 0
    page.wait_for_selector("body[data-link='lost']", timeout=LONG_MS)
    assert page.locator(".panel").get_attribute("data-verdict") == "unknown"
    page.close()


@pytest.mark.parametrize("reduced_motion", ["reduce", "no-preference"])
def test_a_page_whose_script_fails_does_not_keep_its_verdict(browser, served, reduced_motion):
    page = browser.new_page(reduced_motion=reduced_motion)
    page.route("**/main.js", lambda route: route.abort())
    page.goto(served.address)
    verdict = page.locator(".first .word")
    expect(verdict).to_be_hidden(timeout=LONG_MS)
    expect(verdict).to_have_count(1)
    expect(page.locator("#stuck")).to_be_visible(timeout=LONG_MS)
    page.close()


def test_without_script_no_verdict_is_shown(browser, served):
    page = browser.new_page(java_script_enabled=False)
    page.goto(served.address)
    expect(page.locator(".first .word")).to_be_hidden()
    expect(page.locator("noscript .lost")).to_be_visible()
    page.close()


def test_a_sheet_that_cannot_be_fetched_is_told(opened, board):
    board.show("two")
    page = opened()
    page.route("**/part_form.js", lambda route: route.abort(), times=1)
    page.locator("[data-action='edit part']").first.click()
    expect(page.locator("[data-toast='bad']")).to_contain_text("no answer from the service")


def test_hung_judge_is_not_shown_as_live(opened, board):
    page = opened()
    board.hung_at = time.monotonic() - 60
    page.wait_for_selector("body[data-link='stalled']", timeout=LONG_MS)
    expect(page.locator("#lost")).to_contain_text("stopped judging")
    assert page.locator(".panel").get_attribute("data-verdict") == "unknown"
    board.hung_at = None
    page.wait_for_selector("body[data-link='live']", timeout=LONG_MS)
    assert page.locator(".panel").get_attribute("data-verdict") == "ready"


def test_stale_channel_is_told_by_words(opened, board):
    board.show("sensors")
    page = opened("#sensors")
    stale = page.locator(".channel[data-channel='bench/bottle']")
    expect(stale).to_contain_text("stale")
    expect(stale).to_contain_text("48 s old")
    bad = page.locator(".channel[data-channel='oven/tc-1']")
    expect(bad).to_contain_text("open circuit")
    expect(page.locator("[data-link-name]").first).to_contain_text("Rejected: not readable 3")
    serial, broker = page.locator("[data-link-name]").all()
    expect(serial).to_contain_text("board powered up anew: 1 · sensor's own sums left aside: 4")
    expect(serial).to_contain_text("Last refused: 'frst' is not name=value unit")
    expect(broker).to_contain_text("heatwindow/nodes/pump/status says “offline”, 12 s ago")
