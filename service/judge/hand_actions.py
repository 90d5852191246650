"""A reading that somebody took with his own eyes and typed in."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from service.judge.action_base import BaseAction, Name
from service.readings import ChannelKind

HandMethod = Literal[
    "crayon melted", "crayon not melted", "contact probe", "infrared", "ball meter"
]
"""How it was taken. A crayon says only on which side of its temperature the part is."""

KIND_OF_METHOD: dict[HandMethod, ChannelKind] = {
    "crayon melted": ChannelKind.THERMOCOUPLE,
    "crayon not melted": ChannelKind.THERMOCOUPLE,
    "contact probe": ChannelKind.THERMOCOUPLE,
    "infrared": ChannelKind.THERMOCOUPLE,
    "ball meter": ChannelKind.GAS_FLOW,
}
UNIT_OF_METHOD = {
    method: "l/min" if kind is ChannelKind.GAS_FLOW else "Cel"
    for method, kind in KIND_OF_METHOD.items()
}
RANGE_OF_UNIT = {"Cel": (-50.0, 1400.0), "l/min": (0.0, 300.0)}

LEAST_OFF: dict[HandMethod, tuple[float, float]] = {
    "crayon melted": (1.0, 0.01),
    "crayon not melted": (1.0, 0.01),
    "contact probe": (3.0, 0.015),
    "infrared": (10.0, 0.05),
    "ball meter": (1.0, 0.1),
}
"""Usual error, either way, 19 times in 20: a floor [K or l/min] and a share of the value; the
greater counts. Crayons: makers' usual tolerance of 1 % (from memory); the others common practice,
no source: a handheld probe is tilted, the surface's emissivity is a guess, a ball dances."""


class EnterReading(BaseAction):
    """A reading by hand: the crayon melted, the handheld shows so much, the ball stands so high.

    It is kept as a reading like any other, on a channel of its own that is marked as by hand. It is
    believed for a minute, with its own uncertainty, and is never alone enough for a clear purge.

    Attributes:
        part_id: The part it was taken on.
        method: How it was taken.
        value: Temperature [°C] or flow [l/min].
        place: Where on the part; one channel for each place.
        plus_minus: Its error either way, 19 times in 20 [K or l/min]; absent: usual for the method.
        from_joint_mm: How far the place is from the groove's edge [mm]; absent: not said.
    """

    kind: Literal["enter reading"] = "enter reading"
    part_id: int
    method: HandMethod
    value: Annotated[float, Field(allow_inf_nan=False)]
    place: Name = "joint"
    plus_minus: Annotated[float, Field(gt=0, le=500, allow_inf_nan=False)] | None = None
    from_joint_mm: Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _value_can_be(self) -> EnterReading:
        low, high = RANGE_OF_UNIT[self.unit]
        if not low <= self.value <= high:
            raise ValueError(
                f"value {self.value:g} is not between {low:g} and {high:g} "
                f"{'°C' if self.unit == 'Cel' else self.unit}"
            )
        return self

    @property
    def unit(self) -> str:
        """Unit of ``value`` inside the service."""
        return UNIT_OF_METHOD[self.method]

    @property
    def channel_kind(self) -> ChannelKind:
        return KIND_OF_METHOD[self.method]

    @property
    def channel(self) -> str:
        """Its channel; no node can send this name, which has spaces (RFC 8428, 4.5.1)."""
        if self.channel_kind is ChannelKind.GAS_FLOW:
            return f"argon by hand, part {self.part_id}"
        return f"{self.place} by hand, part {self.part_id}"

    @property
    def off(self) -> float:
        """Its error either way, 19 times in 20 [K or l/min]."""
        floor, share = LEAST_OFF[self.method]
        return self.plus_minus or max(floor, share * abs(self.value))

    @property
    def words(self) -> str:
        """What it is, for the reading's row."""
        unit = "K" if self.unit == "Cel" else "l/min"
        return f"by hand: {self.method} at {self.place}, ± {self.off:.3g} {unit}"
