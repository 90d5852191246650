"""The record of one heat as plain data: what the pages show, the report prints.

Nothing here is measured or decided anew. ``service.records.gather`` fills it from the database;
the figures are worked out in ``service.records.figures``.
Times are whole microseconds UTC unless a name says otherwise, and never jump: where the wall clock
was corrected during the heat, those from before are told as the corrected clock would have shown
them (``service.records.run_clock``). ``None`` means not known.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.judge.actions import Limits, PartFacts
from service.records.outcome_record import OutcomeRecord, PhotoRecord, Work
from service.records.procedure_record import HeldProcedure


@dataclass(frozen=True, slots=True)
class DatedLimits:
    """A version of the part's limits and from when it held."""

    version: int
    from_us: int
    limits: Limits


@dataclass(frozen=True, slots=True)
class CalibrationState:
    """How a channel was corrected from a moment on.

    Attributes:
        from_us: Since when.
        due_us: When the next check was due; ``None``: nobody has said.
        checks: What it read and what it should have read, in the channel's unit; empty: no
            correction any more.
        note: Against what, by whom.
    """

    from_us: int
    due_us: int | None
    checks: tuple[tuple[float, float], ...]
    note: str


@dataclass(frozen=True, slots=True)
class ChannelRecord:
    """A channel that sat on the part during the heat, or one of the shop's own.

    Attributes:
        name: The channel.
        kind: What it measures; ``None`` where nobody has said.
        unit: Unit of its values as told (°C for a thermocouple that sends a voltage).
        spells: From when to when it sat on the part, cut to the heat.
        from_joint_mm: How far a probe sat from the groove's edge [mm], as said last.
        thermocouple, cold_junction: For a channel that sends a voltage.
        of_part: ``False`` for a channel of the shop (ambient, room oxygen, bottle).
        calibrations: That held at the heat's begin or came during it, oldest first.
        readings, suspect, bad: How many arrived within the spells.
        error_words: Class and drift of a probe, as said last; ``None``: nobody has said.
    """

    name: str
    kind: str | None
    unit: str | None
    spells: tuple[tuple[int, int], ...]
    from_joint_mm: float | None
    thermocouple: str | None
    cold_junction: str | None
    of_part: bool
    calibrations: tuple[CalibrationState, ...]
    readings: int
    suspect: int
    bad: int
    error_words: str | None = None


@dataclass(frozen=True, slots=True)
class PhaseRecord:
    """Where the part was, as it holds now; ``origin`` is tap, button or readings."""

    phase: str
    from_us: int
    to_us: int
    origin: str | None
    said_by: str | None


@dataclass(frozen=True, slots=True)
class PassRecord:
    """A weld run; temperatures are those of the part's thermocouples that spoke then.

    Attributes:
        coldest_c, hottest_c: At its begin [°C].
        oxygen_ppm: At its begin; ``oxygen_high_ppm``: the highest while it ran. ``None``: not
            measured.
        verdict, heat_verdict, purge_verdict: What the judge said at its begin.
    """

    number: int
    begun_us: int
    ended_us: int | None
    arc_us: int | None
    origin: str | None
    coldest_c: float | None
    hottest_c: float | None
    oxygen_ppm: float | None
    oxygen_high_ppm: float | None
    verdict: str | None
    heat_verdict: str | None
    purge_verdict: str | None


@dataclass(frozen=True, slots=True)
class PurgeRecord:
    """Gas on, gas off; ``argon_l`` is what the meter counted [l at 20 °C, 1 atm]."""

    begun_us: int
    ended_us: int | None
    argon_l: float | None


@dataclass(frozen=True, slots=True)
class AlarmRecord:
    """One alarm: raised, acknowledged, returned."""

    alarm_id: int
    kind: str
    channel: str | None
    raised_us: int
    acknowledged_us: int | None
    returned_us: int | None
    text: str


@dataclass(frozen=True, slots=True)
class VerdictRecord:
    """What the judge said from a moment on."""

    at_us: int
    phase: str
    verdict: str
    heat: str
    purge: str
    text: str


