"""The judge: a pure function of its state and the next event. It never asks a clock.

Time passes in it by itself (see ``events.py``): before an event every tick up to it is worked
through at its own exact time. On every tick the verdicts and alarms are looked at; on whole
seconds the models are fed and asked. So the same readings and actions give the same outcomes, to
the letter, wherever ``Advance`` events were put between them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from service.judge import actions as act
from service.judge import cold_junction
from service.judge.bench import bench_json
from service.judge.channel import FROZEN_FLOOR_US, ChannelTrack, Standing
from service.judge.cold_junction import Junction
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
from service.judge.heat_track import HeatTrack
from service.judge.outlook import BenchJson
from service.judge.room import make_room
from service.judge.sense import SenseState, classify
from service.judge.shop import UNIT_OF_KIND, Channel, Shop
from service.judge.shop_rules import apply
from service.judge.state import JudgeState
from service.readings import ChannelKind, Quality, Reading

SECOND_US = 1_000_000
QUIET_US = 1_200_000_000
"""After 20 min without a live reading or an action nothing changes by time alone any more."""
UNPROVEN = "counted anew: the service was restarted and nobody watched the gas"
CHANGED = "counted anew: the facts of the part were changed"


class Judge:
    """Decides. One thread calls ``step`` and ``bench``; ``sense`` may run in another."""

    def __init__(self, state: JudgeState | None = None, gate: SenseState | None = None) -> None:
        self.state = JudgeState() if state is None else state
        self.gate = SenseState() if gate is None else gate
        for channel in self.state.shop.channels.values():
            self._tell_gate(channel)

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
                track.second(tick_us, state.shop, state.channels, ambient_c)
        self._look(tick_us, outcome)

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
            track.look(now_us, state.shop, state.channels)
            self._report(track, now_us, outcome)
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

    def _track(self, name: str, mono_us: int) -> ChannelTrack:
        channels = self.state.channels
        track = channels.get(name)
        if track is None:
            make_room(channels, self.state.shop.channels, lambda each: each.heard_us or 0)
            track = channels[name] = ChannelTrack(name, mono_us)
        return track

    def _take(self, reading: Reading, outcome: Outcome) -> None:
        state, mono_us = self.state, reading.mono_us
        track = self._track(reading.channel, mono_us)
        before = track.standing(mono_us)
        said = state.shop.channels.get(reading.channel)
        sent = reading
        if said is not None and said.junction is not None and sent.unit == cold_junction.UNIT:
            reading = self._in_degrees(sent, said.junction)
        if not track.take(reading, sent):
            return
        state.active_us = mono_us
        if said is None or said.part_id is None or not state.heats:
            return
        heat = state.shop.heat_of(said.part_id)
        if heat is None:
            return
        after = track.standing(mono_us)
        turned = after is not before
        if after is Standing.GOOD and reading.value is not None:
            turned |= _feed(state.heats[heat.id], said.kind, track, reading.value)
        if turned:  # a verdict must not rest on a reading that has just been taken back
            self._look(mono_us, outcome)

    def _in_degrees(self, sent: Reading, junction: Junction) -> Reading:
        """A voltage as a temperature, by what its terminals say at this moment."""
        if sent.value is None:
            return replace(sent, unit="Cel")
        terminals = self.state.channels[junction.channel]
        live = terminals.standing(sent.mono_us) is Standing.GOOD
        found = junction.temperature_c(sent.value, terminals.good_value if live else None)
        if isinstance(found, str):
            reason = sent.reason if sent.quality is Quality.BAD else found
            return replace(sent, unit="Cel", value=None, quality=Quality.BAD, reason=reason)
        return replace(sent, unit="Cel", value=found)

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
        if self._apply(stamp, action, outcome):
            state.active_us = stamp.mono_us
            self._look(stamp.mono_us, outcome)

    def _apply(self, stamp: Stamp, action: act.Action, outcome: Outcome) -> bool:
        before, offset_us = self._before(action), self.state.shop.offset_us
        if isinstance(action, act.AdoptChannel):
            self._check_unit(action)
        if not apply(self.state.shop, stamp, action):
            return False
        self._channel_known(action, stamp.mono_us)
        if isinstance(action, act.ClockStepped):
            for track in self.state.channels.values():
                track.clock.our_clock_stepped(action.offset_us - offset_us)
        self._react(stamp, action, before, outcome)
        return True

    def _check_unit(self, action: act.AdoptChannel) -> None:
        unit = self._sends(action.channel)
        if action.cold_junction is not None:
            terminals = self._sends(action.cold_junction)
            if terminals not in (None, "Cel"):
                raise Refused(
                    f"Channel {action.cold_junction} sends {terminals}: it cannot tell the "
                    "temperature of a cold junction."
                )
            if unit not in (None, cold_junction.UNIT):
                raise Refused(
                    f"Channel {action.channel} sends {unit}, not a voltage in mV: no thermocouple "
                    "type and no cold junction belong to it."
                )
        elif unit == cold_junction.UNIT and action.channel_kind is ChannelKind.THERMOCOUPLE:
            raise Refused(
                f"Channel {action.channel} sends mV: say also which type the thermocouple is, and "
                "which channel measures its cold junction."
            )
        elif unit is not None and unit not in UNIT_OF_KIND[action.channel_kind]:
            raise Refused(
                f"Channel {action.channel} sends {unit}, which is no {action.channel_kind}."
            )

    def _sends(self, channel: str) -> str | None:
        track = self.state.channels.get(channel)
        return None if track is None else track.sent_unit

    def _tell_gate(self, channel: Channel) -> None:
        if channel.kind is not None:
            self.gate.kinds[channel.name] = channel.kind
        if channel.junction is not None:
            self.gate.junctions[channel.name] = channel.junction
        else:
            self.gate.junctions.pop(channel.name, None)

    def _before(self, action: act.Action) -> act.HeatPhase | None:
        if not isinstance(action, act.MovePart):
            return None
        heat = self.state.shop.heats.get(action.heat_id)
        return None if heat is None else heat.phase

    def _channel_known(self, action: act.Action, mono_us: int) -> None:
        if isinstance(action, act.AdoptChannel):
            for name in (action.channel, action.cold_junction):
                if name is not None:
                    said = self.state.shop.channels[name]
                    self._track(name, mono_us).adopted(said.kind)
                    self._tell_gate(said)
        elif isinstance(action, act.AssignChannel):
            self._track(action.channel, mono_us).new_contact(mono_us)
        elif isinstance(action, act.UpdateTimeTold):
            self._track(action.channel, mono_us).update_us = action.update_us

    def _react(
        self, stamp: Stamp, action: act.Action, before: act.HeatPhase | None, outcome: Outcome
    ) -> None:
        state, mono_us = self.state, stamp.mono_us
        match action:
            case act.AdoptChannel() | act.AssignChannel():
                for track in state.heats.values():
                    track.cooling.pop(action.channel, None)
                    track.fit_channels(state.shop)
            case act.ChangePart():
                self._restart_purges(action.part_id, mono_us, CHANGED)
            case act.BeginHeat():
                self._begin_heat(action, mono_us)
            case act.MovePart() if before is not None:
                state.heats[action.heat_id].moved(before, action.phase, mono_us)
            case act.EndHeat():
                self._end_heat(action.heat_id, mono_us, outcome)
            case act.BeginPurge():
                track = state.heats[action.heat_id]
                track.purge_begins(state.shop.parts[track.part_id], mono_us)
            case act.EndPurge():
                state.heats[action.heat_id].purge_ends(mono_us)
            case act.BeginPass():
                state.heats[action.heat_id].changed(mono_us, "arc on")
            case act.EndPass():
                state.heats[action.heat_id].changed(mono_us, "arc off")
            case act.ServiceStarted():
                self._restart_purges(None, mono_us, UNPROVEN)
            case _:
                pass
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
                track.purge_begins(self.state.shop.parts[track.part_id], mono_us, why)

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


def _feed(heat: HeatTrack, kind: ChannelKind | None, track: ChannelTrack, value: float) -> bool:
    """Hand a good reading to the model it is for; whether gas has come or gone with it."""
    if kind is ChannelKind.THERMOCOUPLE:
        heat.cooling[track.name].take(track.measured_us, value)
    elif kind is ChannelKind.GAS_FLOW and heat.purging is not None:
        return heat.purging.take_flow(value)
    return False
