"""The judge: a pure function of its state and the next event. It never asks a clock.

Time passes in it by itself (see ``events.py``): before an event every tick up to it is worked
through at its own exact time. On every tick the verdicts and alarms are looked at; on whole
seconds the models are fed and asked. So the same readings and actions give the same outcomes, to
the letter, wherever ``Advance`` events were put between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from service.judge import actions as act
from service.judge import lead, signals, trip_effects
from service.judge.bench import bench_json
from service.judge.bottle import heed_bottle, watch_argon
from service.judge.channel import FROZEN_FLOOR_US, Standing
from service.judge.conditions import conditions
from service.judge.events import (
    TICK_US,
    Acted,
    AlarmChange,
    Event,
    Outcome,
    Refused,
    Stamp,
    VerdictChange,
)
from service.judge.fitting import (
    as_judged,
    check_fits,
    feed,
    oxygen_overdue,
    take_by_hand,
    take_up,
    tell_errors,
    tell_gate,
    track_of,
)
from service.judge.heat_track import HeatTrack
from service.judge.outlook import BenchJson
from service.judge.sense import SenseState, classify
from service.judge.shop import Shop
from service.judge.shop_rules import apply
from service.judge.state import JudgeState
from service.readings import ChannelKind, Quality, Reading

SECOND_US = 1_000_000
NOT_RECALLED = (
    *trip_effects.TRIP_ACTIONS,
    act.NextStep,
    act.AnswerQuestion,
    act.AcknowledgeAlarm,
)
"""Actions that need what was seen at the time."""
QUIET_US = 1_200_000_000
"""After 20 min without a live reading or an action nothing changes by time alone any more."""
SIGNALS = frozenset({ChannelKind.ARC, ChannelKind.BUTTON})
"""Channels whose every reading may call for a step."""
UNPROVEN = "counted anew: the service was restarted and nobody watched the gas"
CHANGED = "counted anew: the facts of the part were changed"


class Judge:
    """Decides. One thread calls ``step`` and ``bench``; ``sense`` may run in another."""

    def __init__(self, state: JudgeState | None = None, gate: SenseState | None = None) -> None:
        self.state = JudgeState() if state is None else state
        self.gate = SenseState() if gate is None else gate
        for channel in self.state.shop.channels.values():
            tell_gate(self.gate, channel)

    @property
    def shop(self) -> Shop:
        """What the shop has said, with ``next_part_id`` and ``next_heat_id``; read only."""
        return self.state.shop

    def sense(
        self,
        channel: str,
        unit: str | None,
        value: float | None,
        reason: str | None,
        mono_us: int,
        *,
        t_us: int | None = None,
    ) -> tuple[Quality, str | None]:
        """Quality of an arriving value, before it becomes a reading; see ``sense.classify``."""
        return classify(self.gate, channel, unit, value, reason, mono_us=mono_us, t_us=t_us)

    def recall(self, acted: Acted) -> None:
        """Take in an action of the past whose readings are not replayed.

        For a start from the journal: everything before the oldest heat that is still open is only
        said again, not judged, and raises no alarms.

        Raises:
            Refused: The action was impossible, so the journal is not in order.
        """
        if not isinstance(acted.action, act.AcknowledgeAlarm):
            self._apply(acted.stamp, acted.action, Outcome())

    def remember_alarms(self, changes: Iterable[AlarmChange]) -> None:
        """Take up alarms of the past that still wait for somebody and were not judged again.

        For a start from the journal, after the replay: what a heat that has ended left behind
        unacknowledged must not vanish with a restart.

        Args:
            changes: Every recorded change, oldest first.
        """
        self.state.book.remember(changes)

    def step(self, event: Event) -> Outcome:
        """Let time pass up to the event, then take it in.

        Raises:
            Refused: An action that cannot be done now; nothing has changed but the time.
        """
        state = self.state
        mono_us = event.stamp.mono_us if isinstance(event, Acted) else event.mono_us
        outcome, state.owed = state.owed, Outcome()
        self._pass_time(mono_us, outcome)
        if isinstance(event, Reading):
            self._take(event, outcome)
        elif isinstance(event, Acted):
            try:
                self._act(event.stamp, event.action, outcome)
            except Refused:
                state.owed = outcome
                raise
        return outcome

    def weigh(self, reading: Reading, outcome: Outcome) -> None:
        """``step`` for one of many readings: what it changes is added to ``outcome``."""
        state = self.state
        if state.owed.changed:
            outcome.add(state.owed)
            state.owed = Outcome()
        self._pass_time(reading.mono_us, outcome)
        self._take(reading, outcome)

    def bench(self, recording: bool | None = None) -> BenchJson:
        """The bench answer as of the last event.

        Args:
            recording: Whether readings reach the database, where the caller knows better.
        """
        state = self.state
        return bench_json(state, state.shop.recording if recording is None else recording)

    # --- time -----------------------------------------------------------------------------------

    def _pass_time(self, mono_us: int, outcome: Outcome) -> None:
        state = self.state
        if state.tick_us is None:
            state.tick_us = mono_us // TICK_US * TICK_US
        elif mono_us - state.tick_us < TICK_US:  # no tick in between: nearly every reading
            state.now_us = max(state.now_us, mono_us)
            return
        last_us = mono_us // TICK_US * TICK_US
        while state.tick_us < last_us:
            if self._quiet(state.tick_us):
                state.tick_us = last_us
                break
            state.tick_us += TICK_US
            self._tick(state.tick_us, outcome)
        state.now_us = max(state.now_us, mono_us)

    def _quiet(self, tick_us: int) -> bool:
        state = self.state
        return tick_us - state.active_us > QUIET_US and not state.book.pending()

    def _tick(self, tick_us: int, outcome: Outcome) -> None:
        state = self.state
        state.now_us = tick_us
        if tick_us % SECOND_US == 0:
            ambients = self._ambients(tick_us)
            for track in state.heats.values():
                ambient_c = ambients.get(track.part_id, ambients.get(None))
                tell_errors(state, track)
                track.second(tick_us, state.shop, state.channels, ambient_c)
                self._lead(lead.phase_steps(state, track, tick_us, ambient_c), outcome)
            watch_argon(state, tick_us)
        self._lead(signals.due(state, tick_us), outcome)
        lead.drop_questions(state, tick_us)
        self._look(tick_us, outcome)

    def _lead(self, wanted: Iterator[lead.Wanted], outcome: Outcome) -> bool:
        """Take the steps that nobody tapped; one that cannot be taken now is not."""
        state, taken = self.state, False
        for each in wanted:
            heat = state.shop.heats[each.action.heat_id]
            at_us = min(max(each.at_us, heat.last_us), state.now_us)
            stamp = Stamp(0, at_us, at_us + state.shop.offset_us, each.origin)
            try:
                taken = self._apply(stamp, each.action, outcome) or taken
            except Refused:
                continue
        return taken

    def _ambients(self, now_us: int) -> dict[int | None, float]:
        """Live ambient temperatures [°C] by part; under ``None`` the shop's."""
        found: dict[int | None, float] = {}
        for channel in self.state.shop.channels.values():
            if channel.kind is not ChannelKind.AMBIENT:
                continue
            track = self.state.channels[channel.name]
            if track.standing(now_us) is Standing.GOOD and track.value is not None:
                found.setdefault(channel.part_id, track.value)
        return found

    def _look(self, now_us: int, outcome: Outcome) -> None:
        state = self.state
        state.looked_us = now_us
        for track in state.heats.values():
            track.arc_doubt = lead.doubt_between_passes(state, track.heat_id, now_us)
            track.look(now_us, state.shop, state.channels)
            self._report(track, now_us, outcome)
        state.turns.look(state.shop, state.heats.values())
        named = conditions(state, now_us)
        outcome.alarms += state.book.update(named, now_us, state.shop.offset_us)

    def _report(self, track: HeatTrack, now_us: int, outcome: Outcome) -> None:
        phase = self.state.shop.heats[track.heat_id].phase
        signature = track.signature(phase)
        if signature == track.told or not track.heat or not track.purge or not track.together:
            return
        track.told = signature
        outcome.verdicts.append(
            VerdictChange(
                heat_id=track.heat_id,
                at_us=now_us + self.state.shop.offset_us,
                mono_us=now_us,
                phase=phase,
                verdict=track.together.verdict,
                heat=track.heat.verdict,
                purge=track.purge.verdict,
                text=track.together.next,
            )
        )

    # --- readings -------------------------------------------------------------------------------

    def _take(self, reading: Reading, outcome: Outcome) -> None:
        state, mono_us = self.state, reading.mono_us
        name = reading.channel
        track = state.channels.get(name) or track_of(state, name, mono_us)
        before = track.standing(mono_us)
        said = state.shop.channels.get(name)
        sent = reading
        if said is not None and (said.junction is not None or said.calibration is not None):
            reading = as_judged(state, said, reading)
        if not track.take(reading, sent):
            return
        state.active_us = mono_us
        if said is not None and said.kind in SIGNALS:
            arc_turned = said.kind is ChannelKind.ARC and track.standing(mono_us) is not before
            if self._lead(signals.take(state, said, track, reading), outcome) or arc_turned:
                self._look(mono_us, outcome)
        if said is None or said.part_id is None or not state.heats:
            return
        part_id = said.part_id
        for heat in state.heats.values():
            if heat.part_id == part_id:
                break
        else:
            return
        after = track.standing(mono_us)
        turned = after is not before
        if after is Standing.GOOD and reading.value is not None:
            turned |= feed(heat, said.kind, track, reading.value)
        if turned:  # a verdict must not rest on a reading that has just been taken back
            self._look(mono_us, outcome)

    # --- actions --------------------------------------------------------------------------------

    def _act(self, stamp: Stamp, action: act.Action, outcome: Outcome) -> None:
        state = self.state
        if isinstance(action, act.AcknowledgeAlarm):
            if action.token is None or action.token not in state.shop.tokens:
                change = state.book.acknowledge(
                    action.alarm_id, stamp.mono_us, state.shop.offset_us
                )
                outcome.alarms.append(change)
            apply(state.shop, stamp, action)
            return
        if isinstance(action, act.NextStep | act.AnswerQuestion):
            if state.shop.seen(action.token) is None:
                steps = lead.steps_said(state, action, stamp.mono_us)
                apply(state.shop, stamp, action)
                self._lead(iter(steps), outcome)
                self._acted(stamp.mono_us, outcome)
            return
        if self._apply(stamp, action, outcome):
            self._acted(stamp.mono_us, outcome)

    def _acted(self, mono_us: int, outcome: Outcome) -> None:
        self.state.active_us = mono_us
        self._look(mono_us, outcome)

    def _apply(self, stamp: Stamp, action: act.Action, outcome: Outcome) -> bool:
        before, offset_us = trip_effects.before(self.state, action), self.state.shop.offset_us
        check_fits(self.state, action)
        if not apply(self.state.shop, stamp, action):
            return False
        take_up(self.state, self.gate, action, stamp.mono_us)
        if isinstance(action, act.ClockStepped):
            for track in self.state.channels.values():
                track.clock.our_clock_stepped(action.offset_us - offset_us)
        if before is not None:
            outcome.trips += trip_effects.follow(self.state, stamp, action, before)
        self._react(stamp, action, outcome)
        return True

    def _react(self, stamp: Stamp, action: act.Action, outcome: Outcome) -> None:
        state, mono_us = self.state, stamp.mono_us
        match action:
            case act.AdoptChannel() | act.AssignChannel() | act.CalibrateChannel():
                state.arcs.pop(action.channel, None)
                state.presses.pop(action.channel, None)
                for track in state.heats.values():
                    track.cooling.pop(action.channel, None)
                    track.fit_channels(state.shop)
            case act.ChangePart():
                self._restart_purges(action.part_id, mono_us, CHANGED)
            case act.EnterReading():
                take_by_hand(state, stamp, action)
            case act.BeginHeat():
                self._begin_heat(action, mono_us)
            case act.EndHeat():
                self._end_heat(action.heat_id, mono_us, outcome)
            case act.ServiceStarted():
                self._restart_purges(None, mono_us, UNPROVEN)
                heed_bottle(state, action, mono_us)
            case _:
                heed_bottle(state, action, mono_us)
        self._place_channels()

    def _begin_heat(self, action: act.BeginHeat, mono_us: int) -> None:
        track = self.state.heats[action.heat_id] = HeatTrack(action.heat_id, action.part_id)
        track.fit_channels(self.state.shop)
        if action.phase == "oven":
            track.changed(mono_us, "into oven")

    def _end_heat(self, heat_id: int, mono_us: int, outcome: Outcome) -> None:
        del self.state.heats[heat_id]
        outcome.verdicts.append(
            VerdictChange(
                heat_id=heat_id,
                at_us=mono_us + self.state.shop.offset_us,
                mono_us=mono_us,
                phase="none",
                verdict="unknown",
                heat="unknown",
                purge="unknown",
                text="The heat is over.",
            )
        )

    def _restart_purges(self, part_id: int | None, mono_us: int, why: str) -> None:
        """The gas was not watched, or the cavity is another: the clearing counts anew."""
        for track in self.state.heats.values():
            if track.purging is not None and part_id in (None, track.part_id):
                overdue = oxygen_overdue(self.state, track.part_id, mono_us)
                part = self.state.shop.parts[track.part_id]
                track.purge_begins(part, mono_us, why, sensor_overdue=overdue)

    def _place_channels(self) -> None:
        """Tell the probes where they are: it decides what is odd for them."""
        shop = self.state.shop
        for channel in shop.channels.values():
            heat = None if channel.part_id is None else shop.heat_of(channel.part_id)
            track = self.state.channels[channel.name]
            in_oven = heat is not None and heat.phase == "oven"
            if in_oven != track.in_oven:
                track.in_oven, track.oven_from_c = in_oven, None
            track.heated = in_oven or (heat is not None and heat.pass_running)
            bare = heat is not None and heat.phase in ("bench", "carry")
            track.frozen_after_us = FROZEN_FLOOR_US if bare else 10 * FROZEN_FLOOR_US
