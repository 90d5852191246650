"""The shape of the bench answer: what the page, and anybody else, is told.

These are the JSON objects of ``GET /api/v1/bench`` (see ``service/openapi.json``). Times of day
are RFC 3339 UTC, durations are seconds, and no number is ever NaN: a missing one is ``null``.
"""

from __future__ import annotations

from typing import Literal, NotRequired, TypedDict

from service.judge.actions import HeatPhase, JointSide, Origin
from service.judge.argon import ArgonBasis
from service.judge.events import AlarmKind, AlarmState, Verdict
from service.judge.room_air import AirStanding

ArcWord = Literal["on", "out", "unknown"]


class SpreadJson(TypedDict):
    p05: float
    p50: float
    p95: float | None


class WindowJson(TypedDict):
    closes_in_s: SpreadJson | None
    opens_in_s: SpreadJson | None
    reason: str | None


class LossesJson(TypedDict):
    total_w: float
    air_w: float
    radiation_w: float
    argon_w: float
    contact_w: float | None
    """What the others leave over; ``None`` without an area."""


class LaterJson(TypedDict):
    """What the part is waited for besides its window."""

    what: Literal["soaked", "safe to touch"]
    in_s: SpreadJson | None
    text: str


class HeatJson(TypedDict):
    verdict: Verdict
    reasons: list[str]
    temperature_c: float | None
    """Coldest relevant channel, which governs preheat."""
    rate_c_per_h: float | None
    window: WindowJson
    gradient_k: float | None
    """Hottest probe of the part minus its coldest."""
    losses: LossesJson | None
    """Where its heat goes now; ``None`` without a mass or a sure rate of cooling."""
    later: LaterJson | None
    """In the oven the soak, under the cover the bare hand; else ``None``."""


class PurgeJson(TypedDict):
    verdict: Verdict
    reasons: list[str]
    oxygen_ppm: SpreadJson | None
    clear: bool
    clear_in_s: SpreadJson | None
    basis: str
    """"flow", "oxygen sensor" or "not judged"."""
    running: bool
    flow_l_min: float | None
    used_l: float


class InForceJson(TypedDict):
    """What the joint is judged by: both sides' limits, or those of the side that governs."""

    preheat_min_c: float | None
    interpass_max_c: float | None
    conflict: str | None
    """What the two sides want, while both cannot be kept and nobody has chosen."""


class LimitsJson(TypedDict):
    preheat_min_c: float | None
    interpass_max_c: float | None
    cooling_max_c_per_h: float | None
    oxygen_max_ppm: float | None
    carry_max_s: NotRequired[float | None]
    tube_preheat_min_c: NotRequired[float | None]
    tube_interpass_max_c: NotRequired[float | None]
    governing_side: NotRequired[JointSide | None]
    gas_off_below_c: NotRequired[float | None]
    in_force: NotRequired[InForceJson]


class PassTimesJson(TypedDict):
    began_at: str
    ended_at: str | None
    """``None`` while the arc is on."""
    number: NotRequired[int]
    arc_s: NotRequired[float | None]
    """How long the arc burnt, by the arc channel; ``None`` where none watched."""
    tack: NotRequired[bool]
    origin: NotRequired[Origin]
    corrected: NotRequired[bool]


class PhaseJson(TypedDict):
    """One phase of the trip, and what said so."""

    number: int
    phase: HeatPhase
    began_at: str
    origin: Origin
    corrected: bool


class StepJson(TypedDict):
    """The last step of the trip, which can be taken back."""

    number: int
    kind: str
    phase: HeatPhase | None
    origin: Origin
    at: str


class NextStepJson(TypedDict):
    """The one obvious next step: what "next" does now."""

    kind: str
    phase: HeatPhase | None


class TripJson(TypedDict):
    """Where the part has been, who or what said so, and the arc."""

    phase_origin: Origin
    phases: list[PhaseJson]
    last_step: StepJson | None
    next_step: NextStepJson | None
    arc: ArcWord
    arc_doubt: str | None
    """Why the arc is "unknown"."""
    arc_s: float | None
    """How long the arc has burnt in this heat; ``None`` where no arc channel has watched."""
    tacks: int
    """How many of the passes were only tacks."""
    last_arc_s: float | None
    """Since the last arc, until the part is covered; ``None`` before any and while it burns."""
    covered_after_s: float | None
    """From the last arc to the cover."""


class QuestionJson(TypedDict):
    """What the readings or the button leave open, to be answered by a tap."""

    id: int
    kind: Literal["arc", "next"]
    channel: str
    since: str
    heat_ids: list[int]
    text: str


class ProcedureStepJson(TypedDict):
    number: int
    text: str
    ticked_at: str | None
    by: str | None


class PartProcedureJson(TypedDict):
    """What a part, or its running heat, goes by."""

    id: int
    version: int
    """Of the running heat, else of the part."""
    newest: int
    name: str
    own_limits: bool
    """The part's limits are not that version's: somebody set others."""
    cautions: list[str]
    steps: list[ProcedureStepJson]
    """In order; ticked ones only while a heat runs."""


