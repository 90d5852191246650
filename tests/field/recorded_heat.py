"""A whole heat in a real database, judged while it was recorded, without threads or waiting.

The casting is a lump with two probes; the story is the usual one: oven, carry, bench, purge, two
passes, cover. Same arguments, same database, to the letter.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from service.judge import actions as act
from service.judge.events import Acted, Advance, Outcome, Stamp
from service.judge.judge import Judge
from service.readings import Quality, Reading
from service.records.shelf import Shelf
from service.store.database import Store
from service.store.entries import Arrived, Entry

START_US = 1_790_000_000_000_000
"""2026-09-21T14:13:20Z."""

UNITS = {"tc": "Cel", "room": "Cel", "flow": "l/min", "oxygen": "ppm"}


@dataclass
class Lump:
    """24 K/min at 350 °C bare (own calculation); a blanket leaves a tenth of it."""

    temperature_c: float = 250.0
    place: str = "oven"
    arc: bool = False
    plugged: bool = True

    def second(self) -> None:
        if self.place == "oven":
            self.temperature_c += (340.0 - self.temperature_c) / 250.0
            return
        loss = 0.4 * (max(0.0, self.temperature_c - 20.0) / 330.0) ** 1.3
        self.temperature_c -= loss / 10 if self.place == "cover" else loss
        self.temperature_c += 0.5 if self.arc else 0.0

    def probe(self, second: int, away_k: float) -> float | str:
        noise = ((second * 7919 + round(away_k)) % 13 - 6) * 0.05
        return (
            round((self.temperature_c - away_k + noise) * 4) / 4 if self.plugged else "open-circuit"
        )


@dataclass
class Recorder:
    """A judge and a database fed with the same events, as the collector does."""

    store: Store
    judge: Judge = field(default_factory=Judge)
    now_us: int = START_US
    offset_us: int = 0
    seq: int = 0
    seconds: int = 0
    sources: dict[str, Callable[[int], float | str | None]] = field(default_factory=dict)
    entries: list[Entry] = field(default_factory=list)
    watch: Callable[[Judge, int], None] = lambda _judge, _now_us: None

    def act(self, action: act.Action) -> None:
        self.seq += 1
        self.now_us += 1000
        acted = Acted(Stamp(self.seq, self.now_us, self.now_us + self.offset_us), action)
        self.entries.append(acted)
        self._keep(self.judge.step(acted))

    def say(self, channel: str, value: float | str) -> None:
        unit = UNITS.get(channel.rstrip("0123456789"), "Cel")
        number, fault = (None, value) if isinstance(value, str) else (value, None)
        quality, reason = self.judge.sense(channel, unit, number, fault, self.now_us)
        self.seq += 1
        at_us = self.now_us + self.offset_us
        reading = Reading(
            channel, unit, number, Quality(quality), reason, at_us, at_us, self.now_us, self.seq
        )
        self.entries.append(Arrived((reading,)))
        self._keep(self.judge.step(reading))

    def run(self, seconds: int) -> None:
        for _ in range(seconds):
            self.now_us += 1_000_000 - self.now_us % 1_000_000
            self.seconds += 1
            for name, source in self.sources.items():
                value = source(self.seconds)
                if value is not None:
                    self.say(name, value)
            self._keep(
                self.judge.step(Advance(self.now_us + 999, self.now_us + 999 + self.offset_us))
            )
            self.watch(self.judge, self.now_us)

    def _keep(self, outcome: Outcome) -> None:
        if outcome.alarms or outcome.verdicts or outcome.trips:
            self.entries.append(outcome)

    def write(self) -> None:
        self.store.write_side.keeper.keep(self.entries)
        self.entries.clear()


LIMITS = act.Limits(
    preheat_min_c=200, interpass_max_c=320, cooling_max_c_per_h=400, oxygen_max_ppm=50
)


def record_heat(
    path: Path,
    *,
    name: str = "pump engine manifold",
    probe: str = "tc1",
    clock_step_us: int = 0,
    start_us: int = START_US,
    end: bool = True,
    again: bool = False,
    watch: Callable[[Judge, int], None] = lambda _judge, _now_us: None,
) -> None:
    """Record heat 1 of part 1 into a new database.

    Args:
        path: The database file.
        name: The part's.
        probe: Name of the first probe's channel.
        clock_step_us: By how much the wall clock is corrected in the middle of the bench [µs].
        start_us: When, monotonic and UTC [µs].
        end: Whether the heat is ended.
        again: Whether a second heat of the part follows, ten minutes later: oven and bench, and no
            pass.
        watch: Shown the judge after each second, and the shop's time [µs].
    """
    store = Store.open(f"sqlite:///{path}")
    try:
        shop = Recorder(store, now_us=start_us, watch=watch)
        lump = Lump()
        _tell(shop, lump, name, probe, clock_step_us, end)
        if again:
            _tell_again(shop, lump)
        shop.write()
    finally:
        store.close()


def _tell(shop: Recorder, lump: Lump, name: str, probe: str, clock_step_us: int, end: bool) -> None:
    gas = {"l_min": 0.0, "ppm": 209_000.0}
    shop.act(act.ServiceStarted(version="0.1", offset_us=0))
    facts = act.PartFacts(
        name=name, metal="ductile iron", mass_kg=6.0, area_m2=0.15, cavity_volume_l=2.4,
        hose_volume_l=0.3, joint_wall_mm=8.0,
    )  # fmt: skip
    shop.act(act.CreatePart(part_id=1, facts=facts, limits=LIMITS))
    for channel, kind, part_id in (
        (probe, "thermocouple", 1), ("tc2", "thermocouple", 1), ("flow1", "gas flow", 1),
        ("oxygen1", "oxygen", 1), ("room1", "ambient", None),
    ):  # fmt: skip
        shop.act(act.AdoptChannel(channel=channel, channel_kind=kind))
        if part_id is not None:
            joint_mm = 10.0 if kind == "thermocouple" else None
            shop.act(act.AssignChannel(channel=channel, part_id=1, from_joint_mm=joint_mm))
    checks = ({"reads": 0.5, "true": 0.0}, {"reads": 100.5, "true": 99.5})
    shop.act(
        act.CalibrateChannel(channel=probe, checks=checks, valid_days=90, note="ice, boiling water")
    )
    shop.act(act.RateProbe(channel=probe, letter="K", tolerance_class="IEC class 1"))

    def purge(_second: int) -> float:
        if gas["l_min"] > 0:
            gas["ppm"] = max(12.0, gas["ppm"] * math.exp(-0.06))
        else:
            gas["ppm"] = 209_000.0
        return round(gas["ppm"], 1)

    def first(second: int) -> float | str:
        lump.second()
        return lump.probe(second, 0.0)

    shop.sources = {
        probe: first,
        "tc2": lambda second: lump.probe(second, 9.0),
        "flow1": lambda _second: gas["l_min"],
        "oxygen1": purge,
        "room1": lambda second: 21.5 if second % 10 == 0 else None,
    }
    shop.run(30)
    shop.act(act.BeginHeat(heat_id=1, part_id=1))
    shop.run(330)
    lump.plugged = False
    shop.run(3)
    shop.act(act.MovePart(heat_id=1, phase="carry"))
    lump.place = "bench"
    shop.run(30)
    shop.act(act.MovePart(heat_id=1, phase="bench"))
    lump.plugged = True
    shop.run(20)
    gas["l_min"] = 12.0
    shop.act(act.BeginPurge(heat_id=1))
    shop.run(120)
    if clock_step_us:
        shop.offset_us = clock_step_us
        shop.act(act.ClockStepped(offset_us=clock_step_us))
    out_us: list[int] = []
    for _ in range(2):
        lump.arc = True
        shop.act(act.BeginPass(heat_id=1))
        shop.run(45)
        lump.arc = False
        shop.act(act.EndPass(heat_id=1))
        out_us.append(shop.now_us + shop.offset_us)
        shop.run(60)
    shop.act(act.WriteNote(heat_id=1, text="note <b>: slag in the toe", by="Ada"))
    gas["l_min"] = 0.0
    shop.act(act.EndPurge(heat_id=1))
    lump.place = "cover"
    shop.act(act.MovePart(heat_id=1, phase="slow cool"))
    shop.run(320)
    if end:
        shop.act(act.EndHeat(heat_id=1))
    shop.run(20)
    if end:
        shop.act(act.WriteNote(heat_id=1, text="cold, no crack seen"))
        ended_us = out_us[0] - 2_000_000
        shop.act(act.CorrectPass(heat_id=1, number=1, ended_us=ended_us, by="Ada"))


def _tell_again(shop: Recorder, lump: Lump) -> None:
    shop.run(600)
    lump.place = "oven"
    shop.act(act.BeginHeat(heat_id=2, part_id=1))
    shop.run(240)
    lump.place = "bench"
    shop.act(act.MovePart(heat_id=2, phase="bench"))
    shop.run(60)
    shop.act(act.EndHeat(heat_id=2))
    shop.run(5)


def recorded_shelf(tmp_path_factory: pytest.TempPathFactory, **told: Any) -> Iterator[Shelf]:
    """A shelf over a database with the heats that ``record_heat`` tells, for a fixture."""
    path = tmp_path_factory.mktemp("recorded") / "shop.db"
    record_heat(path, **told)
    store = Store.open_to_read(f"sqlite:///{path}")
    yield Shelf(store, lambda: 1_790_100_000_000_000)
    store.close()
