"""Everything the judge is given besides readings and the passing of time.

An action is a small, validated, immutable value with a ``kind``. The same JSON is what the page
posts, what the journal keeps and what a replay reads back. Operator actions come from a tap or a
button; service actions (``by_service``) are made by the collector: start, clock steps, recording.

All ids are assigned by the collector before an action gets its place in the order, so an action
in the journal is complete in itself.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, model_validator

from service.judge.action_base import BaseAction, ChannelName, Name
from service.judge.channel_actions import CalibrateChannel, RateProbe
from service.judge.hand_actions import EnterReading
from service.judge.learnt_actions import ForgetLearnt, LearntTold
from service.judge.limits import Celsius, JointSide, Limits
from service.judge.outcome_actions import AddPhoto, DropPhoto, SayOutcome
from service.judge.procedure_actions import TakeBackTick, TickStep, UseProcedure, WriteProcedure
from service.judge.trip_actions import (
    AnswerQuestion,
    BeginHeat,
    BeginPass,
    BeginPurge,
    CorrectPass,
    CorrectPhase,
    EndHeat,
    EndPass,
    EndPurge,
    HeatPhase,
    MovePart,
    NextStep,
    Origin,
    PinHeat,
    UndoStep,
    WriteNote,
)
from service.physics.thermocouple import Letter
from service.readings import ChannelKind

__all__ = [
    "AddPhoto",
    "AnswerQuestion",
    "BeginHeat",
    "BeginPass",
    "BeginPurge",
    "CalibrateChannel",
    "Celsius",
    "ChannelName",
    "CorrectPass",
    "CorrectPhase",
    "DropPhoto",
    "EndHeat",
    "EndPass",
    "EndPurge",
    "EnterReading",
    "ForgetLearnt",
    "HeatPhase",
    "JointSide",
    "LearntTold",
    "Limits",
    "MovePart",
    "Name",
    "NextStep",
    "Origin",
    "PinHeat",
    "RateProbe",
    "SayOutcome",
    "TakeBackTick",
    "TickStep",
    "UndoStep",
    "UseProcedure",
    "WriteNote",
    "WriteProcedure",
]
"""From the other modules of actions; everything defined here is public too."""

Metal = Literal[
    "iron, unknown",
    "grey iron",
    "ductile iron",
    "compacted graphite iron",
    "malleable iron",
    "high-silicon-molybdenum ductile iron",
    "austenitic iron",
    "cast austenitic stainless",
    "heat-resistant stainless, high carbon",
    "heat-resistant stainless, ferritic",
    "carbon steel",
]

WeldMethod = Literal["hot", "cold"]
"""Hot: preheated and kept hot. Cold: short beads, an upper limit only."""

SizeKnown = Literal["weighed and measured", "by eye", "like another part"]
VolumeKnown = Literal["filled with water", "worked out", "by eye"]


class PartFacts(BaseModel):
    """What is known of a part; nothing but the name is required.

    Attributes:
        name: What the shop calls it.
        metal: Casting metal; "iron, unknown" is a valid answer.
        mass_kg: Mass of the casting [kg].
        area_m2: Outer surface [m²].
        cavity_volume_l: Cold volume to be purged [l].
        hose_volume_l: Volume of the hose between flow meter and cavity [l].
        joint_wall_mm: Thickness at the joint [mm]; how long the heat of a bead takes to spread.
        thickest_mm: The thickest section [mm]; it rules the soak.
        joining_metal: What is welded to the casting, in the shop's words.
        filler: Filler metal, in the shop's words.
        method: Hot or cold; absent: nobody has said.
        size_known: How mass and surface are known.
        cavity_known: How the cavity's volume is known.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Name
    metal: Metal = "iron, unknown"
    mass_kg: Annotated[float, Field(gt=0, le=2000, allow_inf_nan=False)] | None = None
    area_m2: Annotated[float, Field(gt=0, le=50, allow_inf_nan=False)] | None = None
    cavity_volume_l: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] | None = None
    hose_volume_l: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 0.0
    joint_wall_mm: Annotated[float, Field(gt=0, le=300, allow_inf_nan=False)] | None = None
    thickest_mm: Annotated[float, Field(gt=0, le=300, allow_inf_nan=False)] | None = None
    joining_metal: Name | None = None
    filler: Name | None = None
    method: WeldMethod | None = None
    size_known: SizeKnown | None = None
    cavity_known: VolumeKnown | None = None


class AdoptChannel(BaseAction):
    """Say what a channel measures.

    Attributes:
        thermocouple: Letter of the type, for a channel that sends the bare voltage in mV.
        cold_junction: The channel that measures that voltage's terminals; goes with the letter.
    """

    kind: Literal["adopt channel"] = "adopt channel"
    channel: ChannelName
    channel_kind: ChannelKind
    thermocouple: Letter | None = None
    cold_junction: ChannelName | None = None

    @model_validator(mode="after")
    def _voltage_is_complete(self) -> AdoptChannel:
        if (self.thermocouple is None) != (self.cold_junction is None):
            raise ValueError(
                "thermocouple (the type's letter) and cold_junction (a channel) go together: "
                "a voltage needs both to become a temperature"
            )
        if self.thermocouple is not None and self.channel_kind is not ChannelKind.THERMOCOUPLE:
            raise ValueError(
                f"thermocouple and cold_junction belong to a thermocouple, "
                f"not to channel_kind {self.channel_kind}"
            )
        if self.cold_junction == self.channel:
            raise ValueError(f"cold_junction {self.channel} is the channel itself")
        return self


