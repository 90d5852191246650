"""The welder of the judge's campaign: what one part's heat is put through, by hand and by chance.

He mostly does what a welder does, in order, with random times; now and then he taps something
senseless, which the judge must refuse or live with.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from service.judge import actions as act
from service.judge.hand_actions import KIND_OF_METHOD, LEAST_OFF
from tests.field.judge_world import ROOM_C, Casting, Sensor

Act = Callable[[act.Action], bool]


@dataclass
class Job:
    """One part with everything around it."""

    number: int
    casting: Casting
    limits: act.Limits
    facts: act.PartFacts
    sensors: list[Sensor] = field(default_factory=list)
    heat_id: int = 0
    by_hand_s: float = math.inf
    """How long ago somebody last entered a temperature by hand [s]."""

    def of(self, what: str) -> list[Sensor]:
        return [sensor for sensor in self.sensors if sensor.what == what]


def make_limits(rng: random.Random) -> act.Limits:
    """Hot, cold, one-sided, without oxygen: whatever a procedure may say."""
    low = None if rng.random() < 0.2 else float(rng.randrange(120, 280, 10))
    high = None if rng.random() < 0.25 else (low or 60.0) + rng.choice([40.0, 90.0, 150.0])
    if low is None and high is None:
        high = 150.0
    tube_high = rng.choice([None, None, None, 175.0, 350.0])
    return act.Limits(
        preheat_min_c=low,
        interpass_max_c=high,
        cooling_max_c_per_h=rng.choice([None, 100.0, 400.0]),
        oxygen_max_ppm=rng.choice([None, 50.0, 500.0, 5000.0]),
        tube_interpass_max_c=tube_high,
        governing_side=rng.choice([None, "casting", "tube"]),
        gas_off_below_c=rng.choice([None, 200.0]),
    )


class Welder:
    """Works through heats of one job; ``step`` is called once a second.

    Args:
        job: His part.
        rng: His whims.
        do: Gives an action to the judge; whether it was accepted.
        ready: Whether the page says ready.
        new_heat: A free heat id.
    """

    def __init__(
        self,
        job: Job,
        rng: random.Random,
        do: Act,
        ready: Callable[[], bool],
        new_heat: Callable[[], int],
    ) -> None:
        self.job, self.rng, self.do, self.ready, self.new_heat = job, rng, do, ready, new_heat
        self._work = self._forever()
        self._rest_s = 0.0

    def step(self) -> None:
        self._rest_s -= 1.0
        self.job.by_hand_s += 1.0
        if self._rest_s <= 0.0:
            self._rest_s = next(self._work)

    def _forever(self) -> Iterator[float]:
        while True:
            yield from self._heat()

    def _heat(self) -> Iterator[float]:
        job, rng, casting = self.job, self.rng, self.job.casting
        job.heat_id = self.new_heat()
        hot = job.limits.preheat_min_c is not None
        casting.place = "oven" if hot else "bench"
        casting.oven_c = (job.limits.preheat_min_c or 0.0) + rng.uniform(40, 160)
        begun = self.do(act.BeginHeat(heat_id=job.heat_id, part_id=job.number, phase=casting.place))
        if not begun:
            yield 60.0
            return
        if hot:
            yield from self._oven_and_carry()
        yield from self._purge()
        for _ in range(rng.randint(1, 4)):
            yield from self._pass()
        if job.limits.oxygen_max_ppm is not None and rng.random() < 0.9:
            yield rng.uniform(0, 60)
            self.do(act.EndPurge(heat_id=job.heat_id))
        casting.valve_l_min = 0.0
        yield rng.uniform(1, 120)
        self.do(act.MovePart(heat_id=job.heat_id, phase="slow cool"))
        casting.place = "cover"
        yield rng.uniform(300, 3000)
        self.do(act.EndHeat(heat_id=job.heat_id))
        job.heat_id, casting.place = 0, "bench"
        yield rng.uniform(30, 300)

    def _oven_and_carry(self) -> Iterator[float]:
        job, rng, casting = self.job, self.rng, self.job.casting
        casting.temperature_c = max(casting.temperature_c, casting.oven_c - rng.uniform(20, 200))
        yield rng.uniform(60, 900)
        for probe in job.of("probe"):
            probe.plugged, probe.left_behind = False, True
        yield rng.uniform(0, 5)
        self.do(act.MovePart(heat_id=job.heat_id, phase="carry"))
        casting.place = "carry"
        yield rng.uniform(5, 90) if rng.random() < 0.9 else 400.0
        self.do(act.MovePart(heat_id=job.heat_id, phase="bench"))
        casting.place = "bench"
        for probe in job.of("probe"):
            probe.plugged = True
            if rng.random() < 0.3:  # a cold one is clamped on
                probe.shown = ROOM_C
        yield rng.uniform(1, 20)

    def _purge(self) -> Iterator[float]:
        job, rng, casting = self.job, self.rng, self.job.casting
        if rng.random() < 0.1:
            return
        self.do(act.BeginPurge(heat_id=job.heat_id))
        casting.oxygen_ppm = 209_500.0
        yield rng.uniform(0, 20)
        casting.valve_l_min = rng.uniform(4, 20)
        yield rng.uniform(5, 60)

    def _pass(self) -> Iterator[float]:
        job, rng, casting = self.job, self.rng, self.job.casting
        patience_s = rng.uniform(10, 240)
        while patience_s > 0 and not self.ready():
            patience_s -= 5
            yield 5.0
        if rng.random() < 0.3:
            self._enter()
        taps = not job.of("arc") or rng.random() < 0.3
        if taps and not self.do(act.BeginPass(heat_id=job.heat_id)):
            return
        for _ in range(rng.randint(1, 3)):  # stitches, some close enough to be one pass
            casting.arc = True
            yield rng.uniform(3, 30)
            casting.arc = False
            yield rng.uniform(1, 8)
        if taps:
            self.do(act.EndPass(heat_id=job.heat_id))
        yield rng.uniform(2, 90)

    def _enter(self) -> None:
        """A reading by hand, wrong by no more than its method allows."""
        rng, casting = self.rng, self.job.casting
        method = rng.choice(list(KIND_OF_METHOD))
        true = casting.temperature_c
        if method == "ball meter":
            value = casting.flow_l_min
        elif method == "crayon melted":
            value = max(20.0, true - rng.uniform(0.0, 60.0))
        elif method == "crayon not melted":
            value = true + rng.uniform(0.0, 60.0)
        else:
            floor, share = LEAST_OFF[method]
            value = true + rng.uniform(-1.0, 1.0) * max(floor, share * true)
        entry = act.EnterReading(part_id=self.job.number, method=method, value=round(value, 1))
        if self.do(entry) and method != "ball meter":
            self.job.by_hand_s = 0.0

    def whim(self) -> act.Action:
        """Something that nobody in his senses would tap now."""
        heat_id, rng = self.job.heat_id, self.rng
        return rng.choice(
            [
                act.BeginPass(heat_id=heat_id),
                act.EndPass(heat_id=heat_id),
                act.BeginPurge(heat_id=heat_id),
                act.EndPurge(heat_id=heat_id),
                act.MovePart(heat_id=heat_id, phase=rng.choice(["oven", "bench", "carry"])),
                act.SetLimits(part_id=self.job.number, limits=self.job.limits),
                act.AssignChannel(channel=rng.choice(self.job.sensors).name, part_id=None),
                act.AcknowledgeAlarm(alarm_id=rng.randint(0, 9)),
                act.EndHeat(heat_id=heat_id),
                act.NextStep(heat_id=heat_id),
                act.UndoStep(heat_id=heat_id, number=rng.randint(1, 9)),
            ]
        )
