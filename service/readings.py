"""The values that flow through everything: measurements, readings, spreads.

A *measurement* is what a decoder found in some bytes; it knows nothing of arrival. A *reading*
is a measurement that has arrived: it has a source time, both arrival clocks, a quality and a
place in the order in which the judge was given things. Readings are facts: never edited,
smoothed or filled in.

Both are named tuples: as unchangeable as a frozen dataclass, and made in a seventh of the time,
which counts where every reading is made twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, NamedTuple


class Quality(StrEnum):
    """How far a reading can be believed."""

    GOOD = "good"
    SUSPECT = "suspect"
    """A number that may be nonsense (an impossible jump, say): kept, but it meets no limit."""
    BAD = "bad"
    """No usable number; the reading carries the reason."""


class ChannelKind(StrEnum):
    """What a channel measures, in the trade's words."""

    THERMOCOUPLE = "thermocouple"
    COLD_JUNCTION = "cold junction"
    """The terminals of thermocouples that arrive as voltages."""
    AMBIENT = "ambient"
    GAS_FLOW = "gas flow"
    OXYGEN = "oxygen"
    """In the purged cavity."""
    ROOM_OXYGEN = "room oxygen"
    """In the air of the shop."""
    TORCH_FLOW = "torch flow"
    """Argon to the torch; it shares the bottle with the purge."""
    BOTTLE_PRESSURE = "bottle pressure"
    ARC = "arc"
    BUTTON = "button"


class Measurement(NamedTuple):
    """One decoded value, before it is known when it arrived.

    Attributes:
        name: Channel name as sent (SenML base name and name joined).
        unit: Unit inside the service (see ``service.units``), or ``None`` when only a fault
            came, without a unit.
        value: The number in ``unit``; ``None`` when there is none. An out-of-range or otherwise
            bad number is kept here beside its ``reason``.
        reason: Why the value must not be used; ``None`` for a good one.
        time_us: Absolute source time [µs since 1970-01-01 UTC], or ``None``.
        offset_us: Source time relative to arrival [µs], used when ``time_us`` is ``None``;
            0 means "now", negative is the past.
        update_us: The longest time to the next reading that the source promises [µs], or ``None``.
    """

    name: str
    unit: str | None
    value: float | None
    reason: str | None = None
    time_us: int | None = None
    offset_us: int = 0
    update_us: int | None = None


class Reading(NamedTuple):
    """One arrived value of one channel.

    Attributes:
        channel: Channel name, unique in the shop.
        unit: Unit inside the service, or ``None`` when the channel has only ever sent faults.
        value: The number as measured, in ``unit``; kept even when ``quality`` is bad.
        quality: Whether it may be used.
        reason: Why it is bad or suspect; ``None`` when good.
        t_us: Source time [µs UTC]; the arrival time where the source sent none.
        arrived_us: Arrival by the wall clock [µs UTC].
        mono_us: Arrival by the monotonic clock [µs, origin arbitrary, never steps].
        seq: Place in the order in which the judge was given readings and actions; from 1.
        timed: The source sent ``t_us`` itself.
    """

    channel: str
    unit: str | None
    value: float | None
    quality: Quality
    reason: str | None
    t_us: int
    arrived_us: int
    mono_us: int
    seq: int
    timed: bool = False

    @property
    def delay_us(self) -> int:
        """Arrival minus source time [µs]; negative when the source clock runs ahead."""
        return self.arrived_us - self.t_us


@dataclass(frozen=True, slots=True)
class Spread:
    """A quantity known with uncertainty: its 5 %, 50 % and 95 % points, same unit each.

    ``p95`` may be ``None`` where no upper end can be given ("at least").
    """

    p05: float
    p50: float
    p95: float | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """A spread of times [s from now], or the reason why there is none.

    Both may be set (zeros with "already below"); never neither.
    """

    time_left_s: Spread | None
    reason: str | None


LearntQuantity = Literal[
    "loss carried",
    "loss bare",
    "loss on cold steel",
    "loss under cover",
    "loss in the oven off",
    "cavity volume",
    "cavity mixing",
    "cavity leak",
    "oven time",
    "oven above its setting",
    "oven overshoot",
]
"""What the heats of a part can teach: worked out from their records, set aside by an action."""
