"""What is said of a channel beyond what it measures and where it sits."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from service.judge.action_base import BaseAction, ChannelName
from service.judge.calibration import Check, fault_of

CHECKS_MOST = 10


class CheckPoint(BaseModel):
    """What a channel read, and what it should have read, in its own unit inside the service."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    reads: Annotated[float, Field(allow_inf_nan=False)]
    true: Annotated[float, Field(allow_inf_nan=False)]


class CalibrateChannel(BaseAction):
    """A channel was checked against known values. Dated: what was read before stays as it was.

    Attributes:
        checks: From the lowest to the highest; none takes the calibration off.
        valid_days: For how long it is trusted [d]; absent: nobody has said.
        note: Against what, by whom.
    """

    kind: Literal["calibrate channel"] = "calibrate channel"
    channel: ChannelName
    checks: Annotated[tuple[CheckPoint, ...], Field(max_length=CHECKS_MOST)]
    valid_days: Annotated[float, Field(gt=0, le=3660, allow_inf_nan=False)] | None = None
    note: Annotated[str, Field(max_length=200)] = ""

    @model_validator(mode="after")
    def _is_one(self) -> CalibrateChannel:
        fault = fault_of(self.as_checks())
        if fault is not None:
            raise ValueError(fault)
        return self

    def as_checks(self) -> tuple[Check, ...]:
        """The checks as the judge keeps them."""
        return tuple(Check(each.reads, each.true) for each in self.checks)
