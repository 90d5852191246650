"""What is said of a channel beyond what it measures and where it sits."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from service.judge.action_base import BaseAction, ChannelName
from service.judge.calibration import Check, fault_of
from service.physics.flow_meter import FlowMeter, Principle

CHECKS_MOST = 10


class CheckPoint(BaseModel):
    """What a channel read, and what it should have read, in its own unit inside the service."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    reads: Annotated[float, Field(allow_inf_nan=False)]
    true: Annotated[float, Field(allow_inf_nan=False)]


class MeterScale(BaseModel):
    """What a flow meter's scale is for, as in ``physics.flow_meter.FlowMeter``.

    Attributes:
        principle: A float in a tube, or a thermal sensor.
        scaled_for: Gas of the scale: "argon", "air", "nitrogen" or "carbon dioxide".
        gas_factor: A thermal meter's own factor for argon, from its papers.
        litres_at: What its litre is, such as "0 °C, 1 atm".
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    principle: Principle = "argon"
    scaled_for: str = "argon"
    gas_factor: Annotated[float, Field(allow_inf_nan=False)] | None = None
    litres_at: str = "20 °C, 1 atm"

    @model_validator(mode="after")
    def _is_one(self) -> MeterScale:
        self.argon_per_shown()
        return self

    def argon_per_shown(self) -> float:
        """True argon litres per litre shown [1]."""
        meter = FlowMeter(self.principle, self.scaled_for, self.gas_factor, self.litres_at)
        return meter.argon_per_shown()


METER_TOP_L_MIN = 300.0
"""A meter's scale is made good up to here [l/min]: more no channel may show."""


class CalibrateChannel(BaseAction):
    """A channel was checked against known values. Dated: what was read before stays as it was.

    Attributes:
        checks: From the lowest to the highest; none takes the calibration off.
        scale: For a flow meter nobody has checked against another: what its scale is for. Checks
            against true argon hold the scale in them, so that one excludes the other.
        valid_days: For how long it is trusted [d]; absent: nobody has said.
        note: Against what, by whom.
    """

    kind: Literal["calibrate channel"] = "calibrate channel"
    channel: ChannelName
    checks: Annotated[tuple[CheckPoint, ...], Field(max_length=CHECKS_MOST)]
    scale: MeterScale | None = None
    valid_days: Annotated[float, Field(gt=0, le=3660, allow_inf_nan=False)] | None = None
    note: Annotated[str, Field(max_length=200)] = ""

    @model_validator(mode="after")
    def _is_one(self) -> CalibrateChannel:
        if self.scale is not None and self.checks:
            raise ValueError(
                "checks and scale exclude one another: checks against true argon hold the scale"
            )
        fault = fault_of(self.as_checks())
        if fault is not None:
            raise ValueError(fault)
        return self

    def as_checks(self) -> tuple[Check, ...]:
        """The checks as the judge keeps them."""
        if self.scale is not None:
            top = METER_TOP_L_MIN
            return (Check(0.0, 0.0), Check(top, top * self.scale.argon_per_shown()))
        return tuple(Check(each.reads, each.true) for each in self.checks)
