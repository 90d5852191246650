"""Stories through the real service: a serial line, a broker's worth of taps, and a clock by hand.

The service runs in this process with its real port, store, threads and pages. Its clock stands
still until the story lets a second pass, and the next second begins when everything sent has been
judged: so a story is the same every time, however busy the machine.
"""

from __future__ import annotations

import json
import shutil
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from service.commands.assembly import RunningService, start_service
from service.config import load
from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

START_US = 1_780_000_000_000_000


class HandClock:
    """Both clocks by hand; satisfies ``service.clock.Clock``."""

    speed = 1000.0
    """Only for how long the judge's thread sleeps between two looks at this clock."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._mono_us, self._utc_us = 1_000_000, START_US

    def monotonic_us(self) -> int:
        with self._lock:
            return self._mono_us

    def utc_us(self) -> int:
        with self._lock:
            return self._utc_us

    def pass_us(self, passed_us: int) -> None:
        with self._lock:
            self._mono_us += passed_us
            self._utc_us += passed_us

    def set_wall_clock(self, by_s: float) -> None:
        with self._lock:
            self._utc_us += round(by_s * 1e6)


@dataclass
class Bench:
    """A casting as it is, on the bench: 24 K/min bare at 350 °C (own calculation)."""

    temperature_c: float = 300.0
    arc: bool = False
    flow_l_min: float = 0.0
    probe: str = "on"
    """on, off (hangs in air), open."""
    shown_c: float = 300.0
    seconds: int = 0

    def second(self) -> None:
        self.seconds += 1
        self.temperature_c -= 0.4 * (max(0.0, self.temperature_c - 20.0) / 330.0) ** 1.3
        self.temperature_c += 0.8 if self.arc else 0.0
        target_c = 20.0 if self.probe == "off" else self.temperature_c
        self.shown_c += (target_c - self.shown_c) / 2.0

    def records(self, number: int) -> list[dict[str, object]]:
        wobble = ((self.seconds * 7919) % 13 - 6) * 0.05
        probe: dict[str, object] = {"n": f"tc{number}", "u": "Cel"}
        if self.probe == "open":
            probe["vs"] = "open-circuit"
        else:
            probe["v"] = round((self.shown_c + wobble) * 4) / 4
        return [probe, {"n": f"argon{number}", "u": "l/s", "v": self.flow_l_min / 60}]


@dataclass
class Story:
    """One service, its line and its castings."""

    folder: Path
    port: ScriptedPort
    clock: HandClock = field(default_factory=HandClock)
    castings: list[Bench] = field(default_factory=lambda: [Bench()])
    running: RunningService | None = None
    silent: bool = False
    sent: int = 0

    def __post_init__(self) -> None:
        self.outside = ServiceProcess(self.folder, f'[[serial]]\nport = "{self.port.path}"\n')

    # --- the service ------------------------------------------------------------------------------

    def start(self) -> None:
        self.running = start_service(load(self.outside.config), self.clock)
        wait_until(self._listening, "the port open")
        self.port.write(b"\n")  # what came before the first line's end may be half a line

    def _listening(self) -> bool:
        links = self.outside.ask("GET", "/healthz")[1]["links"]
        return all(link["state"] == "open" for link in links)

    def stop(self) -> None:
        if self.running is not None:
            assert self.running.stop()
            self.running = None

    def cut_the_power(self, away_s: float) -> None:
        """What is on the disk at this moment is all there is for the next start."""
        assert self.running is not None
        wait_until(self._written, "everything committed")
        kept = self.folder / "kept"
        kept.mkdir()
        for file in self.folder.glob("shop.db*"):
            if not file.name.endswith("lock"):
                shutil.copy(file, kept / file.name)
        self.stop()
        for file in self.folder.glob("shop.db*"):
            if not file.name.endswith("lock"):
                file.unlink()
        for file in kept.iterdir():
            shutil.move(file, self.folder / file.name)
        self.clock.pass_us(round(away_s * 1e6))
        for casting in self.castings:
            for _ in range(round(away_s)):
                casting.second()
        self.start()

    def _written(self) -> bool:
        assert self.running is not None
        return self.running.writer.status().queued == 0

    # --- what happens -----------------------------------------------------------------------------

    def set_the_date(self, by_s: float) -> None:
        """A time server, or somebody, corrects the wall clock; until the service has noticed."""
        assert self.running is not None
        before_us = self.running.collector.offset_us
        self.clock.set_wall_clock(by_s)
        wait_until(lambda: self.running.collector.offset_us != before_us, "the date's step seen")

    def tap(self, kind: str, **fields: object) -> dict[str, Any]:
        return self.outside.act(kind, **fields)

    def part(self, number: int = 1, **limits: object) -> None:
        """A part on the bench with its probe and its flow meter, its heat begun."""
        asked = {"preheat_min_c": 200, "interpass_max_c": 400, "oxygen_max_ppm": 5000, **limits}
        facts = {"name": f"manifold {number}", "mass_kg": 6, "area_m2": 0.15,
                 "cavity_volume_l": 0.2}  # fmt: skip
        self.tap("create part", facts=facts, limits=asked)
        for name, kind in ((f"tc{number}", "thermocouple"), (f"argon{number}", "gas flow")):
            self.tap("adopt channel", channel=name, channel_kind=kind)
            self.tap("assign channel", channel=name, part_id=number)
        self.tap("begin heat", part_id=number, phase="bench")

    def purged(self, number: int = 1) -> None:
        """Until the part is ready to weld."""
        self.castings[number - 1].flow_l_min = 12.0
        self.tap("begin purge", heat_id=number)
        for _ in range(120):
            if self.bench(number)["verdict"] == "ready":
                return
            self.run(1)
        raise AssertionError(f"never ready: {self.bench(number)['next']}")

    def arc(self, on: bool, number: int = 1) -> None:
        self.castings[number - 1].arc = on
        self.tap("begin pass" if on else "end pass", heat_id=number)

    def run(self, seconds: int) -> None:
        """So many seconds pass; every one is judged before the next begins."""
        for _ in range(seconds):
            self.clock.pass_us(1_000_000)
            records = []
            for number, casting in enumerate(self.castings, start=1):
                casting.second()
                records += casting.records(number)
            if not self.silent:
                self.say(records)
            self._judged()

    def say(self, records: list[dict[str, object]]) -> None:
        assert self.running is not None
        before = self.running.collector.checkpoints.judged_seq
        self.port.write(json.dumps(records).encode() + b"\n")
        self.sent += len(records)
        wait_until(
            lambda: self.running.collector.checkpoints.judged_seq >= before + len(records),
            "the readings judged",
        )

    def _judged(self) -> None:
        """Nothing more comes in this second: the judge has worked through its ticks."""
        collector = self.running.collector
        until_us = self.clock.monotonic_us() + collector._mono_shift_us
        wait_until(lambda: collector._judge.state.now_us >= until_us, "the second judged")

    # --- what is said -----------------------------------------------------------------------------

    def bench(self, number: int = 1) -> dict[str, Any]:
        assert self.running is not None
        parts = self.running.collector._judge.bench()["parts"]
        return next(dict(part) for part in parts if part["id"] == number)

    def alarms(self) -> list[tuple[str, str]]:
        """Every step of every alarm so far, in order, as recorded."""
        wait_until(self._written, "everything committed")
        rows = self.outside.rows("SELECT kind, state FROM alarm_change ORDER BY id")
        return [(str(kind), str(state)) for kind, state in rows]

    def told(self) -> list[str]:
        """Every verdict so far, in order, as recorded: heat/purge/together."""
        wait_until(self._written, "everything committed")
        rows = self.outside.rows("SELECT heat, purge, verdict FROM verdict_change ORDER BY id")
        return ["/".join(map(str, row)) for row in rows]
