"""What the shop has said: channels, parts, heats, and which belongs to which.

A plain state. It knows no readings; what the readings say is judged elsewhere, and what an action
does to it is in ``shop_rules.py``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from service.judge.actions import HeatPhase, JointSide
from service.judge.cold_junction import UNIT, Junction
from service.judge.events import Refused
from service.readings import ChannelKind

HEATS_REMEMBERED = 200

UNIT_OF_KIND: dict[ChannelKind, frozenset[str]] = {
    ChannelKind.THERMOCOUPLE: frozenset({"Cel"}),
    ChannelKind.COLD_JUNCTION: frozenset({"Cel"}),
    ChannelKind.AMBIENT: frozenset({"Cel"}),
    ChannelKind.GAS_FLOW: frozenset({"l/min"}),
    ChannelKind.OXYGEN: frozenset({"ppm"}),
    ChannelKind.ROOM_OXYGEN: frozenset({"ppm"}),
    ChannelKind.BOTTLE_PRESSURE: frozenset({"Pa"}),
    ChannelKind.ARC: frozenset({"A", "on/off"}),
    ChannelKind.BUTTON: frozenset({"on/off"}),
}
"""Units a channel of each kind may send (inside units)."""

SINGLE_KINDS = frozenset({ChannelKind.GAS_FLOW, ChannelKind.OXYGEN, ChannelKind.ARC})
"""Of these a part has one at most: two flow meters on one cavity could not be told apart."""

SHOP_KINDS = frozenset({ChannelKind.ROOM_OXYGEN})
"""These belong to the whole shop and sit on no part."""


def guess_kind(unit: str | None) -> ChannelKind | None:
    """What a channel probably measures, by its unit alone; a help for whoever adopts it."""
    if unit is None:
        return None
    if unit == UNIT:
        return ChannelKind.THERMOCOUPLE
    for kind, units in UNIT_OF_KIND.items():
        if unit in units:
            return ChannelKind.BUTTON if unit == "on/off" else kind
    return None


@dataclass(slots=True)
class Channel:
    """A channel somebody has said something about."""

    name: str
    kind: ChannelKind | None = None
    part_id: int | None = None
    junction: Junction | None = None
    """For a thermocouple that arrives as a voltage."""
    from_joint_mm: float | None = None
    """A probe's distance from the groove's edge [mm]; ``None``: not said."""


@dataclass(slots=True)
class Part:
    """A workpiece, its facts and limits as in ``actions.PartFacts`` and ``actions.Limits``."""

    id: int
    name: str
    metal: str
    mass_kg: float | None
    area_m2: float | None
    cavity_volume_l: float | None
    hose_volume_l: float
    preheat_min_c: float | None = None
    interpass_max_c: float | None = None
    cooling_max_c_per_h: float | None = None
    oxygen_max_ppm: float | None = None
    tube_preheat_min_c: float | None = None
    tube_interpass_max_c: float | None = None
    governing_side: JointSide | None = None
    gas_off_below_c: float | None = None
    joint_wall_mm: float | None = None


PASSES_SHOWN = 100
"""Pass times kept for the strip chart; the database keeps them all."""


@dataclass(slots=True)
class Heat:
    """One trip of one part. Times are shop time [µs] unless named UTC."""

    id: int
    part_id: int
    began_us: int
    began_utc_us: int
    phase: HeatPhase
    phase_since_us: int
    ended_us: int | None = None
    pass_since_us: int | None = None
    arc_out_us: int | None = None
    passes: int = 0
    pass_times_utc_us: list[tuple[int, int | None]] = field(default_factory=list)
    """When each pass began and ended, oldest first; the newest ``PASSES_SHOWN`` only."""
    purge_since_us: int | None = None
    purge_ended_us: int | None = None

    @property
    def pass_running(self) -> bool:
        return self.pass_since_us is not None

    @property
    def purge_running(self) -> bool:
        return self.purge_since_us is not None


@dataclass(slots=True)
class Shop:
    """The shop's whole state; ids count up and are never used twice."""

    channels: dict[str, Channel] = field(default_factory=dict)
    parts: dict[int, Part] = field(default_factory=dict)
    heats: dict[int, Heat] = field(default_factory=dict)
    next_part_id: int = 1
    next_heat_id: int = 1
    tokens: dict[str, int] = field(default_factory=dict)
    offset_us: int = 0
    """UTC minus shop time [µs]."""
    recording: bool = True
    recording_detail: str = ""

    def seen(self, token: str | None) -> int | None:
        """The id that the action with this token made (0 if it made none), or ``None``."""
        return None if token is None else self.tokens.get(token)

    def open_heats(self) -> list[Heat]:
        """Heats that have not ended, in the order of their ids."""
        return [heat for heat in self.heats.values() if heat.ended_us is None]

    def heat_of(self, part_id: int) -> Heat | None:
        """The part's open heat, if there is one."""
        return next((h for h in self.open_heats() if h.part_id == part_id), None)

    def channels_of(self, part_id: int, kind: ChannelKind) -> list[Channel]:
        """The part's channels of one kind, by name."""
        found = [c for c in self.channels.values() if c.part_id == part_id and c.kind is kind]
        return sorted(found, key=lambda channel: channel.name)

    def part(self, part_id: int) -> Part:
        """The part, or ``Refused``."""
        part = self.parts.get(part_id)
        if part is None:
            raise Refused(f"There is no part {part_id}.")
        return part

    def open_heat(self, heat_id: int) -> Heat:
        """The open heat, or ``Refused``."""
        heat = self.heats.get(heat_id)
        if heat is None:
            raise Refused(f"There is no heat {heat_id}.")
        if heat.ended_us is not None:
            raise Refused(f"Heat {heat_id} has ended.")
        return heat

    def forget_old_heats(self) -> None:
        """Keep the memory bounded: the database keeps every heat, the judge only recent ones."""
        ended = [heat.id for heat in self.heats.values() if heat.ended_us is not None]
        for heat_id in ended[: max(0, len(ended) - HEATS_REMEMBERED)]:
            del self.heats[heat_id]