class PartJson(TypedDict):
    id: int
    name: str
    metal: str
    mass_kg: float | None
    area_m2: float | None
    cavity_volume_l: float | None
    hose_volume_l: float
    joint_wall_mm: NotRequired[float | None]
    preheat_measured_mm: NotRequired[float | None]
    """From the groove's edge (ISO 13916); ``None`` without a thickness at the joint."""
    thickest_mm: NotRequired[float | None]
    joining_metal: NotRequired[str | None]
    filler: NotRequired[str | None]
    method: NotRequired[Literal["hot", "cold"] | None]
    size_known: NotRequired[str | None]
    cavity_known: NotRequired[str | None]
    procedure: NotRequired[PartProcedureJson | None]
    heat_id: int | None
    phase: str
    """"none" without a running heat."""
    verdict: Verdict
    heat: HeatJson
    purge: PurgeJson
    next: str
    limits: LimitsJson
    pass_running: bool
    passes: int
    """Weld runs of any length, tacks too."""
    trip: NotRequired[TripJson | None]
    heat_began_at: str | None
    pass_times: NotRequired[list[PassTimesJson]]
    """Passes of the running heat, oldest first, for the strip chart."""


class CheckJson(TypedDict):
    reads: float
    true: float


class CalibrationJson(TypedDict):
    checks: list[CheckJson]
    since: str
    due: str | None
    overdue: bool
    note: str
    uncorrected: float | None
    """The last value before its correction."""


class ByHandJson(TypedDict):
    """What the newest reading of a channel is, whose readings are typed in."""

    method: str
    place: str
    plus_minus: float
    """Its error either way, 19 times in 20, in the channel's unit (K for temperatures)."""


class ChannelJson(TypedDict):
    name: str
    kind: str | None
    """``None`` until somebody has said what it measures; ``kind_guess`` then helps."""
    kind_guess: str | None
    value: float | None
    unit: str | None
    quality: str
    """"good", "suspect", "bad", "settling" or "stale"."""
    reason: str | None
    age_s: float
    part_id: int | None
    from_joint_mm: NotRequired[float | None]
    """How far a probe sits from the groove's edge; ``None``: nobody has said."""
    thermocouple: str | None
    """Letter of the type, for a channel that sends the bare voltage."""
    cold_junction: str | None
    """The channel that measures that voltage's terminals."""
    by_hand: NotRequired[ByHandJson | None]
    """For a channel whose readings a person types in."""
    error_floor_k: NotRequired[float | None]
    """How far it may be off, either way, 19 times in 20, at least; ``None``: nobody has said."""
    emf_mv: float | None
    """The voltage as it was sent last."""
    calibration: CalibrationJson | None


class AlarmJson(TypedDict):
    id: int
    kind: AlarmKind
    part_id: int | None
    channel: str | None
    state: AlarmState
    since: str
    text: str
    """What is wrong and what to do, in one sentence."""
    advice: NotRequired[str | None]
    """What to do, where something can be said; it ends the text."""


class RoomAirJson(TypedDict):
    channel: str
    oxygen_percent: float | None
    """By volume; ``None`` when there is no live, believable reading."""
    standing: AirStanding
    """Against 19.5 and 23.5 %; "unknown" without a reading, never "normal"."""
    reason: str | None
    age_s: float


class ArgonJson(TypedDict):
    bottle_volume_l: float | None
    """The bottle's own (water) volume; ``None``: nobody has said."""
    left_l: float | None
    left_min: float | None
    """At the present flow of purge and torch."""
    basis: ArgonBasis
    reason: str | None
    """Why there is no figure."""
    purge_l_min: float
    torch_l_min: float
    used_purge_l: float
    used_torch_l: float
    since: str | None
    """Since when it is counted: the bottle was set, or the service began."""


Place = Literal[
    "weld on", "weld", "weld soon", "reheat", "in doubt", "take out", "heating", "hold", "covered"
]
"""What is to be done with a casting among several, in the order in which a welder must think of
it: ``heating`` and ``hold`` stay in the oven, before the weld and after it."""


class InTurnJson(TypedDict):
    """One casting among several."""

    heat_id: int
    part_id: int
    what: Place


class TurnJson(TypedDict):
    """Whose turn it is among several castings; advice only."""

    heat_id: int | None
    """``None``: nobody's, or it cannot be told; the text says which."""
    text: str
    order: list[InTurnJson]
    """The next one first."""
    take_out: int | None
    """The heat that comes out of the oven next."""
    take_out_in_s: SpreadJson | None
    take_out_why: str | None
    """Why there is no time."""


class BenchJson(TypedDict):
    at: str
    recording: bool
    parts: list[PartJson]
    channels: list[ChannelJson]
    room: list[RoomAirJson]
    """The shop's air, one for each room oxygen channel."""
    argon: NotRequired[ArgonJson]
    """The bottle: what is used of it and what is left."""
    alarms: list[AlarmJson]
    questions: NotRequired[list[QuestionJson]]
    turn: NotRequired[TurnJson | None]
    """With two open heats or more."""