class AssignChannel(BaseAction):
    """Put a channel on a part, or take it off (``part_id`` absent). Dated: the fit restarts.

    Attributes:
        from_joint_mm: How far a probe sits from the groove's edge [mm]; absent: not said.
    """

    kind: Literal["assign channel"] = "assign channel"
    channel: ChannelName
    part_id: int | None
    from_joint_mm: Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)] | None = None


class CreatePart(BaseAction):
    """A new workpiece."""

    kind: Literal["create part"] = "create part"
    part_id: int = 0
    facts: PartFacts
    limits: Limits = Limits()


class ChangePart(BaseAction):
    """Replace what is known of a part. ``by``: who says so."""

    kind: Literal["change part"] = "change part"
    part_id: int
    facts: PartFacts
    by: Name | None = None


class SetLimits(BaseAction):
    """Replace a part's limits. The journal dates it; ``by``: who says so."""

    kind: Literal["set limits"] = "set limits"
    part_id: int
    limits: Limits
    by: Name | None = None


class SetBottle(BaseAction):
    """Say which argon bottle is on; its argon is counted from now.

    Attributes:
        water_volume_l: The bottle's own volume [l], as stamped on its shoulder.
        pressure_pa: What its gauge shows now [Pa over the air's]; absent: a channel measures it.
        torch_flow_l_min: What the torch is set to [l/min], counted while the arc is on where no
            torch flow channel measures it.
    """

    kind: Literal["set bottle"] = "set bottle"
    water_volume_l: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]
    pressure_pa: Annotated[float, Field(ge=0, le=35e6, allow_inf_nan=False)] | None = None
    torch_flow_l_min: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] | None = None


class AcknowledgeAlarm(BaseAction):
    """Somebody has seen it."""

    kind: Literal["acknowledge alarm"] = "acknowledge alarm"
    alarm_id: int


class ServiceStarted(BaseAction):
    """The service came up: what ran on a clock that died (a purge) is unproven again.

    ``offset_us`` is wall clock minus monotonic shop time [µs], see ``ClockStepped``.
    ``checkpoint_seq`` is the event after which the judge was kept and from which it went on;
    ``None``: it was rebuilt from the journal. A replay must do the same.
    """

    kind: Literal["service started"] = "service started"
    version: str
    offset_us: int
    checkpoint_seq: int | None = None


class ClockStepped(BaseAction):
    """The wall clock was corrected; from here arrival UTC = monotonic + ``offset_us`` [µs]."""

    kind: Literal["clock stepped"] = "clock stepped"
    offset_us: int


class RecordingChanged(BaseAction):
    """Readings are (not) reaching the database."""

    kind: Literal["recording changed"] = "recording changed"
    recording: bool
    detail: str = ""


class UpdateTimeTold(BaseAction):
    """A source promises a reading of a channel at least so often (SenML's update time).

    ``update_us``: Longest time between two readings [µs].
    """

    kind: Literal["update time told"] = "update time told"
    channel: ChannelName
    update_us: Annotated[int, Field(ge=0)]


OperatorAction = Annotated[
    AdoptChannel
    | AssignChannel
    | CalibrateChannel
    | RateProbe
    | CreatePart
    | ChangePart
    | SetLimits
    | WriteProcedure
    | UseProcedure
    | TickStep
    | TakeBackTick
    | BeginHeat
    | MovePart
    | EndHeat
    | PinHeat
    | WriteNote
    | BeginPurge
    | EndPurge
    | BeginPass
    | EndPass
    | NextStep
    | UndoStep
    | CorrectPass
    | CorrectPhase
    | AnswerQuestion
    | SetBottle
    | EnterReading
    | ForgetLearnt
    | SayOutcome
    | AddPhoto
    | DropPhoto
    | AcknowledgeAlarm,
    Field(discriminator="kind"),
]
"""What a person may send."""

ServiceAction = ServiceStarted | ClockStepped | RecordingChanged | UpdateTimeTold | LearntTold

Action = Annotated[
    AdoptChannel
    | AssignChannel
    | CalibrateChannel
    | RateProbe
    | CreatePart
    | ChangePart
    | SetLimits
    | WriteProcedure
    | UseProcedure
    | TickStep
    | TakeBackTick
    | BeginHeat
    | MovePart
    | EndHeat
    | PinHeat
    | WriteNote
    | BeginPurge
    | EndPurge
    | BeginPass
    | EndPass
    | NextStep
    | UndoStep
    | CorrectPass
    | CorrectPhase
    | AnswerQuestion
    | SetBottle
    | EnterReading
    | ForgetLearnt
    | SayOutcome
    | AddPhoto
    | DropPhoto
    | AcknowledgeAlarm
    | ServiceStarted
    | ClockStepped
    | RecordingChanged
    | UpdateTimeTold
    | LearntTold,
    Field(discriminator="kind"),
]

operator_action: TypeAdapter[OperatorAction] = TypeAdapter(OperatorAction)
"""Reads an operator action from JSON; raises ``pydantic.ValidationError`` listing every fault."""

any_action: TypeAdapter[Action] = TypeAdapter(Action)
"""Reads any action back from the journal."""
