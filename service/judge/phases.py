"""Phases that can be seen in the readings: out of the oven, onto the bench, under cover.

A wrong phase found by the machine is worse than a missing one, so each rule waits for evidence
that nothing else explains, and says nothing otherwise; a tap or the button then does. What a
person says wins: it begins the evidence anew, and a phase that was taken back is not found again.

Limits are common practice, no source, except where a line says otherwise. Times are shop time [µs].
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from service.judge.actions import HeatPhase
from service.judge.channel import ROOM_C, ChannelTrack, Standing

HOT_C = 60.0
"""A part colder than this is in nobody's way: nothing is found of it."""
KEPT_S = 180
"""Seconds of each probe's temperatures that are kept."""
OUT_US = 3_000_000
"""A probe must read open for so long to be unplugged, and not shaken."""
TOGETHER_US = 20_000_000
"""Two probes that go within so short a time were unplugged; two do not break at once."""
FRESH_US = 30_000_000
"""The temperature before an unplugging is believed for so long."""
FALL_S = 90
FALL_K_PER_S = 0.2
"""So fast in every third of a minute and a half no casting cools in an oven whose door was only
opened; bare, a 6 kg one at 330 °C loses 0.35 K/s (own calculation). Heavier ones fall
slower and are not found, which is the safe side."""
LAND_S = 10
LAND_K = 1.5
LAND_K_PER_S = 0.03
"""A probe that was plugged in again and now falls with the part is on it: one just clamped on
climbs, one in the oven holds."""
WARMER_K = 10.0
"""No part is warmer than this above what it left the oven with."""
BARE_S = 60
BARE_AGE_US = 150_000_000
"""What was lost bare is judged by minutes at least so old: they end before the cover begins to
work."""
BARE_LEAST_K_PER_S = 0.03
"""A part that loses less bare gives too little to tell a cover by."""
COVER_S = 90
COVER_SHARE = 0.3
"""Under cover a part loses less than this share of the least it lost bare in any minute before (a
blanket leaves a tenth, own calculation), for a minute and a half ..."""
COVER_RISE_K_PER_S = 0.01
"""... and does not warm up, as it would under a torch or in the oven."""
COVER_HOT_C = 100.0
ARC_QUIET_US = 180_000_000
"""So long after the arc its heat has spread, and what is seen is the part's own cooling."""
SPARE_K = 100.0
"""A probe this much colder than all others in the oven is not on the part yet."""
OPEN = "open circuit"
"""How the reason of an unplugged probe begins."""

Tracks = Mapping[str, ChannelTrack]


@dataclass(frozen=True, slots=True)
class Seen:
    """A phase that the readings show, and since when."""

    phase: HeatPhase
    at_us: int


@dataclass(frozen=True, slots=True)
class Around:
    """What else matters to a phase at this moment.

    Attributes:
        arc_out_us: When the arc went out last; ``None``: never struck, or not known to be out.
        preheat_min_c: The limit at which a part is hot enough to be carried [°C].
        ambient_c: Shop air [°C], where it is measured.
    """

    phase: HeatPhase
    pass_running: bool
    passes: int
    arc_out_us: int | None
    preheat_min_c: float | None
    ambient_c: float | None


