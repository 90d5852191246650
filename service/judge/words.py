"""Numbers said the way a person at the bench says them."""

from __future__ import annotations

import re
from collections.abc import Sequence

_NUMBER = re.compile(r"[-−]?\d+(?:[.:]\d+)*")


def duration(seconds: float) -> str:
    """A time [s, >= 0] as ``0:09``, ``4:10`` or ``2 h 05 min``."""
    whole = max(0, int(seconds))
    if whole < 3600:
        return f"{whole // 60}:{whole % 60:02d}"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def degrees(temperature_c: float) -> str:
    """A temperature [°C] to the whole degree."""
    return f"{temperature_c:.0f} °C"


def listed(names: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def spoken(lead: str, detail: str | None) -> str:
    """A reason and what follows from it as one sentence."""
    text = lead if not detail else f"{lead}: {detail}"
    return f"{text[:1].upper()}{text[1:]}."


def without_numbers(text: str) -> str:
    """The sentence with every number masked: two sentences that differ only in their numbers
    say the same thing."""
    return _NUMBER.sub("#", text)
