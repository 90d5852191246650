"""One purge of one part: measured flow and oxygen handed to the purge model, once a second.

Lost flow is seen on the newest reading, not by the model: the moment the meter shows nothing, the
purge is not clear, whatever the model's bound still says. Limits are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from service.judge.channel import ChannelTrack, Standing
from service.judge.shop import Part
from service.physics.purge import Purge, PurgeSetup
from service.readings import Forecast, Spread

NO_FLOW_L_MIN = 0.5
"""Below this a flow meter on a purge shows nothing worth calling flow [l/min]."""
LOST_SHARE = 0.1
"""Below this share of the flow that had been established the gas counts as lost."""
WALL_C = (-50.0, 1400.0)
"""Castings that the purge model believes in [°C]; a probe may read colder and still be taken for
good, and then the last believable one stands."""
LEAST_VOLUME_L = 0.001
"""A cavity said to be smaller is worked out as this one [l]: the safe side."""
SIGMAS_OF_90 = 1.645
"""Standard deviations from the middle to either end of a 90 % interval."""
LEAST_SD_SHARE = 0.1
"""A learnt volume is right within no less than this [1]: the cell's lag is learnt with it."""
ASK_EVERY_S = 5.0
FLOW_SHARE = 0.05
"""The forecast assumes the present flow; one changed by more than this share is a new question."""
START_GRACE_US = 30_000_000
"""A purge begun with no gas for so long has been forgotten at the valve."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One forecast of the model: when it was asked, and on what grounds."""

    at_s: float
    question: tuple[float, str, bool | None]
    flow_l_min: float
    answer: Forecast

    @property
    def ends_soon(self) -> bool:
        left = self.answer.time_left_s
        return left is not None and left.p95 is not None and left.p95 < 2 * ASK_EVERY_S

    def now(self, t_s: float) -> Forecast:
        """The same forecast, counted from ``t_s`` [s]."""
        left = self.answer.time_left_s
        if left is None or t_s <= self.at_s:
            return self.answer
        passed_s = t_s - self.at_s
        low, middle = max(0.0, left.p05 - passed_s), max(0.0, left.p50 - passed_s)
        high = None if left.p95 is None else max(0.0, left.p95 - passed_s)
        return Forecast(Spread(low, middle, high), self.answer.reason)