@dataclass(slots=True)
class ProbeWatch:
    """One probe's last minutes.

    Attributes:
        times_us, values_c: Good readings, one a second, without a gap.
        was_c, was_us: The last good one.
        out_us: Since when it reads open; ``back_us``: since when it speaks again.
        lived: It has been hot in this heat.
        came: It was put on after the oven and had not been hot before.
        left: It was unplugged for the carry and was still so when the part was put down.
        bare_per_s: Least share of its excess over the room that it lost each second in any
            minute bare [1/s]; ``fresh_per_s`` holds the shares of minutes too young to count.
    """

    times_us: list[int] = field(default_factory=list)
    values_c: list[float] = field(default_factory=list)
    was_c: float | None = None
    was_us: int = 0
    out_us: int | None = None
    back_us: int | None = None
    lived: bool = False
    came: bool = False
    left: bool = False
    bare_per_s: float | None = None
    fresh_per_s: list[tuple[int, float]] = field(default_factory=list)

    def second(self, now_us: int, track: ChannelTrack, in_oven: bool) -> None:
        """The whole second ``now_us``."""
        standing = track.standing(now_us)
        if standing is Standing.BAD and (track.reason or "").startswith(OPEN):
            self._out(now_us)
        elif standing in (Standing.GOOD, Standing.SETTLING):
            self._speaks(now_us, track.good_value, standing is Standing.GOOD, in_oven)
        else:
            self.times_us, self.values_c = [], []

    def _out(self, now_us: int) -> None:
        self.times_us, self.values_c, self.back_us = [], [], None
        if self.out_us is None:
            self.out_us = now_us

    def _speaks(self, now_us: int, value_c: float | None, settled: bool, in_oven: bool) -> None:
        self.left = False
        if self.back_us is None and self.out_us is not None:
            self.back_us = now_us
        if not settled or value_c is None:
            self.times_us, self.values_c = [], []
            return
        self.times_us.append(now_us)
        self.values_c.append(value_c)
        if len(self.times_us) > KEPT_S:
            del self.times_us[0], self.values_c[0]
        if value_c >= HOT_C:
            if not self.lived and not in_oven:
                self.came = True
            self.lived = True
        if self.back_us is None:
            self.was_c, self.was_us = value_c, now_us

    def slope(self, seconds: int) -> float | None:
        """Slope over the last ``seconds`` [K/s]; ``None`` without so many good readings on end."""
        if len(self.times_us) <= seconds:
            return None
        times, values = self.times_us[-seconds - 1 :], self.values_c[-seconds - 1 :]
        if times[-1] - times[0] > (seconds + 2) * 1_000_000:
            return None
        middle_s = sum(times) / len(times) / 1e6
        middle_c = sum(values) / len(values)
        over = sum(
            (t / 1e6 - middle_s) * (v - middle_c) for t, v in zip(times, values, strict=True)
        )
        return over / sum((t / 1e6 - middle_s) ** 2 for t in times)

    def falls_all_along(self) -> bool:
        """It has fallen fast in every third of the last ``FALL_S``."""
        if self.slope(FALL_S) is None:
            return False
        third = FALL_S // 3
        points = self.values_c[-FALL_S - 1 :: third]
        return all(b - a <= -FALL_K_PER_S * third for a, b in pairwise(points))

    @property
    def now_c(self) -> float | None:
        return self.values_c[-1] if self.values_c else None


