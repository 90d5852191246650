"""The life of an alarm: a table of state and event, delays, a deadband, and one alarm per cause.

States are those of ISA-18.2 / IEC 62682 (from memory): normal, unacknowledged, acknowledged,
returned (to normal unacknowledged). ``TABLE`` is the whole life; an event that is not in it for a
state is illegal, raises and changes nothing. Sounding again until somebody acknowledges is the
notifier's affair; the judge says when an alarm begins, worsens and ends.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from service.judge.events import AlarmChange, AlarmKind, AlarmState, Refused
from service.judge.words import listed


class AlarmEvent(StrEnum):
    """What can happen to an alarm."""

    RAISE = "raise"
    WORSEN = "worsen"
    CLEAR = "clear"
    ACKNOWLEDGE = "acknowledge"


TABLE: dict[tuple[AlarmState, AlarmEvent], AlarmState] = {
    ("normal", AlarmEvent.RAISE): "unacknowledged",
    ("unacknowledged", AlarmEvent.WORSEN): "unacknowledged",
    ("unacknowledged", AlarmEvent.CLEAR): "returned",
    ("unacknowledged", AlarmEvent.ACKNOWLEDGE): "acknowledged",
    ("acknowledged", AlarmEvent.WORSEN): "unacknowledged",
    ("acknowledged", AlarmEvent.CLEAR): "normal",
    ("returned", AlarmEvent.RAISE): "unacknowledged",
    ("returned", AlarmEvent.ACKNOWLEDGE): "normal",
}
SPEAKS = frozenset({AlarmEvent.RAISE, AlarmEvent.WORSEN})


class IllegalStep(ValueError):
    """An event that an alarm in this state cannot have."""


def next_state(state: AlarmState, event: AlarmEvent) -> AlarmState:
    """The state after an event; raises ``IllegalStep`` where the table has none."""
    after = TABLE.get((state, event))
    if after is None:
        raise IllegalStep(f"an alarm that is {state} cannot {event}")
    return after


@dataclass(frozen=True, slots=True)
class Timing:
    """How long a condition must hold before it alarms, and be gone before it returns [µs]."""

    on_us: int
    off_us: int
    worse_by: float
    """Growth of the severity (unit of the kind) that makes it speak again."""


def _s(seconds: float) -> int:
    return int(seconds * 1e6)


TIMINGS: dict[AlarmKind, Timing] = {
    # A bare casting loses 24 K/min: 5 s are 2 K, and a minute would be the whole margin.
    "below preheat": Timing(_s(5), _s(10), worse_by=15.0),
    # The arc's own heat must spread first; nobody is harmed by waiting 10 s for the alarm.
    "above interpass": Timing(_s(10), _s(5), worse_by=25.0),
    # The rate is taken over a minute or two; its own confidence is the filter. Half as fast
    # again is worse (the severity is a logarithm to the base 1.5).
    "cooling too fast": Timing(_s(10), _s(30), worse_by=1.0),
    # The root colours within seconds: long enough to ride out one odd meter reading, no more.
    "purge lost": Timing(_s(2), _s(5), worse_by=1.0),
    # The cell is slow already (a quarter of a minute and more); two readings ride out a glitch.
    # A percent further from the limit is worse.
    "room oxygen": Timing(_s(2), _s(10), worse_by=1.0),
    # Arc starts and loose plugs make short faults; those are counted, not sounded.
    "sensor fault": Timing(_s(5), _s(5), worse_by=1.0),
    # Staleness has already waited three seconds or three readings.
    "no data": Timing(_s(2), _s(3), worse_by=1.0),
    "not recording": Timing(0, 0, worse_by=1.0),
}
"""Defaults (common practice, no source; ISA-18.2's usual 60 s for temperature is too slow here)."""

GROUP_US = 10_000_000
"""Channels failing within so short a time have one cause (a node unplugged): one alarm."""
GROUPED: frozenset[AlarmKind] = frozenset({"no data", "sensor fault"})
ID_EPOCH_S = 1_735_689_600
"""2025-01-01 UTC: alarm ids are seconds since then, so that they need no counter in the database
and stay the same when a replay starts later."""


@dataclass(frozen=True, slots=True)
class Condition:
    """What is known of one possible alarm at this moment.

    Attributes:
        holds: The limit is violated; ``None``: the input is missing, nothing is known.
        clears: Not only not violated but beyond the deadband.
        severity: How bad, in the kind's own unit.
        text: What is wrong.
        advice: What to do about it, where something can be said.
        on_us: On-delay where the usual one does not fit [µs].
    """

    kind: AlarmKind
    part_id: int | None
    channel: str | None
    holds: bool | None
    text: str
    clears: bool = True
    severity: float = 0.0
    on_us: int | None = None
    advice: str | None = None

    @property
    def said(self) -> str:
        """What is wrong and what to do, in one sentence."""
        return self.text if self.advice is None else f"{self.text}: {self.advice}"

    @property
    def key(self) -> tuple[AlarmKind, int | None, str | None]:
        return (self.kind, self.part_id, self.channel)


Key = tuple[AlarmKind, int | None, str | None]


@dataclass(slots=True)
class Alarm:
    """A raised alarm; ``members`` are the conditions that still hold it up."""

    id: int
    kind: AlarmKind
    part_id: int | None
    channel: str | None
    state: AlarmState
    since_us: int
    raised_mono_us: int
    text: str
    severity: float
    members: list[Key] = field(default_factory=list)
    advice: str | None = None


@dataclass(slots=True)
class Watch:
    """Delays of one condition: since when it has held, or been gone [µs of shop time]."""

    holding_since_us: int | None = None
    gone_since_us: int | None = None
    alarm_id: int | None = None


@dataclass(slots=True)
class AlarmBook:
    """All alarms that are not normal, and the timers of conditions that may become one."""

    alarms: dict[int, Alarm] = field(default_factory=dict)
    watches: dict[Key, Watch] = field(default_factory=dict)
    last_id: int = 0

    def update(
        self, conditions: list[Condition], mono_us: int, offset_us: int
    ) -> list[AlarmChange]:
        """Work through what is known at ``mono_us``.

        A condition that held an alarm up and is not named at all has lost its subject (the heat
        ended, the channel was taken off): it is withdrawn at once. One whose input is missing
        (``holds`` is ``None``) keeps whatever it had.
        """
        changes: list[AlarmChange] = []
        at = (mono_us, mono_us + offset_us)
        named = set()
        for condition in conditions:
            named.add(condition.key)
            self._consider(condition, at, changes)
        for key in [key for key in self.watches if key not in named]:
            self._withdraw(key, at, changes)
        return changes

    def acknowledge(self, alarm_id: int, mono_us: int, offset_us: int) -> AlarmChange:
        """Somebody has seen it; raises ``Refused`` when there is nothing to acknowledge."""
        alarm = self.alarms.get(alarm_id)
        if alarm is None:
            raise Refused(f"There is no alarm {alarm_id} to acknowledge.")
        if alarm.state == "acknowledged":
            raise Refused("That alarm is already acknowledged.")
        return self._step(alarm, AlarmEvent.ACKNOWLEDGE, (mono_us, mono_us + offset_us))

    def remember(self, changes: Iterable[AlarmChange]) -> None:
        """Take up recorded alarms that nobody acknowledged and no condition holds up now."""
        for change in {change.alarm_id: change for change in changes}.values():
            self.last_id = max(self.last_id, change.alarm_id)
            if change.state in ("normal", "acknowledged") or change.alarm_id in self.alarms:
                continue
            self.alarms[change.alarm_id] = Alarm(
                change.alarm_id, change.kind, change.part_id, change.channel, "returned",
                change.since_us, change.mono_us, change.text, 0.0,
            )  # fmt: skip

    def pending(self) -> bool:
        """Some delay is running, so that time alone will change something."""
        return any(
            (watch.holding_since_us is not None and watch.alarm_id is None)
            or watch.gone_since_us is not None
            for watch in self.watches.values()
        )

    def active(self, kind: AlarmKind, part_id: int | None, channel: str | None) -> bool:
        """This condition holds an alarm up now (raised and not yet returned)."""
        watch = self.watches.get((kind, part_id, channel))
        return watch is not None and watch.alarm_id is not None

    def _consider(
        self, condition: Condition, at: tuple[int, int], changes: list[AlarmChange]
    ) -> None:
        watch = self.watches.get(condition.key)
        if watch is None:
            if not condition.holds:
                return
            watch = self.watches[condition.key] = Watch()
        if condition.holds is None and watch.alarm_id is None:
            del self.watches[condition.key]
        elif condition.holds is None:
            watch.gone_since_us = None
        elif condition.holds:
            self._consider_holding(condition, watch, at, changes)
        elif watch.alarm_id is None:
            del self.watches[condition.key]
        elif not condition.clears:
            watch.gone_since_us = None
        else:
            if watch.gone_since_us is None:
                watch.gone_since_us = at[0]
            if at[0] - watch.gone_since_us >= TIMINGS[condition.kind].off_us:
                self._release(condition.key, at, changes)

    def _consider_holding(
        self,
        condition: Condition,
        watch: Watch,
        at: tuple[int, int],
        changes: list[AlarmChange],
    ) -> None:
        watch.gone_since_us = None
        if watch.holding_since_us is None:
            watch.holding_since_us = at[0]
        timing = TIMINGS[condition.kind]
        if watch.alarm_id is not None:
            alarm = self.alarms[watch.alarm_id]
            if len(alarm.members) == 1:
                alarm.text, alarm.advice = condition.said, condition.advice
            if condition.severity >= alarm.severity + timing.worse_by:
                alarm.severity = condition.severity
                changes.append(self._step(alarm, AlarmEvent.WORSEN, at))
            return
        on_us = timing.on_us if condition.on_us is None else condition.on_us
        if at[0] - watch.holding_since_us >= on_us:
            self._raise(condition, watch, at, changes)

    def _raise(
        self,
        condition: Condition,
        watch: Watch,
        at: tuple[int, int],
        changes: list[AlarmChange],
    ) -> None:
        if condition.kind in GROUPED and self._join(condition, watch, at, changes):
            return
        alarm = self._returned(condition)
        if alarm is None:
            alarm = Alarm(
                self._new_id(at[0]), condition.kind, condition.part_id, condition.channel,
                "normal", at[1], at[0], condition.said, condition.severity,
            )  # fmt: skip
            self.alarms[alarm.id] = alarm
        alarm.part_id, alarm.channel = condition.part_id, condition.channel
        alarm.since_us, alarm.raised_mono_us = at[1], at[0]
        alarm.text, alarm.advice = condition.said, condition.advice
        alarm.severity = condition.severity
        alarm.members = [condition.key]
        watch.alarm_id = alarm.id
        changes.append(self._step(alarm, AlarmEvent.RAISE, at))

    def _returned(self, condition: Condition) -> Alarm | None:
        """The same condition's earlier alarm, if it still waits to be acknowledged."""
        for alarm in self.alarms.values():
            same = (alarm.kind, alarm.part_id, alarm.channel) == condition.key
            if same and alarm.state == "returned":
                return alarm
        return None

    def _join(
        self,
        condition: Condition,
        watch: Watch,
        at: tuple[int, int],
        changes: list[AlarmChange],
    ) -> bool:
        for alarm in self.alarms.values():
            fresh = at[0] - alarm.raised_mono_us <= GROUP_US and alarm.state != "returned"
            if alarm.kind != condition.kind or not fresh:
                continue
            alarm.members.append(condition.key)
            if alarm.part_id != condition.part_id:
                alarm.part_id = None
            alarm.text, alarm.advice = _group_text(alarm), None
            watch.alarm_id = alarm.id
            if alarm.state == "acknowledged":  # he has not seen this one
                changes.append(self._step(alarm, AlarmEvent.WORSEN, at))
            else:
                changes.append(_change(alarm, at, speak=False))
            return True
        return False

    def _withdraw(self, key: Key, at: tuple[int, int], changes: list[AlarmChange]) -> None:
        if self.watches[key].alarm_id is None:
            del self.watches[key]
        else:
            self._release(key, at, changes)

    def _release(self, key: Key, at: tuple[int, int], changes: list[AlarmChange]) -> None:
        alarm_id = self.watches.pop(key).alarm_id
        if alarm_id is None:
            return
        alarm = self.alarms[alarm_id]
        alarm.members.remove(key)
        if not alarm.members:
            changes.append(self._step(alarm, AlarmEvent.CLEAR, at))
        else:  # one of a group is well again: the text names those that are not
            alarm.text = _group_text(alarm)
            changes.append(_change(alarm, at, speak=False))

    def _step(self, alarm: Alarm, event: AlarmEvent, at: tuple[int, int]) -> AlarmChange:
        alarm.state = next_state(alarm.state, event)
        if alarm.state == "normal":
            del self.alarms[alarm.id]
        return _change(alarm, at, speak=event in SPEAKS)

    def _new_id(self, mono_us: int) -> int:
        self.last_id = max(self.last_id + 1, mono_us // 1_000_000 - ID_EPOCH_S)
        return self.last_id


def _group_text(alarm: Alarm) -> str:
    return f"{alarm.kind}: {listed([key[2] or '' for key in alarm.members])}"


def _change(alarm: Alarm, at: tuple[int, int], speak: bool) -> AlarmChange:
    return AlarmChange(
        alarm_id=alarm.id, kind=alarm.kind, part_id=alarm.part_id, channel=alarm.channel,
        state=alarm.state, since_us=alarm.since_us, at_us=at[1], mono_us=at[0],
        text=alarm.text, speak=speak,
    )  # fmt: skip
