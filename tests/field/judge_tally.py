"""What a campaign of the judge counts."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any


@dataclass
class Tally:
    """What happened; ``broken`` is empty when every promise was kept."""

    hours: float = 0.0
    episodes: int = 0
    replayed: int = 0
    readings: int = 0
    calibrated: int = 0
    faults: Counter[str] = field(default_factory=Counter)
    actions: Counter[str] = field(default_factory=Counter)
    seconds_of_verdict: Counter[str] = field(default_factory=Counter)
    seconds_clear: int = 0
    seconds_clear_above_limit: int = 0
    verdict_changes: int = 0
    alarms_raised: Counter[str] = field(default_factory=Counter)
    alarm_steps: Counter[str] = field(default_factory=Counter)
    broken: Counter[str] = field(default_factory=Counter)
    examples: dict[str, str] = field(default_factory=dict)

    def add(self, other: Tally) -> None:
        for name in self.__dataclass_fields__:
            mine, others = getattr(self, name), getattr(other, name)
            if isinstance(mine, Counter):
                mine.update(others)
            elif isinstance(mine, dict):
                setattr(self, name, {**others, **mine})
            else:
                setattr(self, name, mine + others)

    def plain(self) -> dict[str, Any]:
        """As JSON wants it."""
        return {
            name: dict(sorted(value.items())) if isinstance(value, dict) else value
            for name in self.__dataclass_fields__
            for value in [getattr(self, name)]
        }
