"""What must hold at every moment of the mixed campaign, and at its end."""

from __future__ import annotations

import contextlib
import http.client
import json
import re
import sqlite3
import threading
import time
from collections import Counter, deque
from dataclasses import asdict, dataclass, field
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

from service.sources.shipped_broker import SAVE_EVERY_S
from tests.field.campaign_world import BASE_S, EVERY_S, FLOW, PROBES, STEP_S, World
from tests.field.service_process import ServiceProcess
from tests.field.shared_clock import SharedClock

PREHEAT_MIN_C, INTERPASS_MAX_C, METAL_K = 200.0, 420.0, 8.0
SILENT_S = 4 * EVERY_S
"""Three intervals and what a busy machine adds to one [s of the shop]."""
LATE_S = 1.5
"""From a node's word to the service's stamp on a busy machine, at most [s, real]."""
SAVED_S = SAVE_EVERY_S + 2.0
"""A broker that is killed may lose what it took so long before and had not delivered [s, real]."""
GRACE_S = 2.0
"""A serial line may lose so much before a kill [s, real]."""
MOST_RESIDENT_MB, MOST_THREADS, MOST_FILES, MOST_QUEUED = 320.0, 60, 120, 20_000
MOST_LOG_BYTES_A_STEP = 64_000
STARVED_S, STARVED_WITHIN_S = 2.5, 12.0
"""A service whose threads waited so long for a processor is starved, not hung: others' work on the
same machine. It must say that its judgement is old, and it does."""


@dataclass
class Counts:
    """What came of one numbered stream."""

    sent: int
    rows: int
    missing: int
    missing_explained: int
    twice: int
    altered: int


@dataclass
class Watch:
    """Looks at the page all the time, from a thread, against what the world really is."""

    service: ServiceProcess
    world: World
    clock: SharedClock
    faults: list[str] = field(default_factory=list)
    looks: int = 0
    ready_looks: int = 0
    clear_looks: int = 0
    unknown_looks: int = 0
    starved_looks: int = 0
    slowest_s: float = 0.0
    away: bool = True
    """The service is being killed, stopped or started: no answer is expected."""
    set_us: tuple[int, ...] = (0,)
    """Where the wall clock has been set to lately [µs from the truth]."""

    def __post_init__(self) -> None:
        self.halt = threading.Event()
        self.thread = threading.Thread(target=self._run, name="watch", daemon=True)

        self._waited: deque[tuple[float, float]] = deque()

    def _run(self) -> None:
        try:
            while not self.halt.wait(0.1):
                self._waited.append((time.monotonic(), waited_s(self.service)))
                if not self.away:
                    self._look()
        except Exception as error:  # nobody would watch any more, and nobody would know
            self.faults.append(f"the watch ended: {error!r}")
            raise

    def starved(self) -> bool:
        """Whether the service had to wait for a processor, by the system's own account."""
        while self._waited and self._waited[0][0] < time.monotonic() - STARVED_WITHIN_S:
            self._waited.popleft()
        seen = [waited for _, waited in self._waited]
        # A new process begins at zero.
        return sum(max(0.0, b - a) for a, b in pairwise(seen)) >= STARVED_S

    def _look(self) -> None:
        begun_s = time.monotonic()
        try:
            status, bench = self.service.ask("GET", "/api/v1/bench")
        except (OSError, ValueError, http.client.HTTPException) as error:
            if not self.away:
                self.faults.append(f"the page does not answer: {error!r}")
            return
        if self.away:
            return
        self.slowest_s = max(self.slowest_s, time.monotonic() - begun_s)
        if status == 503 and bench.get("code") == "stale" and self.starved():
            self.starved_looks += 1
            return
        if status != 200:
            self.faults.append(f"the page answers {status}: {bench}")
            return
        self.looks += 1
        for part in bench["parts"]:
            self.faults += [f"{each} at {bench['at']}" for each in self._part(part, bench)]

    def true_s(self, at: str) -> float:
        """The true time of an answer, whose date may be set by any of ``set_us``."""
        shown_us = datetime.fromisoformat(at).timestamp() * 1e6
        now_us = self.clock.true_us()
        return min((shown_us - s for s in self.set_us), key=lambda us: abs(us - now_us)) / 1e6

    def _part(self, part: dict[str, Any], bench: dict[str, Any]) -> list[str]:
        at_s = self.true_s(bench["at"])
        oldest_s = SILENT_S + LATE_S * self.clock.speed
        quality = {each["name"]: each["quality"] for each in bench["channels"]}
        found = []
        self.unknown_looks += part["verdict"] == "unknown"
        if "ready" in (part["verdict"], part["heat"]["verdict"]):
            self.ready_looks += 1
            for probe in PROBES:
                age_s = self.world.said[probe].age_s(at_s)
                if quality.get(probe) != "good" or age_s > oldest_s:
                    found.append(f"ready on {probe}: {quality.get(probe)}, said {age_s:.0f} s ago")
            metal_c = self.world.temperature_c(at_s)
            if not PREHEAT_MIN_C - METAL_K <= metal_c <= INTERPASS_MAX_C + METAL_K:
                found.append(f"ready with the metal at {metal_c:.0f} °C")
        if part["purge"]["clear"] or part["purge"]["verdict"] == "ready":
            self.clear_looks += 1
            age_s = self.world.said[FLOW].age_s(at_s)
            if quality.get(FLOW) != "good" or age_s > oldest_s:
                found.append(f"clear on a flow {quality.get(FLOW)}, flowing {age_s:.0f} s ago")
        return found