@dataclass(slots=True)
class PhaseWatch:
    """The evidence of one heat.

    Attributes:
        fresh_us: Evidence counts from here on.
        denied: Phases that were found and taken back.
        left_c: The hottest probe when the part left the oven [°C].
    """

    probes: dict[str, ProbeWatch] = field(default_factory=dict)
    fresh_us: int = 0
    denied: list[HeatPhase] = field(default_factory=list)
    left_c: float | None = None

    def second(self, now_us: int, tracks: Tracks, names: list[str], around: Around) -> Seen | None:
        """The whole second ``now_us``: watch, and say what is seen, once it is sure."""
        for gone in [name for name in self.probes if name not in names]:
            del self.probes[gone]
        for name in names:
            probe = self.probes.setdefault(name, ProbeWatch())
            probe.second(now_us, tracks[name], around.phase == "oven")
        seen = self._seen(now_us, around)
        if seen is None or seen.phase in self.denied:
            return None
        return seen

    def moved(self, phase: HeatPhase, now_us: int, *, by_person: bool) -> None:
        """The part changed place, whoever said so."""
        if phase == "carry":
            warm = [probe.was_c for probe in self.probes.values() if probe.was_c is not None]
            self.left_c = max(warm, default=None)
        for probe in self.probes.values():
            probe.times_us, probe.values_c = [], []
            probe.bare_per_s, probe.fresh_per_s = None, []
            if phase == "bench":
                probe.left = probe.out_us is not None and probe.back_us is None
            if phase in ("bench", "oven"):
                probe.out_us = probe.back_us = None
            if phase == "oven":
                probe.came = probe.left = False
        if by_person:
            self.fresh_us, self.denied = now_us, []

    def deny(self, phase: HeatPhase, now_us: int) -> None:
        """It was found and was not so: it is not found again until somebody moves the part."""
        self.fresh_us = now_us
        if phase not in self.denied:
            self.denied.append(phase)

    def absent(self, name: str, phase: HeatPhase) -> bool:
        """A probe that is not on the part: on the way there, one that lies ready and has not been
        hot yet while others have; on the bench, one left unplugged after the carry once another
        has taken its place."""
        probe = self.probes.get(name)
        if probe is None:
            return False
        others = [other for key, other in self.probes.items() if key != name]
        if phase in ("oven", "carry"):
            hot = [o.was_c for o in others if o.lived and o.was_c is not None]
            if probe.lived or not hot:
                return False
            return probe.now_c is None or probe.now_c < min(hot) - SPARE_K
        return probe.left and any(other.came and other.now_c is not None for other in others)

    # --- what is seen ---------------------------------------------------------------------------

    def _seen(self, now_us: int, around: Around) -> Seen | None:
        if around.phase == "oven":
            return self._unplugged(now_us, around) or self._falls(now_us)
        if around.phase == "carry":
            return self._lands()
        if around.phase == "bench":
            return self._covered(now_us, around)
        return None

    def _unplugged(self, now_us: int, around: Around) -> Seen | None:
        lived = [probe for probe in self.probes.values() if probe.lived]
        outs = [probe.out_us for probe in lived if probe.out_us is not None]
        if not outs or len(outs) < len(lived) or min(outs) < self.fresh_us:
            return None
        sure_of_time = max(outs) - min(outs) <= TOGETHER_US and now_us - max(outs) >= OUT_US
        warm = [p.was_c or 0.0 for p in lived if (p.out_us or 0) - p.was_us <= FRESH_US]
        if not sure_of_time or len(warm) < len(lived) or min(warm) < HOT_C:
            return None
        back = any(probe.back_us is not None for probe in lived)
        if back and not any(self._on_the_part(probe) for probe in lived):
            return None
        # One probe alone may have broken. It is believed to be unplugged when the part was ready
        # to be carried, or when it comes back on a part that cools.
        ready = around.preheat_min_c is not None and min(warm) >= around.preheat_min_c
        if len(lived) == 1 and not ready and not back:
            return None
        return Seen("carry", min(outs))

    def _falls(self, now_us: int) -> Seen | None:
        """It left with its probes still plugged in."""
        lived = [probe for probe in self.probes.values() if probe.lived]
        begin_us = now_us - FALL_S * 1_000_000
        if not lived or begin_us < self.fresh_us:
            return None
        for probe in lived:
            if probe.now_c is None or probe.now_c < COVER_HOT_C or not probe.falls_all_along():
                return None
        return Seen("carry", begin_us)

    def _lands(self) -> Seen | None:
        """A probe is plugged in again, or another one has settled, and it falls with the part."""
        for probe in self.probes.values():
            back_us = probe.back_us
            if probe.came and back_us is None and probe.times_us:
                back_us = probe.times_us[0]
            if back_us is not None and back_us >= self.fresh_us and self._on_the_part(probe):
                return Seen("bench", back_us)
        return None

    def _on_the_part(self, probe: ProbeWatch) -> bool:
        slope, value_c = probe.slope(LAND_S), probe.now_c
        if slope is None or value_c is None or slope > -LAND_K_PER_S:
            return False
        left_c = self.left_c if self.left_c is not None else probe.was_c
        fits = left_c is None or value_c <= left_c + WARMER_K
        return fits and value_c >= HOT_C and probe.values_c[0] - value_c >= LAND_K

    def _covered(self, now_us: int, around: Around) -> Seen | None:
        out_us = around.arc_out_us
        lived = [probe for probe in self.probes.values() if probe.lived and probe.now_c is not None]
        room_c = ROOM_C if around.ambient_c is None else around.ambient_c
        quiet = not around.pass_running and (out_us is None or now_us - out_us >= ARC_QUIET_US)
        begin_us = now_us - COVER_S * 1_000_000
        if not lived or not quiet:
            return None
        covered = around.passes > 0 and out_us is not None and begin_us >= self.fresh_us
        for probe in lived:
            covered = _under_cover(probe, room_c) and covered
        return Seen("slow cool", begin_us) if covered else None


def _under_cover(probe: ProbeWatch, room_c: float) -> bool:
    """Whether it loses far less than it ever did bare; and learn what that is."""
    value_c, slope, recent = probe.now_c, probe.slope(COVER_S), probe.slope(BARE_S)
    excess_k = 0.0 if value_c is None else value_c - room_c
    if recent is not None and excess_k > 0.0:
        probe.fresh_per_s.append((probe.times_us[-1], max(0.0, -recent / excess_k)))
    while probe.fresh_per_s and probe.times_us[-1] - probe.fresh_per_s[0][0] > BARE_AGE_US:
        _, share = probe.fresh_per_s.pop(0)
        probe.bare_per_s = share if probe.bare_per_s is None else min(probe.bare_per_s, share)
    if probe.bare_per_s is None or slope is None or excess_k < COVER_HOT_C - room_c:
        return False
    bare_k_per_s = probe.bare_per_s * excess_k
    tells = bare_k_per_s >= BARE_LEAST_K_PER_S
    return tells and -COVER_SHARE * bare_k_per_s <= slope <= COVER_RISE_K_PER_S
