"""What the judge costs: readings a second through the gate and through the whole judge.

    python tests/bench/judge.py [--channels 16] [--readings 50000]

Prints one line per figure. Not a test: nothing is asserted about time.
"""

from __future__ import annotations

import argparse
import math
import time

from service.judge import actions as act
from service.judge.events import Acted, Advance, Stamp
from service.judge.judge import Judge
from service.physics.cooldown import Cooldown, CooldownPrior
from service.physics.purge import Purge, PurgeSetup
from service.readings import Quality, Reading

START_US = 1_780_000_000_000_000


def gate(channels: int, count: int) -> float:
    """Readings a second through ``Judge.sense`` alone."""
    judge = Judge()
    begun = time.perf_counter()
    for n in range(count):
        value = 250.0 + math.sin(n / 100)
        judge.sense(f"tc{n % channels}", "Cel", value, None, START_US + n * 1000)
    return count / (time.perf_counter() - begun)


def unassigned(channels: int, count: int) -> float:
    """Readings a second through ``Judge.step`` on channels that no heat needs, 10 Hz each."""
    judge = Judge()
    begun = time.perf_counter()
    for n in range(count):
        mono_us = START_US + n * 100_000 // channels
        judge.step(_reading(f"tc{n % channels}", 250.0 + math.sin(n / 100), mono_us))
    return count / (time.perf_counter() - begun)


def welding(rate_hz: int, seconds: int) -> tuple[float, float]:
    """Readings a second, and milliseconds per shop second, with two parts on the bench, each with
    two probes and a purge."""
    judge, probes, meters = Judge(), [], []
    for part in (1, 2):
        _begin(judge, part)
        probes += [f"tc{part}a", f"tc{part}b"]
        meters.append(f"flow{part}")
    count, begun = 0, time.perf_counter()
    for step in range(seconds * rate_hz):
        mono_us = START_US + 1_000_000 + step * 1_000_000 // rate_hz
        t_s = step / rate_hz
        for name in probes:
            judge.step(_reading(name, 300 - 0.3 * t_s + 0.2 * math.sin(7 * t_s), mono_us))
        for name in meters:
            judge.step(_reading(name, 8.0 + 0.1 * math.sin(t_s), mono_us, "l/min"))
        count += len(probes) + len(meters)
        judge.step(Advance(mono_us, mono_us))
    spent_s = time.perf_counter() - begun
    return count / spent_s, 1000 * spent_s / seconds


FOUR = {"tc1": "Cel", "tc2": "Cel", "flow": "l/min", "oxygen": "ppm"}


def four_channels(rate_hz: int, seconds: int) -> tuple[float, float]:
    """A part on the bench with two probes, a meter and an oxygen sensor, all estimators on.

    Readings a second through gate and judge, and processor milliseconds of one shop second."""
    judge, count = Judge(), 0
    _begin(judge, 1, dict(zip(FOUR, ("thermocouple",) * 2 + ("gas flow", "oxygen"), strict=True)))
    begun = time.thread_time()
    for step in range(seconds * rate_hz):
        mono_us = START_US + 1_000_000 + step * 1_000_000 // rate_hz
        t_s = step / rate_hz
        hot_c = 300 - 0.3 * t_s + 0.2 * math.sin(7 * t_s)
        values = (hot_c, hot_c - 5, 8 + 0.1 * math.sin(t_s), 30 + 2e5 * math.exp(-t_s / 20))
        for (name, unit), value in zip(FOUR.items(), values, strict=True):
            quality, reason = judge.sense(name, unit, value, None, mono_us)
            judge.step(Reading(name, unit, value, quality, reason, mono_us, mono_us, mono_us, 1))
            count += 1
    spent_s = time.thread_time() - begun
    return count / spent_s, 1000 * spent_s / seconds


def estimator_updates(seconds: int) -> dict[str, float]:
    """Updates a second of one estimator alone: with one second's reading, as the judge feeds it."""
    cooldown = Cooldown(CooldownPrior("ductile iron", 6.0, 0.15))
    begun = time.thread_time()
    for t_s in range(seconds):
        cooldown.observe(float(t_s), 300 - 0.3 * t_s + 0.2 * math.sin(7 * t_s), 20.0)
    found = {"cooldown": seconds / (time.thread_time() - begun)}
    purge = Purge(PurgeSetup(2.0, limit_ppm=100.0), 0.0)
    begun = time.thread_time()
    for t_s in range(1, seconds):
        purge.observe_flow(float(t_s), 8 + 0.1 * math.sin(t_s))
        purge.observe_oxygen(float(t_s), 30 + 2e5 * math.exp(-t_s / 20))
        purge.advance(float(t_s))
    found["purge"] = (seconds - 1) / (time.thread_time() - begun)
    return found


def _begin(judge: Judge, part: int, kinds: dict[str, str] | None = None) -> None:
    facts = act.PartFacts(name=f"part {part}", mass_kg=6, area_m2=0.15, cavity_volume_l=2)
    limits = act.Limits(preheat_min_c=200, interpass_max_c=320, oxygen_max_ppm=100)
    actions: list[act.Action] = [act.CreatePart(part_id=part, facts=facts, limits=limits)]
    kinds = kinds or {
        f"tc{part}a": "thermocouple",
        f"tc{part}b": "thermocouple",
        f"flow{part}": "gas flow",
    }
    for name, kind in kinds.items():
        actions.append(act.AdoptChannel(channel=name, channel_kind=kind))
        actions.append(act.AssignChannel(channel=name, part_id=part))
    actions.append(act.BeginHeat(heat_id=part, part_id=part, phase="bench"))
    actions.append(act.BeginPurge(heat_id=part))
    for action in actions:
        judge.step(Acted(Stamp(1, START_US, START_US), action))


def _reading(name: str, value: float, mono_us: int, unit: str = "Cel") -> Reading:
    return Reading(name, unit, value, Quality.GOOD, None, mono_us, mono_us, mono_us, 1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--channels", type=int, default=16)
    parser.add_argument("--readings", type=int, default=50_000)
    options = parser.parse_args()
    print(f"gate: {gate(options.channels, options.readings):,.0f} readings/s")
    print(f"judge, no heat: {unassigned(options.channels, options.readings):,.0f} readings/s")
    for rate_hz in (1, 10):
        per_s, per_second_ms = welding(rate_hz, 120)
        print(
            f"judge, two parts purged on the bench, {rate_hz} Hz: {per_s:,.0f} readings/s, "
            f"{per_second_ms:.1f} ms of work per shop second"
        )


if __name__ == "__main__":
    main()