@dataclass
class Size:
    """What the process and its queues took at most."""

    resident_mb: float = 0.0
    threads: int = 0
    files: int = 0
    queued: int = 0
    log_bytes: int = 0

    def look(self, service: ServiceProcess) -> list[str]:
        """Measure now; what is beyond its bound."""
        assert service.process is not None
        place = Path(f"/proc/{service.process.pid}")
        status = (place / "status").read_text()
        resident_mb = int(re.findall(r"VmRSS:\s+(\d+)", status)[0]) / 1024
        threads = int(re.findall(r"Threads:\s+(\d+)", status)[0])
        files = len(list((place / "fd").iterdir()))
        queued = int(float(metric(service, "heatwindow_readings_queued")))
        log_bytes = (service.folder / "service.log").stat().st_size
        grown = log_bytes - self.log_bytes
        now = {"resident_mb": resident_mb, "threads": threads, "files": files, "queued": queued}
        for name, value in now.items():
            setattr(self, name, max(getattr(self, name), value))
        self.log_bytes = log_bytes
        bounds = (MOST_RESIDENT_MB, MOST_THREADS, MOST_FILES, MOST_QUEUED)
        found = [
            f"{name} {value:.0f} above {most:.0f}"
            for (name, value), most in zip(now.items(), bounds, strict=True)
            if value > most
        ]
        if grown > MOST_LOG_BYTES_A_STEP:
            found.append(f"the log grew by {grown} bytes in one step")
        if float(metric(service, "heatwindow_judge_failures")):
            found.append("the judge failed on something: see the log")
        return found


@dataclass
class Report:
    """Everything the campaign found; ``faults`` is empty when every promise was kept."""

    commit: str
    begun: str
    seed: int
    speed: float
    mosquitto: str
    steps: int = 0
    hours: float = 0.0
    """Of the shop, without those that were slept through."""
    hours_asleep: float = 0.0
    real_s: float = 0.0
    did: dict[str, int] = field(default_factory=dict)
    """How often each fault."""
    sigkills: int = 0
    """Of the service, those before it had come up included."""
    started_again: int = 0
    """Starts that gave up (the database locked elsewhere, say) and were tried again."""
    heats: int = 0
    actions_acknowledged: int = 0
    looks: int = 0
    looks_ready: int = 0
    looks_clear: int = 0
    looks_unknown: int = 0
    looks_starved: int = 0
    """The page said that the judgement was old, while the service got no processor."""
    slowest_page_s: float = 0.0
    slowest_stop_s: float = 0.0
    streams: dict[str, Counts] = field(default_factory=dict)
    most: Size = field(default_factory=Size)
    resident_mb: list[float] = field(default_factory=list)
    """Of each process that ran through more than one step: at its first step, and at its last."""
    faults: list[str] = field(default_factory=list)


def waited_s(service: ServiceProcess) -> float:
    """How long the service's threads have waited for a processor (Linux, ``schedstat``) [s]."""
    process = service.process
    waited_ns = 0
    for file in Path(f"/proc/{process.pid if process else 0}/task").glob("*/schedstat"):
        with contextlib.suppress(OSError):  # a thread that has just ended
            waited_ns += int(file.read_text().split()[1])
    return waited_ns / 1e9


def metric(service: ServiceProcess, name: str) -> str:
    """One figure of ``/metrics``."""
    text = service.text("/metrics")
    found = re.search(rf"^{name}(?:_total)? (\S+)$", text, re.M)
    assert found is not None, name
    return found[1]


def count_stream(
    rows: list[tuple[int, float]], sent: int, explained: set[int], *, timed: bool = True
) -> Counts:
    """What came of a stream of numbers; ``explained``: those that may be missing."""
    counted = Counter(int(value) for _, value in rows)
    missing = {number for number in range(sent) if number not in counted}
    return Counts(
        sent=sent,
        rows=len(rows),
        missing=len(missing),
        missing_explained=len(missing & explained),
        twice=sum(count - 1 for count in counted.values()),
        altered=sum(
            not 0 <= value < sent
            or value != int(value)
            or (timed and t_us != round((BASE_S + value * STEP_S) * 1e6))
            for t_us, value in rows
        ),
    )


def stream_faults(name: str, counts: Counts) -> list[str]:
    """What is wrong with one stream."""
    lost = counts.missing - counts.missing_explained
    if lost or counts.twice or counts.altered:
        return [f"{name}: {lost} lost without a reason, {asdict(counts)}"]
    return []


def database_faults(service: ServiceProcess, acknowledged: set[str]) -> list[str]:
    """Whole, and every tap in it, by its token, that was said to be recorded."""
    found = [
        f"{pragma}: {rows}"
        for pragma, good in (("integrity_check", [("ok",)]), ("foreign_key_check", []))
        if (rows := service.rows(f"PRAGMA {pragma}")) != good
    ]
    tokens = service.rows("SELECT json_extract(body, '$.token') FROM journal")
    journal = {token for (token,) in tokens}
    if acknowledged - journal:
        found.append(f"actions acknowledged and not in the journal: {acknowledged - journal}")
    for table in ("misfit", "gap"):
        if service.rows(f"SELECT count(*) FROM {table}") != [(0,)]:
            found.append(f"the table {table} is not empty")
    log = service.log()
    found += [f"the log says {word!r}" for word in ("Traceback", "set aside") if word in log]
    return found


def hold_locked(database: Path, halt: threading.Event) -> None:
    """Another program holds the database until told."""
    holder = sqlite3.connect(database, timeout=20, isolation_level=None)
    try:
        holder.execute("BEGIN IMMEDIATE")
        halt.wait(60)
    finally:
        holder.close()


def as_json(report: Report) -> str:
    return json.dumps(asdict(report), indent=2) + "\n"
