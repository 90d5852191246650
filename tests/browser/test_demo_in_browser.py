"""The whole thing as a new user meets it: the demo, a browser, and one tap."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect

pytestmark = [pytest.mark.chromium, pytest.mark.timeout(240)]
PATIENCE_MS = 90_000


@pytest.fixture
def demo_address() -> Iterator[str]:
    demo = subprocess.Popen(
        [sys.executable, "-m", "service.commands.main", "demo", "--port", "0", "--speed", "10"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert demo.stdout is not None
    yield demo.stdout.readline().strip()
    demo.send_signal(signal.SIGTERM)
    demo.communicate(timeout=20)
    assert demo.returncode == 0


def test_a_demo_part_goes_from_wait_to_ready_and_an_alarm_is_acknowledged(
    browser: Browser, demo_address: str
) -> None:
    page = browser.new_page(viewport={"width": 1024, "height": 768})
    page.set_default_timeout(PATIENCE_MS)
    try:
        page.goto(demo_address)
        panel = page.locator(".panel[data-part-id='1'], [data-part-id='1'][data-verdict]").first
        expect(panel).to_have_attribute("data-verdict", "wait", timeout=PATIENCE_MS)
        expect(panel).to_have_attribute("data-verdict", "ready", timeout=PATIENCE_MS)
        expect(panel).to_contain_text("Ready")
        expect(panel).to_contain_text("°C")

        # The stall of the purge on the way has left an alarm that nobody has seen yet.
        alarm = page.locator(".alarm:has([data-action='acknowledge alarm']:visible)").first
        alarm.wait_for()
        alarm_id = alarm.get_attribute("data-alarm-id")
        state = alarm.get_attribute("data-state")
        assert state in ("unacknowledged", "returned")
        alarm.locator("[data-action='acknowledge alarm']").click()
        page.wait_for_function(
            """id => {
                const alarm = document.querySelector(`.alarm[data-alarm-id='${id}']`);
                return alarm === null || alarm.dataset.state === 'acknowledged';
            }""",
            arg=alarm_id,
        )
    finally:
        page.close()
