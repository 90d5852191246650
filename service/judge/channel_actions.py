"""What is said of a channel beyond what it measures and where it sits."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from service.judge.action_base import BaseAction, ChannelName
from service.judge.calibration import DAY_US, Check, fault_of
from service.physics.fixed_points import ICE_POINT_C, boiling_point_c, standard_pressure_pa
from service.physics.flow_meter import FlowMeter, Principle
from service.physics.thermocouple import Letter
from service.physics.thermocouple_tolerance import ToleranceClass, tolerance_k

CHECKS_MOST = 10


Against = Literal["known value", "ice point", "boiling point", "beside"]
"""What a channel is checked against: something known, melting ice, boiling water, another probe."""


class CheckPoint(BaseModel):
    """What a channel read, and what it should have read, in its own unit inside the service.

    Attributes:
        reads: What it read.
        true: What it should have read; absent for ice and boiling water, which say it themselves.
        against: What it was checked against.
        pressure_pa, altitude_m: For boiling water, one of them: the air's own pressure [Pa] is
            better, for the weather moves that of an altitude [m] by 0.8 K of boiling point.
        beside: The reference it was held beside.
        most_off: If it differs by more than this, it has failed.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    reads: Annotated[float, Field(allow_inf_nan=False)]
    true: Annotated[float, Field(allow_inf_nan=False)] | None = None
    against: Against = "known value"
    pressure_pa: Annotated[float, Field(allow_inf_nan=False)] | None = None
    altitude_m: Annotated[float, Field(allow_inf_nan=False)] | None = None
    beside: ChannelName | None = None
    most_off: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _says_what_is_true(self) -> CheckPoint:
        by_itself = self.against in ("ice point", "boiling point")
        if by_itself == (self.true is not None):
            wanted = "goes without" if by_itself else "needs"
            raise ValueError(f"a check against {self.against} {wanted} true")
        airs = [each for each in (self.pressure_pa, self.altitude_m) if each is not None]
        if len(airs) != (1 if self.against == "boiling point" else 0):
            raise ValueError(
                "pressure_pa or altitude_m, one of them, goes with the boiling point and with "
                "nothing else"
            )
        if (self.beside is not None) != (self.against == "beside"):
            raise ValueError("beside (a reference's name) goes with against beside, and only so")
        self.known()
        return self

    def known(self) -> float:
        """What it should have read, in the channel's unit."""
        if self.against == "ice point":
            return ICE_POINT_C
        if self.pressure_pa is not None:
            return boiling_point_c(self.pressure_pa)
        if self.altitude_m is not None:
            return boiling_point_c(standard_pressure_pa(self.altitude_m))
        return self.true if self.true is not None else self.reads

    @property
    def failed(self) -> bool:
        """It differed by more than was allowed."""
        return self.most_off is not None and abs(self.reads - self.known()) > self.most_off

    @property
    def words(self) -> str:
        """What it was checked against, and by how much it differed; empty where nothing is said."""
        what: str = self.against
        if self.against == "known value":
            what = ""
        elif self.against == "boiling point":
            air = (
                f"{self.altitude_m:g} m" if self.pressure_pa is None else f"{self.pressure_pa:g} Pa"
            )
            what = f"water boiling at {air}"
        elif self.beside is not None:
            what = f"beside {self.beside}"
        if self.most_off is None:
            return what
        verdict = "FAILED" if self.failed else "within"
        off = f"differs by {self.reads - self.known():+.3g}, {verdict} {self.most_off:g}"
        return f"{what} {off}".strip()


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

    @property
    def words(self) -> str:
        """The note, and what each check was against."""
        return "; ".join(each for each in (*(c.words for c in self.checks), self.note) if each)

    def due_us(self, at_us: int) -> int | None:
        """When the next check is due [µs UTC]; at once, if one has failed."""
        if any(each.failed for each in self.checks):
            return at_us
        return None if self.valid_days is None else at_us + round(self.valid_days * DAY_US)

    def as_checks(self) -> tuple[Check, ...]:
        """The checks as the judge keeps them."""
        if self.scale is not None:
            top = METER_TOP_L_MIN
            return (Check(0.0, 0.0), Check(top, top * self.scale.argon_per_shown()))
        return tuple(Check(each.reads, each.known()) for each in self.checks)


class RateProbe(BaseAction):
    """Say how far a probe may be off: its wire's class, its drift, its checks' own uncertainty.

    Forecasts allow for it. Dated; saying nothing takes back what was said.

    Attributes:
        letter, tolerance_class: Type and class of the wire, together.
        drift_k_per_year: How fast it goes astray, either way [K a year].
        check_off_k: How far its checks may be off themselves, 19 times in 20 [K].
    """

    kind: Literal["rate probe"] = "rate probe"
    channel: ChannelName
    letter: Letter | None = None
    tolerance_class: ToleranceClass | None = None
    drift_k_per_year: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 0.0
    check_off_k: Annotated[float, Field(gt=0, le=50, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _is_whole(self) -> RateProbe:
        if (self.letter is None) != (self.tolerance_class is None):
            raise ValueError("letter and tolerance_class go together: one says nothing alone")
        if self.letter is not None and self.tolerance_class is not None and self.letter == "B":
            tolerance_k(self.letter, self.tolerance_class, 1000.0)
        return self

    @property
    def words(self) -> str:
        """What was said, in one line."""
        said = []
        if self.letter is not None:
            said.append(f"type {self.letter}, {self.tolerance_class}")
        if self.check_off_k is not None:
            said.append(f"checks ± {self.check_off_k:g} K")
        if self.drift_k_per_year:
            said.append(f"drift {self.drift_k_per_year:g} K a year")
        return ", ".join(said)
