"""What the part is waited for besides its window: the soak in the oven, the bare hand at the end.

The soak counts from when the coldest probe is at preheat. Nobody tells the judge how thick the
thickest section is; the quarter of an hour that holds for sections up to about 140 mm is counted
(``weld_heat.preheat_soak_min``), and the words say so. It is no post-weld soak.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from service.judge.actions import HeatPhase
from service.judge.spreads import latest
from service.judge.words import degrees, duration
from service.physics.cooldown_answers import soaked_forecast
from service.physics.weld_heat import preheat_soak_min
from service.readings import Forecast

TOUCH_C = 43.0
"""Bare metal that may be held for hours [°C] (ISO 13732-1, from memory, confirm)."""
THICKEST_MM = 140.0
SOAK_S = 60.0 * preheat_soak_min(THICKEST_MM)
"""The soak that is counted [s] and the section it holds for [mm]."""
LET_GO_K = 2.0
"""So far below preheat the soak begins anew [K]; a reading's noise does not end it."""

What = Literal["soaked", "safe to touch"]


@dataclass(slots=True)
class Ahead:
    """What is ahead of one part.

    Attributes:
        soaking_since_us: Since when every probe has been at preheat in the oven.
        preheat_c: The preheat it counts from [°C].
        what: What is waited for; ``None``: nothing in this phase.
        comes_in: When it comes.
    """

    soaking_since_us: int | None = None
    preheat_c: float | None = None
    what: What | None = None
    comes_in: Forecast | None = None

    def look(
        self, now_us: int, phase: HeatPhase, coldest_c: float | None, preheat_c: float | None
    ) -> None:
        """What the probes say now; a temperature in doubt neither begins the soak nor ends it."""
        if phase != "oven" or preheat_c is None or preheat_c != self.preheat_c:
            self.soaking_since_us = None
        self.preheat_c = preheat_c
        if phase != "oven" or preheat_c is None or coldest_c is None:
            return
        if coldest_c < preheat_c - LET_GO_K:
            self.soaking_since_us = None
        elif coldest_c >= preheat_c and self.soaking_since_us is None:
            self.soaking_since_us = now_us

    def ask(
        self,
        now_us: int,
        phase: HeatPhase,
        reaches: Forecast | None,
        cools: Sequence[Forecast | None],
    ) -> None:
        """The newest answer.

        Args:
            now_us: Shop time [µs].
            phase: Where the part is.
            reaches: When the last probe is at preheat, in the oven.
            cools: When each probe is below ``TOUCH_C``, under the cover.
        """
        self.what, self.comes_in = None, None
        if phase == "oven" and reaches is not None:
            since_us = self.soaking_since_us
            above_s = 0.0 if since_us is None else max(0, now_us - since_us) / 1e6
            self.what, self.comes_in = "soaked", soaked_forecast(reaches, SOAK_S, above_s)
        elif phase == "slow cool" and cools:
            self.what, self.comes_in = "safe to touch", latest(cools)

    @property
    def words(self) -> str | None:
        """The answer as a person reads it; ``None``: nothing is waited for."""
        if self.what is None or self.comes_in is None:
            return None
        limit = degrees(TOUCH_C if self.what == "safe to touch" else self.preheat_c or 0.0)
        soak = f"{SOAK_S / 60:.0f} min above {limit}"
        if self.what == "soaked":
            done, what = f"soaked: {soak}", "soaked"
            note = f" ({soak}; longer where a section is thicker than {THICKEST_MM:.0f} mm)"
        else:
            done, what = f"below {limit} where it is measured: safe to touch there", self.what
            note = f" (below {limit})"
        left = self.comes_in.time_left_s
        if left is None:
            return f"when it is {what} cannot be said: {self.comes_in.reason}"
        if left.p95 == 0.0:
            return done
        most = "no upper end known" if left.p95 is None else f"at most {duration(left.p95)}"
        return f"{what} in about {duration(left.p50)}, {most}{note}"
