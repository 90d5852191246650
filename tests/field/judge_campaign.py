"""Thousands of hours of made-up readings with faults through the judge, checked every second.

    .venv/bin/python tests/field/judge_campaign.py --seed 1 --hours 1000 --out judged.json

One or two parts with one to three probes each, of nodes quick and slow, some of them calibrated, a
flow meter, an oxygen sensor and an arc channel or not, go through heat after heat: oven, carry
with the probes unplugged, purge, passes with and without taps, readings by hand, cover. Probes
open, freeze, fall off, send zeros and spikes, fall silent; hoses kink, meters fail, nodes reset,
old readings arrive late, the wall clock steps, the service restarts after seconds or minutes
without a reading, and the welder taps senseless things.

Promised, and checked after every second against what really is and what really arrived
(``judge_rules.py``):

* no part is ``ready`` on stale, suspect, bad or settling data, nor with its metal below preheat;
* no purge is clear without a flow that is known and running, or with air in its cavity;
* no bead is broken off for its temperature;
* every step of every alarm is in the table, and what is new is spoken;
* every answer is plain JSON, and a replay of the same events says the same to the letter.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(PROJECT))

from service.judge import actions as act  # noqa: E402 - the path comes first
from service.judge.channel_actions import CheckPoint  # noqa: E402
from service.judge.events import (  # noqa: E402
    Acted,
    Advance,
    Event,
    Outcome,
    Refused,
    Stamp,
)
from service.judge.judge import Judge  # noqa: E402
from service.readings import Quality, Reading  # noqa: E402
from tests.field.judge_rules import Arrived, Watcher  # noqa: E402
from tests.field.judge_tally import Tally  # noqa: E402
from tests.field.judge_welder import Job, Welder, make_limits  # noqa: E402
from tests.field.judge_world import (  # noqa: E402
    METER_FAULTS,
    PROBE_FAULTS,
    ROOM_C,
    Casting,
    Node,
    Sensor,
)

START_US = 1_780_000_000_000_000
EPISODE_S = 2 * 3600
REPLAYED_EVERY = 10
"""Every so many episodes are replayed from their events."""
UNITS = {"probe": "Cel", "flow": "l/min", "oxygen": "ppm", "arc": "A"}
KINDS = {"probe": "thermocouple", "flow": "gas flow", "oxygen": "oxygen", "arc": "arc"}

LAGS_S: dict[str, Callable[[random.Random], float]] = {
    "probe": lambda rng: rng.uniform(1.5, 6),
    "flow": lambda rng: 1.0,
    "oxygen": lambda rng: rng.uniform(5, 15),
    "arc": lambda rng: 1.0,
}

FAULT_EVERY_S = 150.0
"""Mean time between two faults of the shop."""

ACKNOWLEDGED_AFTER_S = 60.0
"""Mean time until somebody acknowledges one of the alarms."""


class Episode:
    """Some hours of one made-up shop, from its own seed."""

    def __init__(self, seed: int, number: int) -> None:
        self.rng = random.Random(f"judge campaign {seed} {number}")
        self.name = f"seed {seed} episode {number}"
        self.judge, self.watcher, self.tally = Judge(), Watcher(), Tally(episodes=1)
        self.t_s, self.seq, self.offset_us, self.next_heat = 0.0, 0, 0, 1
        self.record = number % REPLAYED_EVERY == 0
        self.pace = self.rng.choice([1.0, 1.0, 3.0])
        self.events: list[Event] = []
        self.outcomes: list[Any] = []
        self.bench: dict[str, Any] = {}
        self.jobs: list[Job] = []
        self.welders: list[Welder] = []
        self.do(act.ServiceStarted(version="campaign", offset_us=0))
        for number_of_part in range(1, self.rng.choice([1, 1, 2]) + 1):
            self._new_job(number_of_part)

    # --- what is given to the judge -------------------------------------------------------------

    @property
    def now_us(self) -> int:
        return START_US + round(self.t_s * 1e6)

    def feed(self, event: Event) -> None:
        if self.record:
            self.events.append(event)
        outcome = self.judge.step(event)
        self._take(outcome)

    def _take(self, outcome: Outcome) -> None:
        if self.record:
            self.outcomes += [*outcome.alarms, *outcome.verdicts]
        self.tally.verdict_changes += len(outcome.verdicts)
        for change in outcome.alarms:
            if change.state == "unacknowledged" and change.speak:
                self.tally.alarms_raised[change.kind] += 1
            for fault in self.watcher.alarm(change):
                self._broken(fault)

    def do(self, action: act.Action) -> bool:
        self.seq += 1
        stamp = Stamp(self.seq, self.now_us, self.now_us + self.offset_us)
        try:
            self.feed(Acted(stamp, action))
        except Refused:
            self.tally.actions["refused"] += 1
            return False
        self.tally.actions["accepted"] += 1
        return True

    def say(self, sensor: Sensor, sent: float | str, t_us: int | None) -> None:
        value, fault = (None, sent) if isinstance(sent, str) else (sent, None)
        unit = UNITS[sensor.what]
        quality, reason = self.judge.sense(sensor.name, unit, value, fault, self.now_us, t_us=t_us)
        self.seq += 1
        self.tally.readings += 1
        arrived_us = self.now_us + self.offset_us
        self.feed(
            Reading(
                sensor.name, unit, value, quality, reason,
                arrived_us if t_us is None else t_us, arrived_us, self.now_us, self.seq,
                timed=t_us is not None,
            )
        )  # fmt: skip
        if quality is Quality.GOOD:
            sensor.left_behind = False
        if t_us is None or arrived_us - t_us < 2_000_000:
            self.watcher.arrived[sensor.name] = Arrived(self.t_s, value, quality, sensor.off_k)

    # --- the shop -------------------------------------------------------------------------------

    def _new_job(self, number: int) -> None:
        rng = self.rng
        casting = Casting(rng, volume_l=rng.uniform(0.2, 3.0))
        facts = act.PartFacts(
            name=f"manifold {number}",
            mass_kg=rng.choice([None, 6.0]),
            area_m2=rng.choice([None, 0.15]),
            cavity_volume_l=rng.choice([None, casting.volume_l, casting.volume_l]),
            hose_volume_l=0.2,
            joint_wall_mm=rng.choice([None, 3.0, 12.0]),
        )
        job = Job(number, casting, make_limits(rng), facts)
        whats = ["probe"] * rng.randint(1, 3)
        whats += ["flow"] * (rng.random() < 0.8) + ["oxygen"] * (rng.random() < 0.4)
        whats += ["arc"] * (rng.random() < 0.5)
        for place, what in enumerate(whats):
            job.sensors.append(self._sensor(f"{what}{number}{place}", what, casting))
        self.jobs.append(job)
        self.do(act.CreatePart(part_id=number, facts=facts, limits=job.limits))
        for sensor in job.sensors:
            self.do(act.AdoptChannel(channel=sensor.name, channel_kind=KINDS[sensor.what]))
            self.do(act.AssignChannel(channel=sensor.name, part_id=number))
            self._calibrate(sensor)
        self.welders.append(
            Welder(job, rng, self.do, lambda: self._is_ready(number), self._heat_number)
        )

    def _sensor(self, name: str, what: str, casting: Casting) -> Sensor:
        rng = self.rng
        sensor = Sensor(
            name, what, casting, rng,
            lag_s=LAGS_S[what](rng),
            interval_s=1.0 if what == "arc" else self.pace * rng.choice([1.0, 1.0, 2.0, 4.0]),
            timed=rng.random() < 0.3,
        )  # fmt: skip
        sensor.shown = {"probe": ROOM_C, "flow": 0.0, "oxygen": 209_500.0, "arc": 0.0}[what]
        return sensor

    def _calibrate(self, sensor: Sensor) -> None:
        """One probe in four is wrong, by more than the rules forgive, and was checked."""
        if sensor.what != "probe" or self.rng.random() > 0.25:
            return
        off_k = self.rng.choice([-1.0, 1.0]) * self.rng.uniform(15.0, 25.0)
        checks = [
            CheckPoint(reads=true_c + off_k, true=true_c)
            for true_c in self.rng.choice([(0.0,), (0.0, 300.0)])
        ]
        if self.do(act.CalibrateChannel(channel=sensor.name, checks=tuple(checks))):
            sensor.off_true_k = off_k
            self.tally.calibrated += 1

    def _heat_number(self) -> int:
        self.next_heat = self.judge.shop.next_heat_id
        return self.next_heat

    def _is_ready(self, number: int) -> bool:
        parts = self.bench.get("parts", [])
        return any(part["id"] == number and part["verdict"] == "ready" for part in parts)

    def run(self, seconds: int) -> Tally:
        for _ in range(seconds):
            self.t_s += 1.0
            self._second()
        self.tally.hours = seconds / 3600
        self.tally.alarm_steps.update(self.watcher.cells)
        if self.record:
            self._replay()
        return self.tally

    def _second(self) -> None:
        for job, welder in zip(self.jobs, self.welders, strict=True):
            job.casting.second()
            for sensor in job.sensors:
                sensor.second(self.t_s)
            welder.step()
        if self.rng.random() < 1.0 / FAULT_EVERY_S:
            self._fault(self.rng.choice(self.jobs))
        waiting = [a["id"] for a in self.bench.get("alarms", []) if a["state"] != "acknowledged"]
        if waiting and self.rng.random() < 1.0 / ACKNOWLEDGED_AFTER_S:
            self.do(act.AcknowledgeAlarm(alarm_id=self.rng.choice(waiting)))
        for job in self.jobs:
            for sensor in job.sensors:
                sent = sensor.sends(self.t_s)
                if sent is not None:
                    t_us = self.now_us + self.offset_us - 200_000 if sensor.timed else None
                    self.say(sensor, sent, t_us)
        self.feed(Advance(self.now_us + 999, self.now_us + 999 + self.offset_us))
        self._check()

    def _fault(self, job: Job) -> None:
        rng, t_s = self.rng, self.t_s
        seconds = rng.choice([2.0, 8.0, 30.0, 120.0])
        kind = rng.choice(
            ["probe", "probe", "meter", "kink", "node", "late", "clock", "restart", "whim"]
        )
        if kind == "probe":
            fault = rng.choice(PROBE_FAULTS)
            rng.choice(job.of("probe")).break_down(t_s, fault, seconds)
            kind = f"probe {fault}"
        elif kind == "meter":
            meters = [sensor for sensor in job.sensors if sensor.what != "probe"]
            for sensor in rng.sample(meters, min(1, len(meters))):
                sensor.break_down(t_s, rng.choice(METER_FAULTS), seconds)
        elif kind == "kink":
            job.casting.kinked = not job.casting.kinked
        elif kind == "node":
            Node(job.sensors).reset(t_s, seconds)
        elif kind == "late":
            self._late(rng.choice(job.sensors))
        elif kind == "clock":
            self.offset_us += rng.choice([-1, 1]) * rng.choice([2, 600, 3600]) * 1_000_000
            self.do(act.ClockStepped(offset_us=self.offset_us))
        elif kind == "restart":
            self._restart(rng.choice([1, 10, 60, 600]))
        else:
            self.do(self.rng.choice(self.welders).whim())
            for sensor in job.sensors:
                self.do(act.AssignChannel(channel=sensor.name, part_id=job.number))
        self.tally.faults[kind] += 1

    def _late(self, sensor: Sensor) -> None:
        """A node hands over what it kept while its link was away: good numbers, but old."""
        past_us = self.now_us + self.offset_us - 300_000_000
        for number in range(5):
            self.say(sensor, sensor.reading() + 50.0, past_us + number * 1_000_000)

    def _restart(self, away_s: int) -> None:
        """Nothing is heard, nobody is watching; then the service starts from its checkpoint."""
        for _ in range(away_s):
            self.t_s += 1.0
            for job in self.jobs:
                job.casting.second()
                for sensor in job.sensors:
                    sensor.second(self.t_s)
        self.do(
            act.ServiceStarted(
                version="campaign", offset_us=self.offset_us, checkpoint_seq=self.seq
            )
        )

    # --- what it says ---------------------------------------------------------------------------

    def _check(self) -> None:
        self.bench = dict(self.judge.bench())
        if self.t_s % 60 == 0:
            json.dumps(self.bench, allow_nan=False)
        channels = {channel["name"]: channel for channel in self.bench["channels"]}
        for job, part in zip(self.jobs, self.bench["parts"], strict=True):
            self.tally.seconds_of_verdict[part["verdict"]] += 1
            if part["purge"]["clear"]:
                limit_ppm = part["limits"]["oxygen_max_ppm"]
                self.tally.seconds_clear += 1
                self.tally.seconds_clear_above_limit += job.casting.oxygen_ppm > limit_ppm
            for fault in self.watcher.part(job, part, channels, self.t_s):
                self._broken(fault)

    def _broken(self, fault: str) -> None:
        self.tally.broken[fault] += 1
        self.tally.examples.setdefault(fault, f"{self.name} at {self.t_s:.0f} s")

    def _replay(self) -> None:
        self.tally.replayed = 1
        judge, said = Judge(), []
        for event in self.events:
            try:
                outcome = judge.step(event)
            except Refused:
                continue
            said += [*outcome.alarms, *outcome.verdicts]
        if said != self.outcomes:
            self._broken("a replay says something else")


def one_episode(arguments: tuple[int, int, int]) -> Tally:
    """For a worker process."""
    seed, number, seconds = arguments
    return Episode(seed, number).run(seconds)


def campaign(seed: int, hours: float, workers: int = 1, episode_s: int = EPISODE_S) -> Tally:
    """So many hours of shop time, in episodes of two hours, each from its own seed."""
    episode_s = min(episode_s, round(hours * 3600))
    count = max(1, round(hours * 3600 / episode_s))
    work = [(seed, number, episode_s) for number in range(count)]
    total = Tally()
    for tally in _worked(work, workers):
        total.add(tally)
    return total


def _worked(work: list[tuple[int, int, int]], workers: int) -> Iterator[Tally]:
    if workers == 1:
        yield from map(one_episode, work)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(one_episode, work, chunksize=1)


def _commit() -> str:
    done = subprocess.run(
        ["git", "describe", "--always", "--dirty"],
        cwd=PROJECT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.stdout.strip() or "unknown"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--hours", type=float, default=1000.0, help="shop hours")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--out", type=Path, help="JSON report")
    given = parser.parse_args()
    begun, start_s = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"), time.monotonic()
    tally = campaign(given.seed, given.hours, given.workers)
    report = {
        "commit": _commit(), "begun": begun, "seed": given.seed,
        "took_s": round(time.monotonic() - start_s), "cores": os.cpu_count(), **tally.plain(),
    }  # fmt: skip
    text = json.dumps(report, indent=1)
    if given.out is not None:
        given.out.write_text(text + "\n")
    sys.stdout.write(text + "\n")
    return 1 if tally.broken else 0


if __name__ == "__main__":
    sys.exit(main())
