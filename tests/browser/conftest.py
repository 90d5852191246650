"""A real browser against the real server; only the board behind it is scripted."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from dashboard.app import create_app
from dashboard.server import PageServer


def _load(name: str) -> ModuleType:
    """Test folders are no packages; these helpers are shared with ``tests/dashboard``."""
    if name in sys.modules:
        return sys.modules[name]
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


scripted = _load("scripted")

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


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()


@pytest.fixture
def board() -> object:
    return scripted.ScriptedBoard("ready")


@pytest.fixture
def answers() -> ModuleType:
    """The scripted answers and what they are made of."""
    return scripted


class Served:
    """The board behind a real server that can be stopped and started again on its port."""

    def __init__(self, board: object) -> None:
        self.board = board
        self._server: PageServer | None = None
        self._port = 0
        self.start()

    def start(self) -> None:
        self._server = PageServer(create_app(self.board.wiring()), port=self._port)
        self._port = self._server.port
        self.address = self._server.address
        self._server.start()

    def stop(self) -> None:
        if self._server is not None:
            assert self._server.stop()
            self._server = None


@pytest.fixture
def served(board) -> Iterator[Served]:
    running = Served(board)
    yield running
    running.stop()


# What a browser notes by itself when the service is away, hangs, refuses, or has no such channel.
EXPECTED = ("ERR_CONNECTION", "ERR_FAILED", "ERR_EMPTY_RESPONSE", "status of 503", "status of 409")


def is_error(said: ConsoleMessage) -> bool:
    """A console message that no test provokes."""
    if said.type not in ("error", "warning"):
        return False
    if "status of 404" in said.text and any(
        place in said.location["url"] for place in ("/api/v1/history", "/seen", "/api/v1/heats/77")
    ):
        return False
    turned_away = {
        "status of 401": "/api/v1/actions",
        "status of 403": "/api/v1/sign-in",
        "status of 422": "/api/v1/photos",
    }
    if any(
        code in said.text and place in said.location["url"] for code, place in turned_away.items()
    ):
        return False
    return not any(word in said.text for word in EXPECTED)


Opener = Callable[..., Page]


@pytest.fixture
def opened(browser, served) -> Iterator[Opener]:
    """Opens pages; any error on one of them, but for a lost connection, fails the test."""
    errors: list[str] = []
    with ExitStack() as stack:

        def open_page(
            view: str = "", width: int = 1024, height: int = 768, script: str = "", **options
        ) -> Page:
            context = browser.new_context(viewport={"width": width, "height": height}, **options)
            stack.callback(context.close)
            context.add_init_script(script)
            page = context.new_page()
            page.on("pageerror", lambda error: errors.append(str(error)))
            page.on("console", lambda said: is_error(said) and errors.append(said.text))
            # Looking into a page counts as a touch of it, and a touched page may sound: the page
            # must have begun before the first look.
            with page.expect_response("**/api/v1/bench"):
                page.goto(served.address + view)
            page.wait_for_selector("body[data-link='live']")
            return page

        yield open_page
    assert errors == []
