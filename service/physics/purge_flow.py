"""The flow into a cavity between two meter readings: held, corrected, and honest at gaps."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

GAP_S = 3.0
GAP_INTERVALS = 3.0
"""No reading for longer than the greater of these (3 s, 3 usual intervals): the flow is unknown."""

UPSET_SHARE = 0.75
"""A flow fallen to less than this share of its level is an upset."""

_REMEMBERED = 15
"""Intervals remembered to learn the usual one."""


@dataclass(slots=True)
class FlowRecord:
    """What is known of the flow now and what has passed the meter.

    Between readings the last one is held; when the next arrives, the difference to the trapezoid
    through both goes into ``owed_l`` and is made good in the next steps, so that the litres add
    up. When no reading arrives in time, all that was held is owed: it may never have flowed.

    Attributes:
        usual_interval_s: Usual time between readings [s]; ``None`` until learnt.
        at_s: Time of the last reading [s]; ``None`` before the first.
        flow_l_min: Last reading [l/min]; ``None`` when the last one was bad or none came.
        last_known_l_min: Last good reading [l/min].
        by_hand: The last reading was typed, not measured.
        used_l: Argon through the meter so far, trapezoid [l].
        owed_l: Held litres that did not flow (negative: flowed and were not counted) [l].
        lost: The last reading has gone stale.
        level_l_min: The flow's level, by which a further fall is noticed [l/min].
        usual_l_min: The flow of the last few minutes, slow to fall [l/min].
        upset_at_s: When the flow last fell, or was lost [s]; ``None`` if never.
    """

    usual_interval_s: float | None = None
    at_s: float | None = None
    flow_l_min: float | None = None
    last_known_l_min: float = 0.0
    by_hand: bool = False
    used_l: float = 0.0
    owed_l: float = 0.0
    lost: bool = False
    level_l_min: float = 0.0
    usual_l_min: float = 0.0
    upset_at_s: float | None = None
    intervals_s: list[float] = field(default_factory=list)

    @property
    def stale_at_s(self) -> float | None:
        """When the last reading stops being believed [s]; ``None`` while it does not age."""
        if self.at_s is None or self.flow_l_min is None or self.by_hand:
            return None
        return self.at_s + max(GAP_S, GAP_INTERVALS * (self.usual_interval_s or 1.0))

    def observe(self, t_s: float, flow_l_min: float | None, by_hand: bool) -> None:
        """Take a reading at ``t_s``, later than the last."""
        previous, before_s = self.flow_l_min, self.at_s
        if before_s is not None:
            self._learn(t_s - before_s)
        if previous is not None and before_s is not None and not self.lost:
            held_l = previous * (t_s - before_s) / 60.0
            passed_l = (
                0.0
                if flow_l_min is None
                else (previous + flow_l_min) / 2.0 * ((t_s - before_s) / 60.0)
            )
            self._remember_usual(previous, t_s - before_s)
            self.used_l += passed_l
            self.owed_l += held_l - passed_l
        self.at_s, self.flow_l_min, self.by_hand, self.lost = t_s, flow_l_min, by_hand, False
        if flow_l_min is None:
            self.upset_at_s = t_s
            return
        self.last_known_l_min = flow_l_min
        if flow_l_min < UPSET_SHARE * self.level_l_min:
            self.level_l_min, self.upset_at_s = flow_l_min, t_s
        self.level_l_min = max(self.level_l_min, UPSET_SHARE * flow_l_min)

    def lose(self, t_s: float) -> None:
        """The last reading has gone stale: what was held since may not have flowed."""
        if self.flow_l_min is not None and self.at_s is not None and not self.lost:
            self.owed_l += self.flow_l_min * (t_s - self.at_s) / 60.0
            self.upset_at_s = t_s
        self.lost = True

    def current(self) -> float | None:
        """The flow to hold now [l/min]; ``None`` when unknown."""
        return None if self.lost else self.flow_l_min

    def settle(self, dt_s: float) -> float | None:
        """The flow to count for the next ``dt_s`` [l/min], with what is owed made good."""
        flow = self.current()
        if flow is None or flow <= 0 or self.owed_l == 0.0:
            return flow
        passing_l = flow * dt_s / 60.0
        repaid_l = min(max(self.owed_l, -passing_l), passing_l)
        self.owed_l -= repaid_l
        return (passing_l - repaid_l) * 60.0 / dt_s

    def held_l(self, now_s: float) -> float:
        """Litres since the last reading, at its flow [l]."""
        flow = self.current()
        return 0.0 if flow is None or self.at_s is None else flow * (now_s - self.at_s) / 60.0

    def _remember_usual(self, flow_l_min: float, for_s: float) -> None:
        # Quick to rise and slow to fall, so that a fall shows against it.
        blend = 1.0 - math.exp(-for_s / (10.0 if flow_l_min > self.usual_l_min else 120.0))
        self.usual_l_min += blend * (flow_l_min - self.usual_l_min)

    def _learn(self, interval_s: float) -> None:
        self.intervals_s.append(interval_s)
        del self.intervals_s[:-_REMEMBERED]
        ordered = sorted(self.intervals_s)
        self.usual_interval_s = ordered[len(ordered) // 2]
