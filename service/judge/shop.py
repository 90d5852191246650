"""What the shop has said: channels, parts, heats, and which belongs to which.

A plain state. It knows no readings; what the readings say is judged elsewhere, and what an action
does to it is in ``shop_rules.py``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from service.judge.actions import (
    HeatPhase,
    JointSide,
    Origin,
    SizeKnown,
    VolumeKnown,
    WeldMethod,
)
from service.judge.calibration import Calibration
from service.judge.cold_junction import UNIT, Junction
from service.judge.events import Refused
from service.judge.hand_actions import HandMethod
from service.judge.probe_error import ProbeError
from service.judge.trip import PhaseSpan, Step, WeldPass
from service.physics.cooldown import PastLaw
from service.readings import ChannelKind, LearntQuantity, Spread

HEATS_REMEMBERED = 200

UNIT_OF_KIND: dict[ChannelKind, frozenset[str]] = {
    ChannelKind.THERMOCOUPLE: frozenset({"Cel"}),
    ChannelKind.COLD_JUNCTION: frozenset({"Cel"}),
    ChannelKind.AMBIENT: frozenset({"Cel"}),
    ChannelKind.GAS_FLOW: frozenset({"l/min"}),
    ChannelKind.OXYGEN: frozenset({"ppm"}),
    ChannelKind.ROOM_OXYGEN: frozenset({"ppm"}),
    ChannelKind.TORCH_FLOW: frozenset({"l/min"}),
    ChannelKind.BOTTLE_PRESSURE: frozenset({"Pa"}),
    ChannelKind.ARC: frozenset({"A", "on/off"}),
    ChannelKind.BUTTON: frozenset({"on/off"}),
}
"""Units a channel of each kind may send (inside units)."""

SINGLE_KINDS = frozenset({ChannelKind.GAS_FLOW, ChannelKind.OXYGEN, ChannelKind.ARC})
"""Of these a part has one at most: two flow meters on one cavity could not be told apart."""

SHOP_KINDS = frozenset({ChannelKind.ROOM_OXYGEN, ChannelKind.TORCH_FLOW})
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
class HandEntry:
    """The newest reading by hand of one place. ``at_us`` is shop time [µs]; ``off`` is its error
    either way, 19 times in 20, in the unit of ``value``."""

    method: HandMethod
    place: str
    value: float
    off: float
    at_us: int


@dataclass(slots=True)
class Channel:
    """A channel somebody has said something about."""

    name: str
    kind: ChannelKind | None = None
    part_id: int | None = None
    junction: Junction | None = None
    """For a thermocouple that arrives as a voltage."""
    calibration: Calibration | None = None
    error: ProbeError | None = None
    """How far a probe may be off, as somebody has said."""
    by_hand: HandEntry | None = None
    """The newest reading, where it is typed in by hand; then nothing else sends on the channel."""
    from_joint_mm: float | None = None
    """A probe's distance from the groove's edge [mm]; ``None``: not said."""


@dataclass(slots=True)
class Part:
    """A workpiece, its facts and limits as in ``actions.PartFacts`` and ``actions.Limits``.

    Attributes:
        learnt_volume_l: What the cavity has behaved as under an oxygen sensor, cold; used where no
            volume is stated. ``None``: not learnt since the service last began from nothing.
        past: How its heats lost heat bare on the bench, as was told last; its next heat starts
            from it.
        forgotten: What was set aside and not taken back, oldest first; ``None``: everything.
        procedure_id, procedure_version: What it goes by; ``None``: no procedure.
    """

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
    carry_max_s: float | None = None
    tube_preheat_min_c: float | None = None
    tube_interpass_max_c: float | None = None
    governing_side: JointSide | None = None
    gas_off_below_c: float | None = None
    joint_wall_mm: float | None = None
    thickest_mm: float | None = None
    joining_metal: str | None = None
    filler: str | None = None
    method: WeldMethod | None = None
    size_known: SizeKnown | None = None
    cavity_known: VolumeKnown | None = None
    learnt_volume_l: Spread | None = None
    past: PastLaw | None = None
    forgotten: list[LearntQuantity | None] = field(default_factory=list)
    procedure_id: int | None = None
    procedure_version: int | None = None


@dataclass(slots=True)
class ProcedureVersion:
    """What the judge needs of one version of a procedure; the journal holds all of it.

    Attributes:
        limits: As in ``limits.Limits``, by name.
    """

    name: str
    limits: dict[str, float | str | None]
    steps: list[str]
    cautions: list[str]


@dataclass(slots=True)
class Tick:
    """A step that was ticked: when [µs UTC], and by whom."""

    at_utc_us: int
    by: str | None


@dataclass(slots=True)
class Heat:
    """One trip of one part. Times are shop time [µs] unless named UTC.

    Attributes:
        phase_origin: What said that the phase is what it is.
        phases: Every phase of the trip, oldest first; the newest ``PHASES_KEPT`` only.
        steps: What an undo can take back, the last one first to go.
        steps_taken: Number of the last step; never used twice.
        passes, tacks: Weld runs of any length, and how many of them were only tacks.
        welds: The runs themselves; the newest ``PASSES_KEPT`` only.
        arc_us: How long the arc has burnt in all passes that ended, by the arc channel.
        arc_now_us: The same for the pass that runs; ``None`` without an arc channel.
        pass_said_us: When a person last said that the arc is on or out.
        covered_after_us: From the last arc to the cover.
        procedure_id, procedure_version: What it began with and keeps; ``None``: none.
        ticks: The steps of that version that are ticked, by number.
    """

    id: int
    part_id: int
    began_us: int
    began_utc_us: int
    phase: HeatPhase
    phase_since_us: int
    phase_origin: Origin = "tap"
    ended_us: int | None = None
    phases: list[PhaseSpan] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    steps_taken: int = 0
    pass_since_us: int | None = None
    arc_out_us: int | None = None
    passes: int = 0
    tacks: int = 0
    welds: list[WeldPass] = field(default_factory=list)
    arc_us: int = 0
    arc_now_us: int | None = None
    pass_said_us: int | None = None
    covered_after_us: int | None = None
    purge_since_us: int | None = None
    purge_ended_us: int | None = None
    procedure_id: int | None = None
    procedure_version: int | None = None
    ticks: dict[int, Tick] = field(default_factory=dict)

    @property
    def pass_running(self) -> bool:
        return self.pass_since_us is not None

    @property
    def purge_running(self) -> bool:
        return self.purge_since_us is not None

    @property
    def last_us(self) -> int:
        """When its last step was: nothing can have happened before that."""
        return max(self.phase_since_us, self.pass_since_us or 0, self.arc_out_us or 0)


@dataclass(slots=True)
class Shop:
    """The shop's whole state; ids count up and are never used twice."""

    channels: dict[str, Channel] = field(default_factory=dict)
    parts: dict[int, Part] = field(default_factory=dict)
    heats: dict[int, Heat] = field(default_factory=dict)
    next_part_id: int = 1
    next_heat_id: int = 1
    next_procedure_id: int = 1
    procedures: dict[int, list[ProcedureVersion]] = field(default_factory=dict)
    """Every version of each, oldest first: version 1 is the first."""
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
        """The part's channels of one kind that something sends on, by name."""
        found = [
            channel
            for channel in self.channels.values()
            if channel.part_id == part_id and channel.kind is kind and channel.by_hand is None
        ]
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

    def known_heat(self, heat_id: int) -> Heat:
        """A heat that is remembered, open or ended, or ``Refused``."""
        heat = self.heats.get(heat_id)
        if heat is None:
            raise Refused(f"There is no heat {heat_id} that can still be corrected.")
        return heat

    def forget_old_heats(self) -> None:
        """Keep the memory bounded: the database keeps every heat, the judge only recent ones."""
        ended = [heat.id for heat in self.heats.values() if heat.ended_us is not None]
        for heat_id in ended[: max(0, len(ended) - HEATS_REMEMBERED)]:
            del self.heats[heat_id]
