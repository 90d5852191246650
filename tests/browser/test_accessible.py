"""Every page and state, in both themes, before axe-core: nothing serious or critical.

Oracle: axe-core (as brought by the package axe-playwright-python), all its rules at their defaults.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files

import pytest
from playwright.sync_api import Page

from dashboard.wiring import AdoptedPort, UnusedPort

pytestmark = pytest.mark.chromium

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
BENCH = ["ready", "wait", "stop", "unknown", "two", "alarm", "empty", "heard", "airless"]


def faults(page: Page) -> list[str]:
    """What axe-core finds serious or critical in either theme, a line for each element."""
    page.evaluate(AXE)
    told = []
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        found = page.evaluate("axe.run()")
        told += [
            f"{theme}: {each['id']}: {each['help']}: {node['html'][:160]}"
            for each in found["violations"]
            if each["impact"] in ("serious", "critical")
            for node in each["nodes"]
        ]
    return told


def test_the_oracle_finds_what_is_wrong(opened):
    """A test that cannot fail is none: grey on grey must be found, in both themes."""
    page = opened()
    page.locator(".panel .why").evaluate("e => { e.style.cssText = 'color:#777;background:#888'; }")
    assert {each.split(":")[0] for each in faults(page)} == {"light", "dark"}


@pytest.mark.parametrize("state", BENCH)
def test_the_bench(opened, board, state):
    board.show(state)
    assert faults(opened()) == []


def chosen(*steps: str) -> Callable[[Page], None]:
    """Tap one after the other."""

    def tap(page: Page) -> None:
        for step in steps:
            page.click(step)

    return tap


PLACES: dict[str, tuple[str, str, Callable[[Page], None]]] = {
    "sensors": ("sensors", "#sensors", chosen()),
    "kinds": ("heard", "#sensors", chosen("[data-action='choose kind']")),
    "calibration": (
        "sensors",
        "#sensors",
        chosen("[data-channel='board/emf-1'] [data-action='calibrate']"),
    ),
    "port": ("sensors", "#sensors", chosen("[data-action='adopt port']")),
    "plan": ("two", "#plan", chosen("#plan [data-action='plan']")),
    "records": ("two", "#records", chosen()),
    "parts": ("two", "#parts", chosen()),
    "form": ("two", "#parts", chosen("#parts [data-action='edit part'] >> nth=0")),
    "sound": ("idle", "", chosen("[data-action='sound']", "[data-action='sound']")),
    "alarms": ("many", "", chosen("[data-action='all alarms']")),
}


@pytest.mark.parametrize("place", PLACES)
def test_everything_else(opened, board, place):
    state, view, go = PLACES[place]
    board.show(state)
    board.lessons.taught = True
    board.unused = [UnusedPort("usb:1a86:7523:A7", "/dev/ttyUSB1", "bench board")]
    board.adopted = [AdoptedPort("/dev/ttyUSB0", 9600, "name=value")]
    page = opened(view)
    go(page)
    assert faults(page) == []


def test_viewing_only_and_its_keypad(opened):
    page = opened(extra_http_headers={"X-Forwarded-For": "192.168.1.20"})
    page.click("#hand [data-action='sign in']")
    assert faults(page) == []


def test_no_connection(opened, served):
    page = opened()
    served.stop()
    page.wait_for_selector("body[data-link='lost']", timeout=20_000)
    assert faults(page) == []
