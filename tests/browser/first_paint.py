"""How soon the verdict is painted, and after how many bytes: ``first_paint.py [--runs N]``.

Each run is a browser context of its own with nothing cached, against the real server on
loopback, with the processor slowed down four times. The time is the browser's own (Element
Timing, ``renderTime``) of the last verdict word, from the start of the navigation. The bytes are
all answers, whole and with their headers, that had begun to arrive before that paint. "bare" is a
page of one word and nothing else from the same server: what the browser itself needs. Not
collected by pytest. Needs chromium and the test extra.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parent))

from screenshots import CHROMIUM, FLAGS
from scripted import STATES, ScriptedBoard

from dashboard.app import create_app
from dashboard.server import PageServer

PAINT_BAR_MS = 300
BYTES_BAR = 60_000
PATIENCE_MS = 20_000
BARE = "<!doctype html><title>bare</title><p elementtiming='verdict'>Ready"

WATCH = """
window.painted = [];
new PerformanceObserver((list) => {
  const verdicts = list.getEntries().filter((e) => e.identifier.startsWith('verdict'));
  painted.push(...verdicts.map((e) => e.renderTime));
}).observe({ type: 'element', buffered: true });
document.addEventListener('DOMContentLoaded', () => new MutationObserver((_, watch) => {
  if (document.body.dataset.link !== 'live') return;
  performance.mark('live');
  watch.disconnect();
}).observe(document.body, { attributes: true, attributeFilter: ['data-link'] }));
"""


def one_run(browser: Browser, address: str, heats: int, slowdown: float) -> dict[str, float]:
    """Open the page once; times [ms] from the start of the navigation, and bytes."""
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Emulation.setCPUThrottlingRate", {"rate": slowdown})
    asked_s: list[float] = []
    began_s: dict[str, float] = {}
    size: dict[str, float] = {}
    session.on("Network.requestWillBeSent", lambda e: asked_s.append(e["timestamp"]))
    session.on(
        "Network.responseReceived", lambda e: began_s.update({e["requestId"]: e["timestamp"]})
    )
    session.on(
        "Network.loadingFinished",
        lambda e: size.update({e["requestId"]: float(e["encodedDataLength"])}),
    )
    page.add_init_script(WATCH)
    page.goto(address, wait_until="commit")
    page.wait_for_function("n => painted.length >= n", arg=heats, timeout=PATIENCE_MS)
    found = {"verdict_ms": float(page.evaluate("n => Math.max(...painted.slice(0, n))", heats))}
    if address.endswith("/"):
        page.wait_for_selector("body[data-link='live']")
        page.wait_for_function("() => performance.getEntriesByName('live').length > 0")
        found["live_ms"] = page.evaluate("performance.getEntriesByName('live')[0].startTime")
    painted_s = asked_s[0] + found["verdict_ms"] / 1000
    early = [size.get(each, 0.0) for each, at_s in began_s.items() if at_s <= painted_s]
    context.close()
    return found | {"bytes": sum(early), "answers": float(len(early))}


def told(runs: list[dict[str, float]], key: str) -> str:
    """Median, least and greatest."""
    found = sorted(run[key] for run in runs)
    return f"{statistics.median(found):.0f} ms ({found[0]:.0f} to {found[-1]:.0f})"


def ratio(runs: list[dict[str, float]], bare: list[dict[str, float]]) -> str:
    """How many times the bare page's, run by run, since the load changes from run to run."""
    times = [run["verdict_ms"] / other["verdict_ms"] for run, other in zip(runs, bare, strict=True)]
    return f"{statistics.median(times):.2f} times the bare page's"


class Served:
    """The real server before a made-up board, or the bare page."""

    def __init__(self, state: str) -> None:
        board = ScriptedBoard("ready" if state == "bare" else state)
        app = create_app(board.wiring())
        app.add_url_rule("/bare", "bare", lambda: BARE)
        self.server = PageServer(app)
        self.server.start()
        self.heats = sum(part["heat_id"] is not None for part in board.bench["parts"])
        self.address = self.server.address + ("bare" if state == "bare" else "")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=9)
    parser.add_argument("--slowdown", type=float, default=4.0)
    parser.add_argument("--states", nargs="*", default=["ready", "slow"], help=", ".join(STATES))
    asked = parser.parse_args()
    load = os.getloadavg()[0]
    print(f"processor slowed down {asked.slowdown:g} times; load {load:.1f} at the start")
    print("median of", asked.runs, "runs (least to greatest), the pages in turn")
    served = {state: Served(state) for state in ["bare", *asked.states]}
    runs: dict[str, list[dict[str, float]]] = {state: [] for state in served}
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        # The first run also warms up the browser itself.
        for number in range(asked.runs + 1):
            for state, page in served.items():
                found = one_run(browser, page.address, page.heats, asked.slowdown)
                if number > 0:
                    runs[state].append(found)
        browser.close()
    for page in served.values():
        page.server.stop()
    print(f"load {os.getloadavg()[0]:.1f} at the end")
    for state, found in runs.items():
        print(f"{state}: {served[state].heats} heat(s); painted after {told(found, 'verdict_ms')}")
        if state == "bare":
            continue
        print(f"  bar {PAINT_BAR_MS} ms; {ratio(found, runs['bare'])}")
        print(f"  script has taken over after {told(found, 'live_ms')}")
        most = max(found, key=lambda run: run["bytes"])
        print(f"  at most {most['bytes']:.0f} bytes, {most['answers']:.0f} answers until then")
        print(f"  bar {BYTES_BAR} bytes")


if __name__ == "__main__":
    main()
