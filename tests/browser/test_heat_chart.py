"""The chart of a record: drawn by the installed BokehJS under the page's policy, looked at closer,
read at any moment by mouse, finger and key, and as a table. The page's own policy is in force: a
style or script that it forbids is an error on the console, which fails the test."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from service.records.shelf import Shelf
from service.store.database import Store
from tests.field.recorded_heat import record_heat

pytestmark = pytest.mark.chromium

NAME = "Pump engine manifold <b>&"
DRAWN = """() => {
  const canvases = [];
  const walk = (root) => {
    for (const each of root.querySelectorAll('*')) {
      if (each instanceof HTMLCanvasElement) canvases.push(each);
      if (each.shadowRoot) walk(each.shadowRoot);
    }
  };
  walk(document.querySelector('.heat-plot'));
  return canvases.filter((each) => {
    const { width, height } = each;
    if (width < 100 || height < 20) return false;
    return each.getContext('2d').getImageData(0, 0, width, height).data.some((part) => part > 0);
  }).length;
}"""


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    path = tmp_path_factory.mktemp("recorded") / "shop.db"
    record_heat(path, name=NAME)
    store = Store.open_to_read(f"sqlite:///{path}")
    yield Shelf(store, lambda: 1_790_100_000_000_000)
    store.close()


def test_looked_at_closer_and_read_by_mouse_and_key(opened, board, shelf):
    board.shelf = shelf
    page = opened("#records/1", width=1024)
    keys = page.locator(".heat-chart .heat-keys")
    expect(keys).to_be_visible(timeout=30_000)
    page.wait_for_function(f"() => ({DRAWN})() >= 4")
    reading = page.locator(".heat-reading")
    expect(reading).to_contain_text(re.compile("0 s into the heat, Oven.*A tc1: 2\\d\\d °C"))
    with page.expect_response(lambda answer: "/lines?" in answer.url) as closer:
        page.click("[data-action='closer']")
    assert "start=" in closer.value.url
    half = closer.value.json()
    assert half["lines"][0]["channel"] == "tc1"
    with page.expect_response(lambda answer: "/lines?" in answer.url) as whole:
        page.click("[data-action='whole']")
    assert whole.value.json()["step_s"] > half["step_s"]
    slider = page.locator(".heat-reads input")
    slider.focus()
    page.keyboard.press("End")
    expect(reading).to_contain_text("Slow cool")
    expect(slider).to_have_attribute("aria-valuetext", re.compile("tc1: 2\\d\\d °C"))
    page.locator(".heat-plot").hover(position={"x": 520, "y": 200})
    expect(reading).to_contain_text("Pass 1")
    page.click(".heat-chart .heat-table summary")
    expect(page.locator(".heat-chart .heat-table tbody tr")).to_have_count(25)
    expect(page.locator(".heat-chart .heat-table thead")).to_contain_text("C oxygen1")
    page.locator(".heat-plot").scroll_into_view_if_needed()
    drag = page.locator(".heat-plot").bounding_box()
    page.mouse.move(drag["x"] + 300, drag["y"] + 200)
    page.mouse.down()
    page.mouse.move(drag["x"] + 600, drag["y"] + 200, steps=4)
    with page.expect_response(
        lambda answer: "/lines?start=" in answer.url.replace("points=1000&", "")
    ):
        page.mouse.up()
    page.click("#theme")
    page.wait_for_function(f"() => ({DRAWN})() >= 4")


def test_read_by_finger_on_a_phone(opened, board, shelf):
    board.shelf = shelf
    page = opened("#records/1", width=390, height=844, has_touch=True, is_mobile=True)
    expect(page.locator(".heat-chart .heat-keys")).to_be_visible(timeout=30_000)
    page.wait_for_function(f"() => ({DRAWN})() >= 4")
    plot = page.locator(".heat-plot")
    plot.scroll_into_view_if_needed()
    plot.tap(position={"x": 208, "y": 160})
    expect(page.locator(".heat-reading")).to_contain_text("Pass 1")
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390
    for each in page.locator(
        ".heat-chart .heat-keys button, .heat-chart .heat-table summary"
    ).all():
        box = each.bounding_box()
        assert box["height"] >= 56


def test_the_printed_chart_stands_in_where_the_package_is_missing(opened, board, shelf):
    board.shelf = shelf
    page = opened("#bench")
    page.route("**/bokeh/**", lambda route: route.abort())
    page.evaluate("location.hash = '#records/1'")
    expect(page.locator(".heat-chart")).to_contain_text("shown as it is printed", timeout=30_000)
    page.wait_for_function("() => document.querySelector('.record-chart').naturalWidth > 100")
    expect(page.locator(".heat-chart .heat-keys")).to_be_hidden()
    expect(page.locator(".heat-reading")).to_contain_text("A tc1")