@dataclass(frozen=True, slots=True)
class Note:
    """What somebody wrote at a moment."""

    at_us: int
    by: str | None
    text: str


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of a channel without good readings; ``channel`` ``None``: of the store itself."""

    channel: str | None
    from_us: int
    to_us: int
    why: str


@dataclass(frozen=True, slots=True)
class ClockChange:
    """The wall clock was corrected by so much [µs], ``restart``: while the service was away."""

    at_us: int
    by_us: int
    restart: bool


@dataclass(frozen=True, slots=True)
class Rate:
    """How fast a channel went within a band of temperatures, in one phase.

    Attributes:
        low_c, high_c: The band.
        mean_c_per_h: Net change over the time spent in it; negative is cooling.
        fastest_up_c_per_h, fastest_down_c_per_h: Steepest line through ``span_s`` of readings;
            ``None``: it never went that way there so long.
    """

    channel: str
    phase: str
    low_c: float
    high_c: float
    minutes: float
    mean_c_per_h: float
    fastest_up_c_per_h: float | None
    fastest_down_c_per_h: float | None
    span_s: float


@dataclass(frozen=True, slots=True)
class Gradient:
    """The greatest difference between the part's thermocouples within a phase."""

    phase: str
    at_us: int
    difference_k: float
    coldest: str
    hottest: str


@dataclass(frozen=True, slots=True)
class Soak:
    """Time in the oven with every thermocouple of the part inside the band.

    ``high_c`` ``None``: no upper limit. The longest stretch counts; ``total_s`` is all of them.
    """

    low_c: float
    high_c: float | None
    longest_s: float
    total_s: float
    from_us: int | None


@dataclass(frozen=True, slots=True)
class Figures:
    """What the readings come to; ``step_s`` is the width of the steps they were taken in.

    Attributes:
        soak: ``None`` without a preheat limit, oven phase or thermocouple.
        below_preheat_s: Between the first arc and the last, coldest probe below the minimum.
        unread_s: Between the first arc and the last, no thermocouple could be read.
        last_arc_to_cover_s: ``None`` without a pass or a cover.
    """

    step_s: float
    soak: Soak | None
    rates: tuple[Rate, ...]
    gradients: tuple[Gradient, ...]
    below_preheat_s: float | None
    unread_s: float | None
    last_arc_to_cover_s: float | None


@dataclass(frozen=True, slots=True)
class Deviation:
    """What was not as the limits say, or what the record cannot show; ``at_us`` if at a moment."""

    at_us: int | None
    text: str


@dataclass(frozen=True, slots=True)
class HeatRecord:
    """Everything kept of one heat.

    Attributes:
        facts: What was known of the part when the heat ended.
        to_us: Its end, or for an open heat the last moment that was recorded.
        limits: Every version that held at its begin or came during it, oldest first; also the
            judge's basis. Empty: none was ever set.
        versions: Of the service that recorded it.
        outcomes: What was said to have come of it, oldest first; the last one holds.
        photos: Of the heat, its root and its part, those that were not dropped.
        work: What it took; ``None``: not worked out.
        procedure: The version that the heat began with; ``None``: it went by none.
    """

    heat_id: int
    part_id: int
    facts: PartFacts
    begun_us: int
    ended_us: int | None
    to_us: int
    begun_seq: int
    arc_us: int | None
    limits: tuple[DatedLimits, ...]
    channels: tuple[ChannelRecord, ...]
    phases: tuple[PhaseRecord, ...]
    passes: tuple[PassRecord, ...]
    purges: tuple[PurgeRecord, ...]
    alarms: tuple[AlarmRecord, ...]
    verdicts: tuple[VerdictRecord, ...]
    notes: tuple[Note, ...]
    gaps: tuple[Gap, ...]
    clock_changes: tuple[ClockChange, ...]
    versions: tuple[str, ...]
    figures: Figures
    deviations: tuple[Deviation, ...]
    outcomes: tuple[OutcomeRecord, ...] = ()
    photos: tuple[PhotoRecord, ...] = ()
    work: Work | None = None
    procedure: HeldProcedure | None = None
