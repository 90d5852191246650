"""One heat as the judge follows it: its probes, its purge, and the verdicts it has now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from service.judge.actions import HeatPhase
from service.judge.ahead import Ahead
from service.judge.by_hand import HOLDS_US, hand_flow_l_min, tell_model
from service.judge.channel import ChannelTrack, Standing
from service.judge.cooling import MOVES, CoolingTrack, begin_cooling
from service.judge.hand_actions import EnterReading
from service.judge.heat_verdict import (
    HeatFinding,
    HeatView,
    ProbeView,
    beside,
    judge_heat,
    spread_s,
)
from service.judge.joint_cover import open_share
from service.judge.joint_limits import in_force
from service.judge.phases import PhaseWatch
from service.judge.probe_views import hand_views, probe_view, the_one
from service.judge.purge_verdict import PurgeFinding, PurgeView, judge_purge
from service.judge.purging import NO_FLOW_L_MIN, PurgeTrack, begin_purge
from service.judge.root import Root
from service.judge.shop import Heat, Part, Shop
from service.judge.spreads import earliest, latest
from service.judge.together import PartView, Together, judge_together
from service.judge.words import without_numbers
from service.physics.cooldown import Change, Level, Rate
from service.readings import ChannelKind, Forecast

CARRY_LIMIT_S = 300.0
"""An unplugged probe is an expected gap for so long after the oven, then a fault (practice)."""
COVER_SETTLE_S = 60.0
"""A cover must warm up before the part cools slowly under it: the rate is measured from then on
(common practice, no source)."""
STAYED_PLUGGED_S = 30.0
"""A probe that still speaks so long after the landing will not be unplugged any more (practice)."""
SLOW_ASK_S = 5
"""In the oven and under cover nothing is urgent: forecasts every so many seconds."""

Tracks = Mapping[str, ChannelTrack]


@dataclass(slots=True)
class HeatTrack:
    """What the judge keeps of one open heat. Times are shop time [µs].

    Attributes:
        cooling: The cooldown model of each probe, by channel name.
        ambient_c: Air of the shop, where it is measured now [°C].
        gap_since_us: Since when the probes may be unplugged for the carry; ``None``: not.
        gone, back: Probes that have been unplugged since, and those that have come back.
        carry_max_s: How long the probes may be unplugged for the carry [s].
        watch: What the readings show of the part's trip.
        arc_doubt: Why the arc is not known to be out; ``None``: it is, or a pass runs.
        was_hot: The part has been at preheat in this heat.
        heat, purge, together: The newest verdicts.
        closes, opens, rate, level: What they rest on, for the whole part.
        rate_channel: The probe whose rate it is.
        told: What was last reported of the verdicts, numbers masked.
        spreading: The arc is out and the heat of the bead has not spread yet: interpass cannot be
            judged.
        hand_cooling: The cooldown model of each place where readings are taken by hand.
        root: How hot the welded root is, while it must stay under gas.
        ahead: The soak in the oven, the bare hand under the cover.
    """

    heat_id: int
    part_id: int
    cooling: dict[str, CoolingTrack] = field(default_factory=dict)
    ambient_c: float | None = None
    purging: PurgeTrack | None = None
    gap_since_us: int | None = None
    gone: list[str] = field(default_factory=list)
    back: list[str] = field(default_factory=list)
    carry_max_s: float = CARRY_LIMIT_S
    watch: PhaseWatch = field(default_factory=PhaseWatch)
    arc_doubt: str | None = None
    was_hot: bool = False
    heat: HeatFinding | None = None
    purge: PurgeFinding | None = None
    together: Together | None = None
    closes: Forecast | None = None
    opens: Forecast | None = None
    rate: Rate | None = None
    rate_channel: str | None = None
    level: Level | None = None
    told: tuple[str, ...] = ()
    spreading: bool = False
    root: Root = field(default_factory=Root)
    ahead: Ahead = field(default_factory=Ahead)
    hand_cooling: dict[str, CoolingTrack] = field(default_factory=dict)

    # --- what is said ---------------------------------------------------------------------------

    def fit_channels(self, shop: Shop) -> None:
        """Follow the probes that are on the part now; one that left or came starts anew."""
        names = [c.name for c in shop.channels_of(self.part_id, ChannelKind.THERMOCOUPLE)]
        for gone in [name for name in self.cooling if name not in names]:
            del self.cooling[gone]
        for name in names:
            if name not in self.cooling:
                self.cooling[name] = begin_cooling(name, shop.parts[self.part_id])

    def changed(self, mono_us: int, *changes: Change) -> None:
        """Something known to change the cooling of every probe happened."""
        for cooling in (*self.cooling.values(), *self.hand_cooling.values()):
            cooling.changed(mono_us, changes)

    def hand_entered(self, action: EnterReading, part: Part, mono_us: int) -> None:
        """A temperature typed in by hand, for its own place's model."""
        if action.channel not in self.hand_cooling:
            self.hand_cooling[action.channel] = begin_cooling(action.channel, part)
        cooling = self.hand_cooling[action.channel]
        tell_model(cooling, action, mono_us)
        cooling.forget_answers()

    def moved(self, before: HeatPhase, after: HeatPhase, mono_us: int) -> None:
        """The part changed place."""
        self.changed(mono_us, *MOVES[before, after])
        self.closes = self.opens = self.rate = None
        if before != "oven":  # on the carry the oven's last level is all there is
            self.level = None
        if after == "carry" or (before == "oven" and after == "bench"):
            self.gap_since_us, self.gone, self.back = mono_us, [], []
        elif after != "bench":
            self.gap_since_us = None

    def purge_begins(
        self,
        part: Part,
        mono_us: int,
        unproven: str | None = None,
        *,
        sensor_overdue: bool = False,
    ) -> None:
        self.purging = begin_purge(part, mono_us, unproven, sensor_overdue=sensor_overdue)
        self.changed(mono_us, "purge on")

    def purge_ends(self, mono_us: int) -> None:
        self.purging = None
        self.changed(mono_us, "purge off")
        for cooling in self.cooling.values():
            cooling.flow(mono_us, 0.0)

    # --- what is seen ---------------------------------------------------------------------------

    def gap_expected(self, now_us: int, channel: str) -> bool:
        """This probe may be silent or unplugged because the part is being carried."""
        since_us = self.gap_since_us
        if since_us is None or channel in self.back:
            return False
        return now_us - since_us <= self.carry_max_s * 1e6

    def present(self, phase: HeatPhase) -> list[str]:
        """The part's probes, without those that are not on it in this phase of the trip."""
        return [name for name in sorted(self.cooling) if not self.watch.absent(name, phase)]

    def _follow_gap(self, now_us: int, heat: Heat, tracks: Tracks) -> None:
        """A probe that was unplugged and speaks again is back: its next silence is a fault. So is
        one that never was unplugged, some time after the part was put down."""
        if self.gap_since_us is None:
            return
        landed_us = now_us - heat.phase_since_us if heat.phase == "bench" else 0
        for name in self.cooling:
            speaks = tracks[name].standing(now_us) in (Standing.GOOD, Standing.SETTLING)
            if not speaks and name not in self.gone:
                self.gone.append(name)
            stayed = landed_us > STAYED_PLUGGED_S * 1e6
            if speaks and name not in self.back and (name in self.gone or stayed):
                self.back.append(name)

    def second(self, now_us: int, shop: Shop, tracks: Tracks, ambient_c: float | None) -> None:
        """The whole second ``now_us``: feed the models and ask them."""
        self.ambient_c = ambient_c
        heat, part = shop.heats[self.heat_id], shop.parts[self.part_id]
        if self.purging is not None:
            oxygen = the_one(shop, tracks, self.part_id, ChannelKind.OXYGEN)
            self.purging.model.arc(on=heat.pass_running)
            self.purging.second(
                now_us,
                oxygen,
                part.oxygen_max_ppm,
                self._coldest_c(now_us, tracks),
                hot_throughout=any(span.phase == "oven" for span in heat.phases),
                open_share=open_share(heat, part),
            )
            self.purging.learn(part)
        covered_s = (now_us - heat.phase_since_us) / 1e6
        for name, cooling in self.cooling.items():
            cooling.second(now_us, tracks[name], None if heat.phase == "oven" else ambient_c)
            if heat.phase == "slow cool" and covered_s < COVER_SETTLE_S:
                cooling.measured.begin_anew()
            if self.purging is not None and self.purging.flow_l_min is not None:
                cooling.flow(now_us, self.purging.flow_l_min)
        self._ask(now_us, heat, part, tracks)

    def _coldest_c(self, now_us: int, tracks: Tracks) -> float | None:
        """The coldest of the part's probes that can be believed now [°C]."""
        seen = [tracks[name] for name in self.cooling]
        good = [
            t.value for t in seen if t.standing(now_us) is Standing.GOOD and t.value is not None
        ]
        return min(good, default=None)

    def _ask(self, now_us: int, heat: Heat, part: Part, tracks: Tracks) -> None:
        slow = heat.phase in ("oven", "slow cool")
        if slow and now_us // 1_000_000 % SLOW_ASK_S and self.level is not None:
            return
        present = self.present(heat.phase)
        for name, cooling in self.cooling.items():
            if name not in present:
                cooling.forget_answers()
                continue
            live = tracks[name].standing(now_us) is Standing.GOOD
            if live or self.gap_expected(now_us, name):
                cooling.ask(now_us, part, heat.phase)
            else:
                cooling.forget_answers()
        for cooling in self.hand_cooling.values():
            if now_us - cooling.told_s * 1e6 <= HOLDS_US:
                cooling.ask(now_us, part, heat.phase)
            else:
                cooling.forget_answers()
        self._combine(heat.phase, now_us)
        self._ask_root(now_us)

    def _ask_root(self, now_us: int) -> None:
        """When the gas may go off; costly, and only asked while somebody waits for it."""
        root, limit_c = self.root, self.root.gas_off_below_c
        cooling = self.cooling.get(root.channel or "")
        if not root.needs_gas or limit_c is None or cooling is None or self.purging is None:
            root.cool_in = None
        elif root.cool_in is None or now_us // 1_000_000 % SLOW_ASK_S == 0:
            at_s = max(cooling.told_s, now_us / 1e6)
            root.cool_in = cooling.model.until_below(limit_c, at_s)

    def _combine(self, phase: HeatPhase, now_us: int) -> None:
        probes = [self.cooling[name] for name in self.present(phase)]
        probes += [c for c in self.hand_cooling.values() if c.level is not None]
        self.closes = earliest([c.closes for c in probes]) if phase in ("carry", "bench") else None
        self.opens = None
        if phase == "oven":
            self.opens = latest([c.opens for c in probes])
        elif self.heat is not None and self.heat.above:
            above = [c.below_interpass for c in probes if c.below_interpass is not None]
            self.opens = latest(above) if above else None
        self.ahead.ask(now_us, phase, self.opens, [c.touch for c in probes])
        known = [c for c in probes if c.level is not None]
        coldest = min(known, key=lambda c: c.level.temperature_c if c.level else 0.0, default=None)
        self.level = None if coldest is None else coldest.level
        shown = coldest
        if phase == "slow cool":  # the limit is for every probe: the fastest governs
            measured = [c for c in probes if c.rate is not None]
            shown = min(measured, key=lambda c: c.rate.c_per_h if c.rate else 0.0, default=None)
        self.rate = None if shown is None else shown.rate
        self.rate_channel = None if shown is None else shown.channel

    def look(self, now_us: int, shop: Shop, tracks: Tracks) -> None:
        """Every tick and after every action: judge what is known now."""
        heat, part = shop.heats[self.heat_id], shop.parts[self.part_id]
        self.carry_max_s = part.carry_max_s or CARRY_LIMIT_S
        if self.purging is not None:
            flow = the_one(shop, tracks, self.part_id, ChannelKind.GAS_FLOW)
            oxygen = the_one(shop, tracks, self.part_id, ChannelKind.OXYGEN)
            self.purging.hand_l_min = hand_flow_l_min(shop, self.part_id, heat.began_us)
            self.purging.look(now_us, flow, oxygen)
        self._follow_gap(now_us, heat, tracks)
        probes = self.views(now_us, shop, tracks)
        all_good = bool(probes) and all(p.temperature_c is not None for p in probes)
        wired = [self.cooling[p.channel] for p in probes if p.channel in self.cooling]
        if heat.phase == "bench" and all_good and len(self.back) >= len(wired):
            self.gap_since_us = None
        unasked = any(cooling.asked_us is None for cooling in wired)
        if heat.phase == "bench" and all_good and unasked:
            # It has settled within this second; the forecast comes with the next.
            self.closes = Forecast(None, "the probe has only just settled")
        self.heat = judge_heat(self._heat_view(now_us, heat, part, probes))
        low_c = in_force(part).preheat_min_c
        if all_good and self.heat.temperature_c is not None and low_c is not None:
            self.was_hot = self.was_hot or self.heat.temperature_c >= low_c
        self.root.look(heat, part, probes)
        self.ahead.look(now_us, heat.phase, self.heat.temperature_c, low_c)
        self.purge = judge_purge(self._purge_view(now_us, heat, part))
        clear_in = None if self.purging is None else self.purging.clear_in
        self.together = judge_together(
            PartView(
                phase=heat.phase,
                pass_running=heat.pass_running,
                heat=self.heat,
                purge=self.purge,
                window_s=None if self.closes is None else self.closes.time_left_s,
                clear_in_s=None if clear_in is None else clear_in.time_left_s,
            )
        )

    def views(self, now_us: int, shop: Shop, tracks: Tracks) -> list[ProbeView]:
        """The part's probes as they stand at ``now_us``."""
        heat = shop.heats[self.heat_id]
        wired = [
            probe_view(tracks[name], now_us, shop.channels[name].from_joint_mm)
            for name in self.present(heat.phase)
        ]
        by_hand = list(hand_views(shop, self.part_id, now_us, heat.began_us))
        # A wired probe speaks for itself; what was read by hand a while ago does not spoil it.
        return [*wired, *(v for v in by_hand if not wired or v.temperature_c is not None)]

    def _heat_view(self, now_us: int, heat: Heat, part: Part, probes: list[ProbeView]) -> HeatView:
        before = self.heat
        above = before is not None and before.above and heat.phase == "bench"
        limits = in_force(part)
        arc_out_s = None if heat.arc_out_us is None else (now_us - heat.arc_out_us) / 1e6
        rising = arc_out_s is not None and any(
            self.cooling[probe.channel].measured.rising(now_us / 1e6)
            for probe in beside(probes)
            if probe.channel in self.cooling
        )
        wait_s = spread_s(part.joint_wall_mm)
        self.spreading = rising or (arc_out_s is not None and arc_out_s < wait_s)
        self.spreading = self.spreading or self.arc_doubt is not None
        return HeatView(
            phase=heat.phase,
            pass_running=heat.pass_running,
            probes=probes,
            preheat_min_c=limits.preheat_min_c,
            interpass_max_c=limits.interpass_max_c,
            cooling_max_c_per_h=part.cooling_max_c_per_h,
            arc_out_s=arc_out_s,
            spread_s=wait_s,
            still_rising=rising,
            arc_doubt=self.arc_doubt,
            conflict=limits.conflict,
            set_aside=limits.set_aside,
            gap_expected=all(
                self.gap_expected(now_us, probe.channel) or probe.standing is Standing.SETTLING
                for probe in probes
                if probe.temperature_c is None
            ),
            was_below=before is not None and before.below,
            was_above=above,
            closes=self.closes,
            opens=self.opens,
            rate=self.rate,
            level=self.level,
        )

    def _purge_view(self, now_us: int, heat: Heat, part: Part) -> PurgeView:
        purging, root = self.purging, self.root
        if purging is None:
            return PurgeView(
                limit_ppm=part.oxygen_max_ppm,
                running=False,
                ended=heat.purge_ended_us is not None,
                pass_running=heat.pass_running,
                needs_gas=root.needs_gas,
                gas_off_below_c=root.gas_off_below_c,
                root_c=root.temperature_c,
            )
        return PurgeView(
            limit_ppm=part.oxygen_max_ppm,
            running=True,
            pass_running=heat.pass_running,
            has_volume=purging.has_volume,
            lost=purging.lost(now_us),
            flowing=None if purging.flow_l_min is None else purging.flow_l_min >= NO_FLOW_L_MIN,
            doubt=purging.doubt,
            clear=purging.clear,
            was_clear=purging.was_clear,
            gone=purging.gone(part.oxygen_max_ppm),
            oxygen=purging.oxygen,
            clear_in=purging.clear_in,
            basis=purging.basis,
            unproven=purging.unproven,
            troubles=purging.remarks,
            volume_margin=purging.volume_margin,
            welded=root.welded,
            needs_gas=root.needs_gas,
            gas_off_below_c=root.gas_off_below_c,
            root_c=root.temperature_c,
            root_cool_in=root.cool_in,
        )

    def signature(self, phase: HeatPhase) -> tuple[str, ...]:
        """What is worth reporting when it changes: verdicts, phase, leading reasons."""
        if self.heat is None or self.purge is None or self.together is None:
            return ()
        return (
            phase,
            self.together.verdict,
            self.heat.verdict,
            self.purge.verdict,
            without_numbers(self.heat.lead),
            without_numbers(self.purge.lead),
        )
