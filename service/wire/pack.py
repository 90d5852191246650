"""What a decoder hands up: measurements, and what it refused and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from service.readings import Measurement

TEXT_SHOWN = 60
"""Longest piece of foreign text repeated in a message [characters]."""


class RejectCause(StrEnum):
    """Why bytes did not become a reading; in the order in which the checks are made."""

    LENGTH = "length"
    """Too long: a line, a pack, a name."""
    SYNTAX = "syntax"
    """Not the format at all: no UTF-8, no JSON, no array of objects, no ``name=value``."""
    LABEL = "label"
    """A field that is missing, of the wrong type, contradictory or not understood."""
    UNIT = "unit"
    """A unit that is missing or not accepted here."""
    RANGE = "range"
    """Not a finite number. The channel still gets a bad reading that says so."""
    TIME = "time"
    """A source time that cannot be."""
    DUPLICATE = "duplicate"
    """A pack that has been here before (same ``boot`` and ``seq``)."""


@dataclass(frozen=True, slots=True)
class Reject:
    """One refusal: what, where, the value and what is allowed, in one sentence."""

    cause: RejectCause
    text: str


@dataclass(slots=True)
class Pack:
    """The outcome of decoding one message or line.

    Attributes:
        measurements: The good records and those with a fault to report, in the order sent.
        rejects: Everything refused.
        boot: The sender's power-up mark, if it sends one.
        seq: The sender's pack number since that power-up, if it sends one.
        sums_ignored: Records whose integrated sum (``s``) was left aside: no channel here
            integrates at the sensor.
        retained: The broker kept this pack for late subscribers: it may be of any age.
    """

    measurements: list[Measurement] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)
    boot: str | None = None
    seq: int | None = None
    sums_ignored: int = 0
    retained: bool = False


def count_rejects(rejects: Iterable[Reject]) -> Counter[RejectCause]:
    """How many there are of each cause."""
    return Counter(reject.cause for reject in rejects)


def shown(value: object) -> str:
    """A foreign value as it may appear in a message: quoted and short."""
    text = repr(value)
    return text if len(text) <= TEXT_SHOWN else text[: TEXT_SHOWN - 1] + "…"
