"""What one heat taught of its part, and what all of them teach together.

A lesson is a number with its uncertainty and the range it was seen in; nothing is believed beyond
that (a little beyond for a loss: there the shape of the law is known better than its size).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import get_args

from service.procedure.pooling import Pooled, pool
from service.readings import LearntQuantity, Spread

Quantity = LearntQuantity
QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)

IN_KELVIN: frozenset[Quantity] = frozenset({"oven above its setting", "oven overshoot"})
"""Told as a difference; every other quantity is positive and told as a factor."""
BETWEEN: dict[Quantity, float] = {
    "loss carried": 0.15,
    "loss bare": 0.10,
    "loss on cold steel": 0.15,
    "loss under cover": 0.20,
    "loss in the oven off": 0.15,
    "cavity volume": 0.10,
    "cavity mixing": 0.15,
    "cavity leak": 0.50,
    "oven time": 0.20,
    "oven above its setting": 5.0,
    "oven overshoot": 5.0,
}
"""What heats of one part differ by before anything is known, of the logarithm or in K; judgement,
no source, except that 0.10 bare is what the planner has been tried with."""
SIGMAS_OF_90 = 1.645
BEYOND_SHARE = 0.25
"""A loss is believed so far beyond its range, as a share of the height above the air at its end.
To 0.75 of the height all convection and all radiation differ by 0.14 to 0.28 of the logarithm (own
calculation); how they share the loss is known within 0.15, so the shape is within 4 %."""
AIR_C = 20.0


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one heat taught of one quantity.

    Attributes:
        value: K/s at the law's reference for a loss (``loss_law``), but for "on cold steel" the
            factor on the loss bare; l; a factor; l/min; min; K.
        sd: Its standard deviation: of the logarithm, or in K (``IN_KELVIN``).
        low, high: The range in which it was seen: °C, for the cavity the argon flow [l/min].
    """

    heat_id: int
    quantity: Quantity
    value: float
    sd: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Learnt:
    """What all heats of a part teach of one quantity; units as in ``Lesson``.

    Attributes:
        value: Of the part's mean heat, with its 90 % range; ``next``: the range of its next heat.
        pooled: The same as ``pooling`` tells it: of the logarithm, or in K.
        low, high: From the least to the greatest at which any heat saw it.
        heat_ids: The heats, oldest first.
    """

    quantity: Quantity
    value: Spread
    next: Spread
    pooled: Pooled
    low: float
    high: float
    heat_ids: tuple[int, ...]

    def believed_c(self) -> tuple[float, float]:
        """Temperatures between which a loss is believed [°C]."""
        return (
            self.low - BEYOND_SHARE * max(self.low - AIR_C, 0.0),
            self.high + BEYOND_SHARE * max(self.high - AIR_C, 0.0),
        )


def learnt_from(lessons: Iterable[Lesson]) -> dict[Quantity, Learnt]:
    """Pool the lessons of all heats of one part, quantity by quantity."""
    by_quantity: dict[Quantity, list[Lesson]] = {}
    for lesson in sorted(lessons, key=lambda each: each.heat_id):
        by_quantity.setdefault(lesson.quantity, []).append(lesson)
    return {
        quantity: _learnt(quantity, by_quantity[quantity])
        for quantity in QUANTITIES
        if quantity in by_quantity
    }


def _learnt(quantity: Quantity, lessons: Sequence[Lesson]) -> Learnt:
    plain = quantity in IN_KELVIN
    values = [each.value if plain else math.log(each.value) for each in lessons]
    pooled = pool(values, [each.sd for each in lessons], BETWEEN[quantity])
    return Learnt(
        quantity,
        _spread(pooled.mean, pooled.sd, plain),
        _spread(pooled.mean, pooled.next_sd, plain),
        pooled,
        min(each.low for each in lessons),
        max(each.high for each in lessons),
        tuple(each.heat_id for each in lessons),
    )


def _spread(mean: float, sd: float, plain: bool) -> Spread:
    ends = [mean - SIGMAS_OF_90 * sd, mean, mean + SIGMAS_OF_90 * sd]
    return Spread(*ends) if plain else Spread(*(math.exp(each) for each in ends))
