"""A page left open for a shift: ``long_open.py [--hours 8] [--speed 30] [--heats 4]``.

The page runs against the real server on loopback with a new answer every half second of its own
time; its clocks and its pulse run ``--speed`` times as fast as real ones. Once an hour of its time
the rubbish is collected and the browser itself is asked (Performance.getMetrics) for the script's
memory, the document's nodes and listeners, and how long the main thread was busy since. Fails when
memory or nodes grow after the first hour. Not collected by pytest. Needs chromium and the test
extra.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import os
import sys
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import CDPSession, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parent))

import scripted
from screenshots import CHROMIUM, FLAGS

from dashboard.app import create_app
from dashboard.server import PageServer

UPDATE_BAR_MS = 20.0
GROWTH_BAR = 1.15
"""Memory and nodes may waver so much against the end of the first hour."""
BEGUN_US = scripted.NOW_US

FAST = """
(() => {
  const speed = SPEED, [now, date] = [performance.now.bind(performance), Date.now];
  const [mono0, wall0] = [now(), date()];
  performance.now = () => mono0 + (now() - mono0) * speed;
  Date.now = () => wall0 + (date() - wall0) * speed;
  window.Worker = class { constructor() { setInterval(() => this.onmessage?.(), 250 / speed); } };
})();
"""


class Shift(scripted.ScriptedBoard):
    """Some heats that cool, are welded and cool again, by a fast clock."""

    def __init__(self, heats: int, speed: float) -> None:
        super().__init__("ready")
        self.speed, self.answered, self.begun_s = speed, 0, time.monotonic()
        self.parts = [heat(number) for number in range(1, heats + 1)]

    def now_us(self) -> int:
        """Time of the page's own clock, in whole half seconds: the service posts twice a second."""
        passed_us = (time.monotonic() - self.begun_s) * self.speed * 1e6
        return BEGUN_US + int(passed_us // 500_000 * 500_000)

    def latest(self) -> scripted.Posting:
        at_us = self.now_us()
        body = json.dumps(self._answer(at_us), allow_nan=False).encode()
        return scripted.Posting(body, f"{at_us:x}", time.monotonic())

    def _answer(self, at_us: int) -> dict[str, Any]:
        t_s = (at_us - BEGUN_US) / 1e6
        channels = []
        for part in self.parts:
            cycle_s = (t_s + 97 * part["id"]) % 600
            celsius = 250.0 + 100.0 * math.exp(-cycle_s / 400)
            left_s = 600.0 - cycle_s
            part["heat"]["temperature_c"] = round(celsius, 1)
            part["heat"]["window"]["closes_in_s"] = {
                "p05": 0.8 * left_s, "p50": left_s, "p95": 1.2 * left_s,
            }  # fmt: skip
            part["pass_running"] = cycle_s < 40
            part["verdict"] = "ready" if cycle_s < 500 else "wait"
            part["next"] = f"The window holds for {left_s:.0f} s."
            name = f"bench/joint-{part['id']}"
            channels.append(
                scripted.channel(name, "thermocouple", round(celsius, 1), "Cel", part_id=part["id"])
            )
        alarms = scripted.ALARMS[:2] if t_s % 900 < 60 else []
        answer = scripted.answer(*self.parts, channels=channels, alarms=alarms)
        return answer | {"at": scripted.utc(at_us)}


def heat(number: int) -> dict[str, Any]:
    part = copy.deepcopy(scripted.READY)
    return part | {
        "id": number,
        "heat_id": number,
        "name": f"Manifold {number}",
        "pass_times": None,
    }


def measured(session: CDPSession) -> dict[str, float]:
    session.send("HeapProfiler.collectGarbage")
    found = session.send("Performance.getMetrics")["metrics"]
    return {each["name"]: each["value"] for each in found}


def run(hours: int, speed: float, heats: int) -> list[dict[str, float]]:
    """One row for each hour of the page's time."""
    board = Shift(heats, speed)
    server = PageServer(create_app(board.wiring()))
    server.start()
    rows: list[dict[str, float]] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1024, "height": 768})
        faults: list[str] = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.add_init_script(FAST.replace("SPEED", str(speed)))
        updates = 0

        def count(answer: Any) -> None:
            nonlocal updates
            updates += answer.url.endswith("/api/v1/bench") and answer.status == 200

        page.on("response", count)
        page.goto(server.address)
        page.wait_for_selector("body[data-link='live']")
        session = page.context.new_cdp_session(page)
        session.send("Performance.enable", {"timeDomain": "threadTicks"})
        before, seen = measured(session), 0
        for hour in range(1, hours + 1):
            page.wait_for_timeout(
                hour * 3600_000 / speed - (time.monotonic() - board.begun_s) * 1000
            )
            now = measured(session)
            fresh, seen = updates - seen, updates
            busy_ms = 1000 * (now["TaskDuration"] - before["TaskDuration"]) / max(1, fresh)
            before = now
            rows.append(
                {
                    "hour": hour,
                    "updates": fresh,
                    "memory_mb": now["JSHeapUsedSize"] / 1e6,
                    "nodes": now["Nodes"],
                    "listeners": now["JSEventListeners"],
                    "busy_ms": busy_ms,
                }
            )
            show(rows[-1])
        browser.close()
    server.stop()
    if faults:
        raise SystemExit(f"the page failed: {faults[0]}")
    return rows


def show(row: dict[str, float]) -> None:
    print(
        f"| {row['hour']:.0f} | {row['updates']:.0f} | {row['memory_mb']:.2f} | {row['nodes']:.0f} "
        f"| {row['listeners']:.0f} | {row['busy_ms']:.1f} |",
        flush=True,
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=int, default=8, help="hours of the page's own time")
    parser.add_argument("--speed", type=float, default=30.0)
    parser.add_argument("--heats", type=int, default=4)
    asked = parser.parse_args()
    print(
        f"{asked.heats} heats, clocks {asked.speed:g} times as fast, load {os.getloadavg()[0]:.1f}"
    )
    print("| hour | updates | script memory [MB] | nodes | listeners | busy per update [ms] |")
    print("|---|---|---|---|---|---|")
    rows = run(asked.hours, asked.speed, asked.heats)
    first, last = rows[0], rows[-1]
    grown = [
        key for key in ("memory_mb", "nodes", "listeners") if last[key] > GROWTH_BAR * first[key]
    ]
    slow = max(row["busy_ms"] for row in rows) > UPDATE_BAR_MS
    if grown:
        print(f"grown by more than {GROWTH_BAR:g} since the first hour: {', '.join(grown)}")
    if slow:
        print(f"an update of {asked.heats} heats takes more than {UPDATE_BAR_MS:g} ms")
    return 1 if grown or slow else 0


if __name__ == "__main__":
    sys.exit(main())
