"""The screen lock: asked for, lost, asked for again; where there is none, the page says so."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.chromium

LOCKS = """
window.asked = 0;
Object.defineProperty(navigator, 'wakeLock', { value: { request: async () => {
  window.asked += 1;
  window.lock = new EventTarget();
  return window.lock;
} } });
"""
NONE = "Object.defineProperty(navigator, 'wakeLock', { value: undefined });"


def sheet_says(page, text: str) -> None:
    page.click("[data-action='sound']")
    page.wait_for_selector("body[data-sound='on']")
    page.click("[data-action='sound']")
    expect(page.locator("dialog")).to_contain_text(text)


def test_a_screen_that_may_go_dark_is_told_and_asked_for_again(opened) -> None:
    page = opened(script=LOCKS)
    page.wait_for_function("window.asked === 1")
    sheet_says(page, "The screen is kept awake")
    page.keyboard.press("Escape")
    page.evaluate("window.lock.dispatchEvent(new Event('release'))")
    page.click("[data-action='sound']")
    expect(page.locator("dialog")).to_contain_text("cannot keep the screen awake")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.wait_for_function("window.asked === 2")


def test_a_browser_without_a_lock_says_so(opened) -> None:
    sheet_says(opened(script=NONE), "cannot keep the screen awake")
