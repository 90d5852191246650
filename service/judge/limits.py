"""What a part may be welded within."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Celsius = Annotated[float, Field(ge=-50, le=1400, allow_inf_nan=False)]

JointSide = Literal["casting", "tube"]
"""The two sides of a joint: the part itself, and what is welded to it."""


class Limits(BaseModel):
    """What the procedure allows for one part; every limit may be absent.

    Attributes:
        preheat_min_c: Tp of ISO 13916, the least temperature before any pass [°C].
        interpass_max_c: Ti of ISO 13916, the highest temperature before the next pass [°C].
        cooling_max_c_per_h: Fastest cooling allowed while covered [°C/h], positive.
        oxygen_max_ppm: Highest oxygen in the purged cavity [ppm]; absent: purge not judged.
        carry_max_s: How long probes may be unplugged for the carry [s]; absent: 300 s.
        tube_preheat_min_c, tube_interpass_max_c: The same two for the other side of the joint,
            where it has limits of its own [°C].
        governing_side: Whose temperatures count where the two sides cannot both be kept; absent:
            nobody has chosen, and nothing is judged until somebody does.
        gas_off_below_c: The purge stays on after the last pass until the root is colder [°C].
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    preheat_min_c: Celsius | None = None
    interpass_max_c: Celsius | None = None
    cooling_max_c_per_h: Annotated[float, Field(gt=0, le=5000, allow_inf_nan=False)] | None = None
    oxygen_max_ppm: Annotated[float, Field(gt=0, le=209_000, allow_inf_nan=False)] | None = None
    carry_max_s: Annotated[float, Field(ge=10, le=3600, allow_inf_nan=False)] | None = None
    tube_preheat_min_c: Celsius | None = None
    tube_interpass_max_c: Celsius | None = None
    governing_side: JointSide | None = None
    gas_off_below_c: Celsius | None = None

    @model_validator(mode="after")
    def _windows_are_open(self) -> Limits:
        for prefix in ("", "tube_"):
            low: float | None = getattr(self, f"{prefix}preheat_min_c")
            high: float | None = getattr(self, f"{prefix}interpass_max_c")
            if low is not None and high is not None and high <= low:
                raise ValueError(
                    f"{prefix}interpass_max_c {high:g} must be above {prefix}preheat_min_c "
                    f"{low:g}: otherwise no temperature lies between the limits"
                )
        return self