@dataclass(slots=True)
class PurgeTrack:
    """The purge model of one heat and what it last said.

    Attributes:
        seen_flow: A flow meter or an oxygen sensor has spoken since the purge began.
        established_l_min: The flow that was running [l/min], for judging its loss.
        lost_since_us: Since when the flow has been lost (shop time), ``None`` while it runs.
        doubt: Why the evidence is not good at this moment, ``None`` when it is.
        was_clear: It has been clear in this purge.
        bound_clear: The model's pessimistic bound was below the limit at the last whole second.
        clear: The same, with evidence that is good at this moment.
        unproven: Why the count began anew, for the welder.
        hand_l_min: The flow as somebody read it off and typed it in [l/min].
        volume_margin: Clear by flow: up to how many times the stated volume the cavity may hold.
    """

    model: Purge
    began_us: int
    unproven: str | None = None
    sum_l_min: float = 0.0
    count: int = 0
    flow_l_min: float | None = None
    flow_known: bool = False
    has_flow: bool = False
    has_oxygen: bool = False
    oxygen_known: bool = False
    established_l_min: float = 0.0
    lost_since_us: int | None = None
    doubt: str | None = None
    was_clear: bool = False
    clear: bool = False
    bound_clear: bool = False
    volume_margin: float | None = None
    hand_l_min: float | None = None
    oxygen: Spread | None = None
    clear_in: Forecast | None = None
    asked: Asked | None = None
    told_s: float = 0.0
    troubles: list[str] = field(default_factory=list)
    """What the model finds odd, in words, with what to look at."""
    learnt_words: str | None = None
    """What has been learnt of the cavity, where it is worth a word."""
    argon_words: str | None = None
    """That the bottle will not do, where it will not."""

    def take_flow(self, argon_flow_l_min: float) -> bool:
        """A good flow reading [l/min]; a little below zero is drift and counts as none.

        Returns:
            Whether gas has come or gone with it.
        """
        self.sum_l_min += max(0.0, argon_flow_l_min)
        self.count += 1
        flowed = self.lost_since_us is None and self.established_l_min > 0.0
        return (argon_flow_l_min >= self._enough_l_min) is not flowed

    @property
    def _enough_l_min(self) -> float:
        return max(NO_FLOW_L_MIN, LOST_SHARE * self.established_l_min)

    def look(self, now_us: int, flow: ChannelTrack | None, oxygen: ChannelTrack | None) -> None:
        """Every tick: what the newest readings say, without the model."""
        self.has_flow, self.has_oxygen = flow is not None, oxygen is not None
        self.flow_known = flow is not None and flow.standing(now_us) is Standing.GOOD
        self.oxygen_known = oxygen is not None and oxygen.standing(now_us) is Standing.GOOD
        self.flow_l_min = None
        if flow is not None and self.flow_known and flow.value is not None:
            self.flow_l_min = max(0.0, flow.value)
            self._look_at_flow(now_us, self.flow_l_min)
        self.doubt = self._doubt(now_us, flow, oxygen)
        if self.lost_since_us is not None:
            self.bound_clear = False  # the model must first say so again
        self.clear = self.bound_clear and self.doubt is None

    def _look_at_flow(self, now_us: int, flow_l_min: float) -> None:
        if flow_l_min >= self._enough_l_min:
            self.established_l_min = max(flow_l_min, 0.98 * self.established_l_min)
            self.lost_since_us = None
        elif self.lost_since_us is None:
            self.lost_since_us = now_us

    def _doubt(
        self, now_us: int, flow: ChannelTrack | None, oxygen: ChannelTrack | None
    ) -> str | None:
        if flow is None and oxygen is None and self.hand_l_min is not None:
            return f"the flow was typed in ({self.hand_l_min:g} l/min): an estimate, never a proof"
        if flow is None and oxygen is None:
            return "neither a flow meter nor an oxygen sensor is on the part"
        if self.oxygen_known or self.flow_known:
            if flow is not None and not self.flow_known:
                return f"flow meter {flow.name}: {flow.why(now_us) or 'in doubt'}"
            return None
        missing = flow or oxygen
        name = "" if missing is None else missing.name
        why = None if missing is None else missing.why(now_us)
        return f"{name}: {why or 'in doubt'}"

    def second(
        self,
        now_us: int,
        oxygen: ChannelTrack | None,
        limit_ppm: float | None,
        casting_c: float | None = None,
        *,
        hot_throughout: bool = False,
        open_share: float = 1.0,
    ) -> None:
        """The whole second ``now_us``: hand over what came in it and ask the model.

        Args:
            now_us: Shop time [µs].
            oxygen: The part's oxygen sensor, if it has one.
            limit_ppm: The procedure's oxygen limit [ppm].
            casting_c: The coldest believable probe on the casting [°C]; the last one stands while
                there is none.
            hot_throughout: It came out of the oven in this heat: its walls are about that hot all
                over, not only where a torch was.
            open_share: Share of the joint that may still be open [1].
        """
        t_s = self.told_s = max(self.told_s, now_us / 1e6)
        if casting_c is not None and WALL_C[0] <= casting_c <= WALL_C[1]:
            self.model.observe_wall_temperature(t_s, casting_c, throughout=hot_throughout)
        self.model.joint_open(t_s, open_share)
        if not self.has_flow and self.hand_l_min is not None:
            self.model.observe_flow(t_s, self.hand_l_min, by_hand=True)
        elif not self.flow_known:
            self.model.observe_flow(t_s, None)
        elif self.count:
            self.model.observe_flow(t_s, self.sum_l_min / self.count)
        elif self.model.flow_l_min is None and self.flow_l_min is not None:
            self.model.observe_flow(t_s, self.flow_l_min)  # live, read before the purge began
        self.sum_l_min, self.count = 0.0, 0
        if oxygen is not None:
            known = self.oxygen_known and oxygen.value is not None
            self.model.observe_oxygen(t_s, max(0.0, oxygen.value or 0.0) if known else None)
        self.model.advance(t_s)
        self.oxygen, self.troubles = self.model.oxygen(), self.model.troubles()
        if limit_ppm is None:
            self.clear = self.bound_clear = False
            self.clear_in = self.volume_margin = None
            return
        self.bound_clear = self.model.clear(limit_ppm) and self.lost_since_us is None
        self.clear = self.bound_clear and self.doubt is None
        self.was_clear = self.was_clear or self.clear
        by_flow = self.clear and self.basis == "flow"
        self.volume_margin = self.model.volume_may_be_over(limit_ppm) if by_flow else None
        self._ask(t_s, limit_ppm)

    def _ask(self, t_s: float, limit_ppm: float) -> None:
        """The forecast is costly: asked every few seconds, or when the flow has changed, and
        counted down in between."""
        if self.clear:
            self.clear_in, self.asked = None, None
            return
        question = (limit_ppm, self.basis, None if self.flow_l_min is None else self.flow_l_min > 0)
        flow_l_min = self.flow_l_min or 0.0
        asked = self.asked
        changed = (
            asked is None
            or asked.question != question
            or abs(flow_l_min - asked.flow_l_min) > FLOW_SHARE * asked.flow_l_min
        )
        if asked is None or changed or t_s - asked.at_s >= ASK_EVERY_S or asked.ends_soon:
            asked = self.asked = Asked(t_s, question, flow_l_min, self.model.clear_in(limit_ppm))
        self.clear_in = asked.now(t_s)

    @property
    def basis(self) -> str:
        return self.model.basis

    @property
    def remarks(self) -> list[str]:
        """Troubles, the bottle, and what has been learnt of the cavity."""
        more = [words for words in (self.argon_words, self.learnt_words) if words is not None]
        return [*self.troubles, *more]

    @property
    def has_volume(self) -> bool:
        """A volume is stated, or was learnt in an earlier purge."""
        return self.model.setup.cavity_volume_l is not None

    def learn(self, part: Part) -> None:
        """Once it is clear by the sensor, keep what the cavity behaved as for its next purge."""
        self.learnt_words = None
        if self.basis != "oxygen sensor":
            if part.cavity_volume_l is None and part.learnt_volume_l is not None:
                self.learnt_words = f"by the volume learnt before, {_litres(part.learnt_volume_l)}"
            return
        learnt = self.model.learnt_volume_l() if self.clear else None
        if learnt is None or learnt.p95 is None:
            return
        part.learnt_volume_l = learnt
        stated_l = part.cavity_volume_l
        if stated_l is None:
            self.learnt_words = f"the cavity behaves as {_litres(learnt)}: kept for its next purge"
        elif not learnt.p05 <= stated_l <= learnt.p95:
            self.learnt_words = (
                f"the cavity behaves as {_litres(learnt)}, stated are {stated_l:.2g} l: put the "
                "volume right before a purge by flow alone"
            )

    @property
    def used_l(self) -> float:
        """Argon through the meter since the purge began [l]."""
        return self.model.used_l

    def gone(self, limit_ppm: float | None) -> bool:
        """It was clear, and by the best estimate it is not any more."""
        if limit_ppm is None or not self.was_clear or self.clear or self.doubt is not None:
            return False
        return self.oxygen is None or self.oxygen.p50 >= limit_ppm

    def lost(self, now_us: int) -> bool:
        """The gas was running and is not any more, or never came."""
        if self.lost_since_us is None:
            return False
        if self.established_l_min > 0.0:
            return True
        return now_us - self.began_us >= START_GRACE_US


