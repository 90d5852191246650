"""Kills the real service again and again under load and counts what came of every reading.

    .venv/bin/python tests/field/kill_campaign.py --seed 1 --kills 200 --out campaign.json

The load, all at once:

* a node at the broker (shipped loopback configuration) publishes at QoS 1, in turn, readings with
  their own time, and readings without one in packs marked with ``boot`` and ``seq``;
* a node on a serial line sends readings with their own time. Nobody repeats those: a serial line
  has no acknowledgement.

A part with an open heat sits on the serial node's probe, so that every start has a judge to bring
back. Each kill is SIGKILL at a random moment, some of them while the service is still starting.

Promised, and checked at the end:

* the database is whole (``integrity_check``, ``foreign_key_check``);
* every reading the broker took is there exactly once, with its time, timeless ones too;
* every serial reading is there at most once and unaltered, and one that is missing was sent while
  nobody listened, or in the last ``GRACE_S`` before the kill.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from service.sources.shipped_broker import config_text
from tests.field.bench_parts import Mosquitto, Publisher, ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

GRACE_S = 2.0
"""What came by a serial line so long before a kill may be lost: a commit that takes longer is told
as "not recording"."""

BASE_S = 1_772_000_000
STEP_S = 0.01
"""Source time of reading number n: ``BASE_S + n * STEP_S`` [s since 1970]; any would do."""

PROJECT = Path(__file__).resolve().parents[2]


@dataclass
class Tally:
    """What came of one stream of numbered readings."""

    sent: int
    rows: int
    missing: int
    twice: int
    altered: int


@dataclass
class Report:
    """Everything the campaign found; ``faults`` is empty when every promise was kept."""

    commit: str
    begun: str
    seed: int
    kills: int
    kills_while_starting: int
    seconds: float
    python: str
    sqlite: str
    mosquitto: str
    timed: Tally
    marked: Tally
    serial: Tally
    packs_recognised: int
    """Marked packs that came again and were known by their mark, as told before each kill."""
    resumed_from_checkpoint: int
    serial_lost_before_a_kill: int
    serial_lost_while_away: int
    longest_before_a_kill_ms: float
    """How long before a kill the earliest reading was sent that the kill cost."""
    faults: list[str] = field(default_factory=list)


class BrokerLoad(threading.Thread):
    """The node at the broker: two numbered streams in turn."""

    def __init__(self, port: int, rate_hz: float) -> None:
        super().__init__(name="broker load", daemon=True)
        self._publisher = Publisher(port, "campaign-node")
        self._pause_s = 1 / rate_hz
        self.halt = threading.Event()
        self.sent = 0

    def run(self) -> None:
        while not self.halt.wait(self._pause_s):
            number = self.sent
            at_s = BASE_S + number * STEP_S
            timed = f'[{{"n":"mqtt/timed","u":"ppm","v":{number},"t":{at_s:.2f}}}]'
            marked = f'[{{"boot":"b1","seq":{number},"n":"mqtt/marked","u":"ppm","v":{number}}}]'
            self._publisher.client.publish("heatwindow/readings/node", timed.encode(), 1)
            self._publisher.client.publish("heatwindow/readings/node", marked.encode(), 1)
            self.sent += 1

    def finish(self) -> None:
        """Stop, and wait until the broker has taken everything."""
        self.halt.set()
        self.join()
        wait_until(lambda: not self._publisher.client._out_messages, "the broker", 120)
        self._publisher.close()


class SerialLoad(threading.Thread):
    """The node on the serial line: what the line does not take at once is gone, as on a wire."""

    def __init__(self, port: ScriptedPort, rate_hz: float) -> None:
        super().__init__(name="serial load", daemon=True)
        self._port = port
        self._pause_s = 1 / rate_hz
        self.halt = threading.Event()
        self.sent_at_s: list[float] = []
        """When each number was sent [s, real monotonic]."""

    def run(self) -> None:
        while not self.halt.wait(self._pause_s):
            number = len(self.sent_at_s)
            at_s = BASE_S + number * STEP_S
            probe_c = 300 - (number % 1000) / 50
            line = (
                f'[{{"n":"serial/count","u":"ppm","v":{number},"t":{at_s:.2f}}},'
                f'{{"n":"serial/probe","u":"Cel","v":{probe_c:.2f}}}]\n'
            )
            self.sent_at_s.append(time.monotonic())
            self._port.write_what_fits(line.encode())

    def finish(self) -> None:
        self.halt.set()
        self.join()


@dataclass
class Away:
    """From a kill to the moment at which the serial line was read again [s, real monotonic]."""

    killed_s: float
    back_s: float


class Campaign:
    """One campaign in a folder of its own.

    Args:
        folder: For the broker, the database and the logs.
        seed: Of the moments of the kills.
        rate_hz: Readings per second of each stream.
    """

    def __init__(self, folder: Path, seed: int, rate_hz: float = 100.0) -> None:
        self._chance = random.Random(seed)
        self._seed = seed
        broker_folder, service_folder = folder / "broker", folder / "service"
        broker_folder.mkdir()
        service_folder.mkdir()
        self._broker = Mosquitto(broker_folder)
        self._broker.config = config_text("loopback", data=broker_folder, port=self._broker.port)
        self._port = ScriptedPort(folder / "usb-node")
        self._service = ServiceProcess(
            service_folder,
            f'[[serial]]\nport = "{self._port.path}"\n'
            f'[mqtt]\nhost = "127.0.0.1"\nport = {self._broker.port}\n',
        )
        self._rate_hz = rate_hz
        self._aways: list[Away] = []
        self._recognised = 0
        self._while_starting = 0

    def run(self, kills: int) -> Report:
        """Kill so often; the report."""
        begun_s, begun = time.monotonic(), datetime.now(UTC)
        self._broker.start()
        self._port.plug_in()
        broker_load = BrokerLoad(self._broker.port, self._rate_hz)
        serial_load = SerialLoad(self._port, self._rate_hz)
        try:
            self._start()
            broker_load.start()
            serial_load.start()
            self._open_a_heat()
            for _ in range(kills):
                self._kill_once()
            serial_load.finish()
            broker_load.finish()
            self._wait_for_rows(broker_load.sent)
            self._recognised += self._recognised_so_far()
            code = self._service.stop()
            report = self._report(kills, broker_load.sent, serial_load.sent_at_s)
            if code != 0:
                report.faults.append(f"the service ended with {code}")
        finally:
            for load in (broker_load, serial_load):
                load.halt.set()
                if load.ident is not None:
                    load.join()
            self._service.end()
            self._port.unplug()
            self._broker.kill()
        report.begun = begun.isoformat(timespec="seconds")
        report.seconds = round(time.monotonic() - begun_s, 1)
        return report

    # While it runs ------------------------------------------------------------------------

    def _start(self) -> None:
        self._service.launch()
        wait_until(self._service.healthy, "the service healthy", 60)
        wait_until(self._line_open, "the serial line open", 60)

    def _line_open(self) -> bool:
        links = self._service.ask("GET", "/healthz")[1]["links"]
        return any(link["kind"] == "serial" and link["state"].startswith("open") for link in links)

    def _recognised_so_far(self) -> int:
        links = self._service.ask("GET", "/healthz")[1]["links"]
        return sum(link["rejected"]["duplicate"] for link in links)

    def _open_a_heat(self) -> None:
        act = self._service.act
        wait_until(lambda: self._service.channel("serial/probe"), "the probe")
        act("adopt channel", channel="serial/probe", channel_kind="thermocouple")
        part_id = act("create part", facts={"name": "manifold"}, limits={"preheat_min_c": 200})[
            "part_id"
        ]
        act("assign channel", channel="serial/probe", part_id=part_id)
        heat_id = act("begin heat", part_id=part_id)["heat_id"]
        act("move part", heat_id=heat_id, phase="bench")

    def _kill_once(self) -> None:
        """Let it run a while, mostly short and sometimes past a checkpoint; kill; start again."""
        time.sleep(self._chance.choice([0.0, 0.3, 1.0, 7.0]) * self._chance.random())
        self._recognised += self._recognised_so_far()
        killed_s = time.monotonic()
        self._service.kill()
        while self._chance.random() < 0.2:  # and again before it has come up
            self._service.launch()
            time.sleep(self._chance.random() * 1.5)
            self._service.kill()
            self._while_starting += 1
        self._start()
        self._aways.append(Away(killed_s, time.monotonic()))

    def _wait_for_rows(self, count: int) -> None:
        """Until both streams of the broker are there, or nothing has come for a while."""
        before, quiet_since_s = -1, time.monotonic()
        while time.monotonic() - quiet_since_s < 10:
            rows = sum(len(self._service.stored(name)) for name in ("mqtt/timed", "mqtt/marked"))
            if rows >= 2 * count:
                return
            if rows != before:
                before, quiet_since_s = rows, time.monotonic()
            time.sleep(0.2)

    # What came of it ----------------------------------------------------------------------

    def _report(self, kills: int, published: int, sent_at_s: list[float]) -> Report:
        timed = self._tally("mqtt/timed", published)
        marked = self._tally("mqtt/marked", published, timed=False)
        serial = self._tally("serial/count", len(sent_at_s))
        stored = {int(value) for _, value in self._service.stored("serial/count")}
        before, away, outside, longest_s = self._where_lost(
            [at_s for number, at_s in enumerate(sent_at_s) if number not in stored]
        )
        report = Report(
            commit=commit_here(),
            begun="",
            seed=self._seed,
            kills=kills,
            kills_while_starting=self._while_starting,
            seconds=0.0,
            python=platform.python_version(),
            sqlite=sqlite3.sqlite_version,
            mosquitto=broker_version(),
            timed=timed,
            marked=marked,
            serial=serial,
            packs_recognised=self._recognised,
            resumed_from_checkpoint=self._service.log().count("resumed from a checkpoint"),
            serial_lost_before_a_kill=before,
            serial_lost_while_away=away,
            longest_before_a_kill_ms=round(longest_s * 1000, 1),
        )
        report.faults += self._faults(report, outside)
        return report

    def _tally(self, channel: str, sent: int, *, timed: bool = True) -> Tally:
        rows = self._service.stored(channel)
        counted = Counter(int(value) for _, value in rows)
        altered = sum(
            not 0 <= value < sent
            or value != int(value)
            or (timed and t_us != round((BASE_S + value * STEP_S) * 1e6))
            for t_us, value in rows
        )
        return Tally(
            sent=sent,
            rows=len(rows),
            missing=sum(number not in counted for number in range(sent)),
            twice=sum(count - 1 for count in counted.values()),
            altered=altered,
        )

    def _where_lost(self, lost_at_s: list[float]) -> tuple[int, int, int, float]:
        """Lost shortly before a kill, while away, and otherwise; and how long before a kill."""
        before = away = outside = 0
        longest_s = 0.0
        for at_s in lost_at_s:
            if any(each.killed_s < at_s <= each.back_s for each in self._aways):
                away += 1
                continue
            ahead_s = min(
                (each.killed_s - at_s for each in self._aways if each.killed_s >= at_s),
                default=float("inf"),
            )
            if ahead_s <= GRACE_S:
                before += 1
                longest_s = max(longest_s, ahead_s)
            else:
                outside += 1
        return before, away, outside, longest_s

    def _faults(self, report: Report, outside: int) -> list[str]:
        rows = self._service.rows
        faults = [
            f"{pragma}: {found}"
            for pragma, good in (("integrity_check", [("ok",)]), ("foreign_key_check", []))
            if (found := rows(f"PRAGMA {pragma}")) != good
        ]
        for name, tally in (("timed", report.timed), ("marked", report.marked)):
            if tally.missing or tally.twice or tally.altered or tally.rows != tally.sent:
                faults.append(f"MQTT readings ({name}) are not there exactly once: {tally}")
        if report.serial.twice or report.serial.altered:
            faults.append(f"serial readings are twice or altered: {report.serial}")
        if outside:
            faults.append(f"{outside} serial readings are missing that no kill explains")
        for table in ("misfit", "gap"):
            if rows(f"SELECT count(*) FROM {table}") != [(0,)]:
                faults.append(f"the table {table} is not empty")
        if "damaged" in self._service.log():
            faults.append("the log speaks of damage")
        return faults


def commit_here() -> str:
    """The commit of the working tree, with a mark if it has been changed."""

    def git(*arguments: str) -> str:
        found = subprocess.run(
            ["git", *arguments], cwd=PROJECT, capture_output=True, text=True, check=False
        )
        return found.stdout.strip() if found.returncode == 0 else ""

    changed = git("status", "--porcelain", "--untracked-files=no", "service", "dashboard")
    return (git("rev-parse", "--short=12", "HEAD") or "unknown") + (" changed" if changed else "")


def broker_version() -> str:
    program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
    told = subprocess.run([program, "-h"], capture_output=True, text=True, check=False).stdout
    return told.splitlines()[0].removeprefix("mosquitto version ") if told else "unknown"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kills", type=int, default=5)
    parser.add_argument("--rate", type=float, default=100.0, help="readings/s of each stream")
    parser.add_argument("--out", type=Path, required=True, help="JSON file for the report")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="kill-campaign-") as name:
        report = Campaign(Path(name), given.seed, given.rate).run(given.kills)
        if report.faults:
            kept = given.out.with_suffix(".kept")
            os.rename(name, kept)
            Path(name).mkdir()
            sys.stderr.write(f"everything is kept in {kept}\n")
    body: dict[str, Any] = asdict(report)
    given.out.write_text(json.dumps(body, indent=2) + "\n", encoding="utf-8")
    sys.stdout.write(json.dumps(body, indent=2) + "\n")
    return 1 if report.faults else 0


if __name__ == "__main__":
    sys.exit(main())
