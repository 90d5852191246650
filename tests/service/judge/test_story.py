"""Whole heats told as stories: what the judge says, and that a replay says the same."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from service.judge import actions as act
from service.judge.events import Acted, Advance
from service.readings import Reading


@dataclass
class Casting:
    """A lump that heats towards the oven and loses heat about as a bare 6 kg casting does.

    24 K/min at 350 °C bare (own calculation from natural convection and radiation); a blanket
    leaves a tenth of it.
    """

    temperature_c: float = 20.0
    place: str = "oven"
    plugged: bool = True
    arc: bool = False

    def second(self, t_s: float) -> float | str:
        if self.place == "oven":
            self.temperature_c += (340.0 - self.temperature_c) / 400.0
        else:
            loss = 0.4 * (max(0.0, self.temperature_c - 20.0) / 330.0) ** 1.3
            self.temperature_c -= 0.04 * loss / 0.4 if self.place == "cover" else loss
            if self.arc:
                self.temperature_c += 0.9
        noise = ((int(t_s) * 7919) % 13 - 6) * 0.05
        return round((self.temperature_c + noise) * 4) / 4 if self.plugged else "open-circuit"


LIMITS = act.Limits(
    preheat_min_c=200, interpass_max_c=320, cooling_max_c_per_h=400, oxygen_max_ppm=50
)


@pytest.fixture
def casting() -> Casting:
    return Casting()


@pytest.fixture
def bench(stage, casting):
    """A stage with a part in the oven, its probe and its flow meter speaking."""
    flow = {"l_min": 0.0}
    stage.flow = flow
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.sources = {"tc1": casting.second, "flow1": lambda _t: flow["l_min"]}
    stage.part(
        1,
        {"tc1": "thermocouple", "flow1": "gas flow"},
        LIMITS,
        cavity_volume_l=2.4,
        hose_volume_l=0.3,
    )
    stage.act(act.BeginHeat(heat_id=1, part_id=1))
    return stage


def carry(stage, casting, seconds=40):
    casting.plugged = False
    stage.run(3)
    stage.act(act.MovePart(heat_id=1, phase="carry"))
    casting.place = "bench"
    stage.run(seconds)
    stage.act(act.MovePart(heat_id=1, phase="bench"))
    casting.plugged = True
    stage.run(20)


def test_a_heat_from_the_oven_to_the_slow_cool(bench, casting):
    bench.run(120)
    part = bench.bench_part()
    assert part["verdict"] == "wait"
    assert part["heat"]["window"]["opens_in_s"]["p50"] > 60
    bench.run(600)
    assert "carry it" in bench.bench_part()["next"]

    casting.plugged = False
    bench.run(3)
    bench.act(act.MovePart(heat_id=1, phase="carry"))
    casting.place = "bench"
    bench.run(40)
    carried = bench.bench_part()
    assert carried["verdict"] == carried["heat"]["verdict"] == "unknown"
    assert carried["heat"]["temperature_c"] is None
    assert not bench.alarms, "an unplugged probe in the carry is no fault"

    bench.act(act.MovePart(heat_id=1, phase="bench"))
    casting.plugged = True
    bench.run(3)
    assert bench.bench_part()["heat"]["verdict"] == "unknown", "the probe is still settling"
    bench.run(20)
    part = bench.bench_part()
    assert part["heat"]["verdict"] == "ready"
    assert part["verdict"] == "wait"
    assert "purge" in part["next"]

    bench.flow["l_min"] = 8.0
    bench.act(act.BeginPurge(heat_id=1))
    bench.run(30)
    part = bench.bench_part()
    assert not part["purge"]["clear"]
    assert part["next"].startswith("Wait ")
    window = part["heat"]["window"]["closes_in_s"]
    assert 0 < window["p05"] <= window["p50"] <= window["p95"]
    casting.temperature_c = 300.0
    for _ in range(40):
        bench.run(10)
        if bench.bench_part()["verdict"] == "ready":
            break
        casting.temperature_c = max(casting.temperature_c, 260.0)
    assert bench.bench_part()["verdict"] == "ready"

    bench.act(act.BeginPass(heat_id=1))
    casting.arc = True
    bench.run(20)
    casting.arc = False
    bench.act(act.EndPass(heat_id=1))
    bench.act(act.EndPurge(heat_id=1))
    bench.act(act.MovePart(heat_id=1, phase="slow cool"))
    casting.place = "cover"
    bench.run(150)
    part = bench.bench_part()
    assert part["heat"]["verdict"] == "wait"
    assert part["purge"]["basis"] == "not judged"
    assert "cooling too fast" not in {a["kind"] for a in bench.judge.bench()["alarms"]}
    bench.act(act.EndHeat(heat_id=1))
    assert bench.bench_part()["phase"] == "none"
    assert bench.verdicts[-1].phase == "none"

    assert bench.replayed() == (bench.alarms, bench.verdicts)


def test_replay_does_not_depend_on_where_time_was_told(bench, casting):
    bench.run(100)
    carry(bench, casting)
    bench.run(30)
    told = (bench.alarms, bench.verdicts)
    assert bench.verdicts
    without = [event for event in bench.events if not isinstance(event, Advance)]
    alarms, verdicts = bench.replayed([*without, bench.events[-1]])
    assert (alarms, verdicts) == told
    more = []
    for event in bench.events:
        mono_us = event.stamp.mono_us if isinstance(event, Acted) else event.mono_us
        more += [Advance(mono_us - 700, mono_us), event, Advance(mono_us, 0)]
    assert bench.replayed(more) == told


def test_changing_one_reading_changes_the_verdicts(bench, casting):
    bench.run(900)
    carry(bench, casting)
    bench.run(20)
    events = list(bench.events)
    index = max(i for i, e in enumerate(events) if isinstance(e, Reading) and e.channel == "tc1")
    old = events[index]
    assert old.value > 200
    events[index] = Reading(
        old.channel, old.unit, 199.0, old.quality, old.reason, old.t_us, old.arrived_us,
        old.mono_us, old.seq,
    )  # fmt: skip
    events.append(Advance(old.mono_us + 600_000, 0))
    _, verdicts = bench.replayed(events)
    assert verdicts != bench.verdicts
    assert verdicts[-1].heat == "unknown", "a jump is a new contact: it settles first"
