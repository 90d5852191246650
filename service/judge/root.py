"""The root after the last bead: it stays under gas until it is too cold to colour.

Only where the procedure gives a temperature for it (on a one-pass thin tube 200 to 250 °C is usual;
common practice, no source). Unknown counts as hot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.judge.heat_verdict import ProbeView, beside
from service.judge.shop import Heat, Part
from service.readings import Forecast


@dataclass(slots=True)
class Root:
    """What is known of a welded root.

    Attributes:
        gas_off_below_c: The temperature below which the gas may go off [°C]; ``None``: not asked.
        welded: A bead has been laid in this heat and the arc is out.
        cooled: It has been seen below since the last bead.
        temperature_c: The hottest probe beside the weld [°C]; ``None``: not known now.
        channel: That probe.
        cool_in: When it will be below.
    """

    gas_off_below_c: float | None = None
    welded: bool = False
    cooled: bool = False
    temperature_c: float | None = None
    channel: str | None = None
    cool_in: Forecast | None = None

    @property
    def needs_gas(self) -> bool:
        """It is welded and has not been seen cold enough since."""
        return self.welded and not self.cooled and self.gas_off_below_c is not None

    def look(self, heat: Heat, part: Part, probes: Sequence[ProbeView]) -> None:
        """What the probes beside the weld say now."""
        self.gas_off_below_c = part.gas_off_below_c
        self.welded = heat.passes > 0 and not heat.pass_running
        judged = beside(probes)
        hottest = max(
            (p for p in judged if p.most_c is not None), key=lambda p: p.most_c or 0.0, default=None
        )
        sure = hottest is not None and all(p.temperature_c is not None for p in judged)
        self.channel = None if hottest is None else hottest.channel
        self.temperature_c = hottest.most_c if hottest is not None and sure else None
        if heat.pass_running:
            self.cooled = False
        elif self.temperature_c is not None and self.gas_off_below_c is not None:
            self.cooled = self.cooled or self.temperature_c < self.gas_off_below_c
        if not self.needs_gas:
            self.cool_in = None
