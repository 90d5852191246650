"""Thermocouples that arrive as voltages: their type, their terminals, and the temperature.

The reading stays what it is, millivolts. Only on its way to the gate and to the judge it becomes a
temperature, with the temperature of the terminals added as EMF. Whoever cannot say how warm the
terminals are cannot say how hot the part is: then there is a reason instead.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.physics.thermocouple import Letter, compensated_c

UNIT = "mV"
"""What such a channel sends (inside unit)."""

GATE_AGE_US = 60_000_000
"""The gate takes the terminals' last good temperature for so long [µs]: a box warms by no more than
a few kelvin a minute (common practice, no source). The judge asks more: a live channel."""


@dataclass(frozen=True, slots=True)
class Junction:
    """How a voltage channel becomes a temperature.

    Attributes:
        letter: Thermocouple type.
        channel: Name of the channel that measures the terminals (the cold junction).
    """

    letter: Letter
    channel: str

    def temperature_c(self, emf_mv: float, terminals_c: float | None) -> float | str:
        """Temperature of the hot junction [°C], or the reason why there is none.

        Args:
            emf_mv: As sent, measured at the terminals [mV].
            terminals_c: Temperature of the terminals [°C]; ``None``: not known now.

        Source: law of intermediate temperatures; reference functions of NIST Monograph 175
        (ITS-90), see ``service.physics.thermocouple``.
        """
        if terminals_c is None:
            return f"no temperature of the cold junction: {self.channel} gives none now"
        try:
            return compensated_c(self.letter, emf_mv, terminals_c)
        except ValueError as error:
            return f"out of range: {error}"
