"""What must never be true of the judge's answer, written down apart from the judge.

Each rule compares the bench answer with what the made-up shop really is and what really arrived.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from service.judge.events import AlarmChange
from service.readings import Quality
from tests.field.judge_welder import Job
from tests.field.judge_world import MOST_JITTER, Sensor

LEGAL = {
    # ISA-18.2 / IEC 62682 (from memory): state before, states after.
    "normal": {"unacknowledged"},
    "unacknowledged": {"unacknowledged", "acknowledged", "returned"},
    "acknowledged": {"acknowledged", "unacknowledged", "normal"},
    "returned": {"unacknowledged", "normal"},
}
LAG_K = 15.0
"""A probe that is further from its metal than this is not settled."""
FALL_K_S = 0.41
"""So fast the metal itself may fall (as in ``judge_world``): a slip of no more between two readings
of a slow node looks like it."""
METAL_K = 12.0
LIMIT_FACTOR = 3.0
"""The bound is at 95 %: one cavity in twenty may be above the limit when it is clear, a little."""
FLOWS_L_MIN = 0.5
GRACE_S = 1.0
BY_HAND_S = 61.0
"""A reading by hand is believed for a minute."""


@dataclass
class Arrived:
    """The newest reading of a channel that reached the judge.

    ``off_k``: How far a probe was from its metal then, by no fault that could mislead [K].
    """

    t_s: float
    value: float | None
    quality: Quality
    off_k: float = 0.0


@dataclass
class Watcher:
    """Remembers what arrived, and judges the judge."""

    arrived: dict[str, Arrived] = field(default_factory=dict)
    alarm_states: dict[int, str] = field(default_factory=dict)
    cells: dict[str, int] = field(default_factory=dict)

    def alarm(self, change: AlarmChange) -> Iterator[str]:
        """Every step of an alarm's life must be in the table, and only news may be spoken."""
        before = self.alarm_states.get(change.alarm_id, "normal")
        cell = f"{before} -> {change.state}"
        self.cells[cell] = self.cells.get(cell, 0) + 1
        if change.state not in LEGAL[before]:
            yield f"alarm step {cell}"
        if change.speak and change.state != "unacknowledged":
            yield f"alarm spoken on {cell}"
        if before != "unacknowledged" and change.state == "unacknowledged" and not change.speak:
            yield f"alarm silent on {cell}"
        self.alarm_states[change.alarm_id] = change.state

    def part(self, job: Job, part: dict[str, Any], channels: dict[str, Any], t_s: float):
        """Every rule about one part at one moment."""
        on_part = [s for s in job.sensors if channels.get(s.name, {}).get("part_id") == job.number]
        yield from self._heat(job, part, channels, on_part, t_s)
        yield from self._purge(job, part, channels, on_part, t_s)
        if part["verdict"] == "ready":
            judged = part["purge"]["basis"] != "not judged"
            if part["heat"]["verdict"] != "ready" or (judged and not part["purge"]["clear"]):
                yield "part ready without heat and purge"

    def _heat(self, job, part, channels, on_part: list[Sensor], t_s: float) -> Iterator[str]:
        # One that was unplugged for the carry stays out of it where another one has come instead;
        # until its node says so its last reading is as fresh and good as any.
        probes = [
            s
            for s in on_part
            if s.what == "probe" and (not s.left_behind or self._fresh_good(s, t_s))
        ]
        verdict = part["heat"]["verdict"]
        if part["pass_running"] and verdict == "stop":
            yield "a bead broken off for its temperature"
        if verdict != "ready":
            return
        if part["phase"] != "bench":
            yield "ready off the bench"
        if not probes and job.by_hand_s > BY_HAND_S:
            yield "ready without a probe"
        for probe in probes:
            if channels[probe.name]["quality"] != "good" or not self._fresh_good(probe, t_s):
                yield "ready on stale, suspect, bad or settling data"
            elif self.arrived[probe.name].off_k > LAG_K + FALL_K_S * probe.interval_s:
                yield "ready on a probe that had not settled"
        low = part["limits"]["in_force"]["preheat_min_c"]
        coldest = job.casting.temperature_c
        frozen = any(t_s <= p.misleads_until_s for p in probes)
        if low is not None and coldest < low - METAL_K and not frozen:
            yield "ready with the metal below preheat"

    def _purge(self, job, part, channels, on_part: list[Sensor], t_s: float) -> Iterator[str]:
        purge = part["purge"]
        if not purge["clear"] and purge["verdict"] != "ready":
            return
        if not purge["running"] or part["limits"]["oxygen_max_ppm"] is None:
            yield "clear without a purge or a limit"
            return
        meters = [sensor for sensor in on_part if sensor.what == "flow"]
        cells = [sensor for sensor in on_part if sensor.what == "oxygen"]
        if not meters and not any(self._fresh_good(cell, t_s) for cell in cells):
            yield "clear without a meter or a sensor"
        for meter in meters:
            if not self._fresh_good(meter, t_s):
                yield "clear on a flow that is not known"
            elif (self.arrived[meter.name].value or 0.0) < FLOWS_L_MIN:
                yield "clear after lost flow"
        unseen = any(t_s - self.arrived[m.name].t_s >= job.casting.no_flow_s > 0 for m in meters)
        if not unseen and job.casting.oxygen_ppm > LIMIT_FACTOR * part["limits"]["oxygen_max_ppm"]:
            yield "clear with air in the cavity"

    def _fresh_good(self, sensor: Sensor, t_s: float) -> bool:
        last = self.arrived.get(sensor.name)
        if last is None or last.quality is not Quality.GOOD:
            return False
        longest_s = math.ceil(MOST_JITTER * sensor.interval_s)  # sent on whole seconds
        return t_s - last.t_s <= max(3.0, 3.0 * longest_s) + GRACE_S
