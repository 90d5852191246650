"""Renders every page in its states, both themes and three sizes: ``screenshots.py --out DIR``.

Needs chromium and the test extra. Not collected by pytest; the pictures are for looking at.
"""

from __future__ import annotations

import argparse
import functools
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from scripted import NOW_US, OUTLETS, SAWMILL, SET_ASIDE, STATES, ScriptedBoard

from dashboard.app import create_app
from dashboard.server import PageServer
from dashboard.wiring import AdoptedPort, UnusedPort
from service.records.shelf import Shelf
from service.store.database import Store
from tests.field.recorded_heat import record_heat

CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--headless=new",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZES = {"390": (390, 844), "1024": (1024, 768), "1920": (1920, 1080)}
BENCH = ["ready", "wait", "stop", "unknown", "two", "slow", "alarm", "empty", "heard", "idle"]
BENCH += ["many", "seen", "over", "aired", "thin", "airless"]


VIEWS = ["plan", "records", "record", "sensors", "kinds", "parts", "form", "sound"]


@functools.cache
def shelf() -> Shelf:
    """One recorded heat."""
    path = Path(tempfile.mkdtemp()) / "shop.db"
    record_heat(path, name=SAWMILL)
    return Shelf(Store.open_to_read(f"sqlite:///{path}"), lambda: NOW_US)


def settle(page: Page) -> None:
    page.wait_for_selector("body[data-link='live']")
    page.wait_for_timeout(900)  # the past is fetched after the first answer, and drawn on the next


def shots(browser: Browser, out: Path, only: set[str], themes: list[str], sizes: list[str]) -> None:
    for size in sizes:
        for theme in themes:
            for name in [*BENCH, "lost", "list", "told", *VIEWS]:
                if only and name not in only:
                    continue
                shot(browser, out / f"{name}-{theme}-{size}.png", name, theme, SIZES[size])


def shot(browser: Browser, path: Path, name: str, theme: str, size: tuple[int, int]) -> None:
    state = {
        "lost": "ready",
        "kinds": "heard",
        "parts": "two",
        "plan": "two",
        "records": "ready",
        "record": "ready",
        "form": "two",
        "sound": "idle",
        "list": "many",
        "told": "ready",
    }.get(name, name)
    board = ScriptedBoard(state)
    board.outlets = OUTLETS
    if name == "told":
        board.told = [SET_ASIDE]
    elif name in ("records", "record"):
        board.shelf = shelf()
    elif name == "sensors":
        board.unused = [UnusedPort("usb:1a86:7523:A7", "/dev/ttyUSB1", "bench board")]
        board.adopted = [AdoptedPort("/dev/serial/by-path/pci-0:1.2", 9600, "name=value")]
    server = PageServer(create_app(board.wiring()))
    server.start()
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme=theme
    )
    page = context.new_page()
    page.on("console", lambda message: print(f"{path.name}: {message.type}: {message.text}"))
    page.on("pageerror", lambda error: print(f"{path.name}: {error}"))
    view = {
        "sensors": "#sensors",
        "kinds": "#sensors",
        "parts": "#parts",
        "form": "#parts",
        "plan": "#plan",
        "records": "#records",
        "record": "#records/1",
    }
    with page.expect_response("**/api/v1/bench"):
        page.goto(server.address + view.get(name, ""))
    settle(page)
    if name == "lost":
        server.stop()
        page.wait_for_selector("body[data-link='lost']")
    elif name == "kinds":
        page.click("[data-action='choose kind']")
    elif name == "record":
        page.wait_for_selector(".record h2")
        page.wait_for_timeout(1500)  # the chart is drawn when it is asked for
    elif name == "plan":
        page.click("[data-action='plan']")
        page.wait_for_selector(".plan-answer:not([hidden])")
    elif name == "form":
        page.click("#parts [data-action='edit part']")
    elif name == "sound":
        page.click("[data-action='sound']")
        page.wait_for_selector("body[data-sound='on']")
        page.click("[data-action='sound']")
    elif name == "list":
        page.click("[data-action='all alarms']")
    if name in ("kinds", "form", "sound", "list"):
        page.wait_for_selector("dialog[open]")
    # The first screen is what counts at the bench; the rest is below.
    whole = size[0] == 390 or name in ("sensors", "parts", "plan", "record")
    page.screenshot(path=path, full_page=whole and not page.query_selector("dialog[open]"))
    context.close()
    server.stop()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--only", nargs="*", default=[], help=f"of {', '.join(STATES)}, lost, …")
    parser.add_argument("--theme", nargs="*", default=["light", "dark"])
    parser.add_argument("--size", nargs="*", default=list(SIZES))
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        shots(browser, asked.out, set(asked.only), asked.theme, asked.size)
        browser.close()


if __name__ == "__main__":
    main()
