"""What the probe's readings are worth: noise and step size, learnt as they come."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field

_FIRST_NOISE_K = 0.5
_MEMORY = 120.0
_RECENT = 24


@dataclass(slots=True)
class Noise:
    """Running estimate of a channel's noise.

    Attributes:
        variance: Variance of one reading [K²].
        seen: How many differences the estimate rests on (capped).
        step_k: Step in which readings come [K]; 0 when they do not come in steps.
    """

    variance: float = _FIRST_NOISE_K**2
    seen: float = 4.0
    step_k: float = 0.0
    _recent: list[tuple[float, float]] = field(default_factory=list)

    def add(self, t_s: float, temperature_c: float) -> None:
        """Learn from one reading: the middle of three against the line through the other two."""
        recent = self._recent
        recent.append((t_s, temperature_c))
        if len(recent) > _RECENT:
            del recent[0]
        self._find_step()
        if len(recent) < 3:
            return
        (t0, y0), (t1, y1), (t2, y2) = recent[-3:]
        if not 0 < t2 - t0 < 8.0:
            return
        share = (t1 - t0) / (t2 - t0)
        bend = y1 - (y0 + share * (y2 - y0))
        found = bend**2 / (1 + share**2 + (1 - share) ** 2)
        self.learn(found)

    def learn(self, found_var: float) -> None:
        """Take in one independent look at the variance [K²]; huge ones count as three sigma."""
        bounded = min(found_var, 9.0 * self.variance)
        self.seen = min(self.seen + 1.0, _MEMORY)
        self.variance += (bounded - self.variance) / self.seen
        self.variance = max(self.variance, 1e-4, self.step_k**2 / 12)

    def _find_step(self) -> None:
        """Readings in steps differ by whole multiples of the step and by nothing else."""
        values = sorted({round(y, 4) for _, y in self._recent})
        gaps = [b - a for a, b in itertools.pairwise(values)]
        if not gaps:
            return
        least = min(gaps)
        if least < 0.04 or any(abs(g / least - round(g / least)) > 0.02 for g in gaps):
            self.step_k = 0.0
            return
        self.step_k = least

    def of_reading(self, spacing_s: float, rate_k_s: float) -> float:
        """Variance to give the next reading [K²].

        Readings that stand still on one step repeat the same error: within one step they count
        as one reading, so each is worth less.
        """
        if self.step_k == 0.0:
            return self.variance
        noise = math.sqrt(max(self.variance - self.step_k**2 / 12, 0.0))
        moved = max(abs(rate_k_s) * spacing_s, noise, 1e-3)
        repeats = min(max(1.0, self.step_k / moved), 60.0)
        return self.variance + self.step_k**2 / 12 * repeats