def _litres(volume_l: Spread) -> str:
    return f"{volume_l.p50:.2g} l ({volume_l.p05:.2g} to {volume_l.p95 or math.inf:.2g})"


def begin_purge(
    part: Part, now_us: int, unproven: str | None = None, *, sensor_overdue: bool = False
) -> PurgeTrack:
    """A purge that starts with the cavity full of air; ``sensor_overdue``: its oxygen sensor should
    have been checked before, so its drift counts double."""
    volume_l, learnt = part.cavity_volume_l, part.learnt_volume_l
    sd_share = None
    if volume_l is None and learnt is not None and learnt.p95 is not None:
        volume_l = learnt.p50
        sd_share = max(math.log(learnt.p95 / learnt.p05) / (2 * SIGMAS_OF_90), LEAST_SD_SHARE)
    if volume_l is not None:
        volume_l = max(volume_l, LEAST_VOLUME_L)
    setup = PurgeSetup(
        cavity_volume_l=volume_l,
        hose_volume_l=part.hose_volume_l,
        limit_ppm=part.oxygen_max_ppm,
        sensor_overdue=sensor_overdue,
        volume_sd_share=None if sd_share is None else min(sd_share, 1.0),
    )
    t_s = now_us / 1e6
    return PurgeTrack(Purge(setup, t_s), now_us, unproven, told_s=t_s)
