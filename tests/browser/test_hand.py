"""A device on the network: it looks, is told so, and signs in with the PIN by taps alone.

A forwarding header marks the browser as one that is not at the machine itself.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.chromium

AFAR = {"X-Forwarded-For": "192.168.1.20"}


def test_looking_signing_in_and_changing(opened, board):
    page = opened(extra_http_headers=AFAR)
    bar = page.locator("#hand")
    expect(bar).to_contain_text("Viewing only")
    bar.locator("[data-action='sign in']").click()
    for digit in "1111112":
        page.click(f"[data-action='pin key'][data-value='{digit}']")
    page.click("[data-action='pin key'][data-value='⌫']")
    expect(page.locator(".pin")).to_have_text("●●●●●●")
    with page.expect_response("**/sign-in") as answered:
        page.evaluate("document.querySelector('[data-action=\"enter pin\"]').click()")
    assert answered.value.status == 403
    page.get_by_text("Not done: that is not the PIN.").wait_for()
    page.keyboard.type("246810")
    page.click("[data-action='enter pin']")
    page.get_by_text("This device may change things now").wait_for()
    expect(bar).to_be_hidden()
    page.reload()
    page.wait_for_selector("body[data-link='live']")
    page.click("[data-action='begin pass']")
    page.get_by_text("Pass begun").wait_for()
    assert [each["kind"] for each in board.acted] == ["begin pass"]


def test_a_change_from_a_viewing_device_is_refused_in_words(opened, board):
    page = opened(extra_http_headers=AFAR)
    page.click("[data-action='begin pass']")
    page.get_by_text("This device may only look").wait_for()
    assert board.acted == []


def test_at_the_machine_nothing_is_said_of_it(opened):
    page = opened()
    expect(page.locator("#hand")).to_be_hidden()
