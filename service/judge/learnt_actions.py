"""What past heats taught of a part: told to the judge, and set aside by whoever doubts it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from service.judge.action_base import BaseAction, Name
from service.readings import LearntQuantity

Positive = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]
Celsius = Annotated[float, Field(ge=-50, le=1400, allow_inf_nan=False)]


class ForgetLearnt(BaseAction):
    """Set aside what a part's heats so far taught; later ones teach anew.

    No reading and no record is touched: the same with ``take_back`` lets them count again.

    Attributes:
        quantity: Of what; absent: of everything.
        take_back: The last "forget" of it was not meant.
        by: Who says so.
    """

    kind: Literal["forget learnt"] = "forget learnt"
    part_id: int
    quantity: LearntQuantity | None = None
    take_back: bool = False
    by: Name | None = None


class LearntLoss(BaseModel):
    """How the part's heats lost heat bare on the bench, pooled.

    Attributes:
        rate_k_s: Cooling rate at ``at_c`` in air of 20 °C [K/s].
        radiative_share: How it falls with the temperature: 1 radiation, 0 convection.
        low_c, high_c: Between which temperatures it is believed [°C].
        heats: How many taught it.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    rate_k_s: Positive
    at_c: Celsius
    radiative_share: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
    low_c: Celsius
    high_c: Celsius
    heats: Annotated[int, Field(ge=1)]


class LearntVolume(BaseModel):
    """What the part's cavity has behaved as under an oxygen sensor [l]."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    p05: Positive
    p50: Positive
    p95: Positive


class LearntTold(BaseAction):
    """What a part's heats teach now, for its next one; worked out from their records.

    Absent: nothing (any more). A replay takes it from the journal, and so judges the same.
    """

    kind: Literal["learnt told"] = "learnt told"
    part_id: int
    loss: LearntLoss | None = None
    volume_l: LearntVolume | None = None
