"""What is known about a link at one moment."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from service.wire.pack import RejectCause

LinkKind = Literal["serial", "mqtt", "log file"]
LAST_RAW_BYTES = 200
"""How much of the last bytes is kept for the status."""


@dataclass(frozen=True, slots=True)
class LinkStatus:
    """A link at one moment.

    Attributes:
        name: Unique among the links.
        kind: What sort of link.
        state: One phrase for a person: "open", "no such port", "refused by the broker: …".
        running: The link's thread is alive; false before the start and after the stop too.
        ready: The way is open and, for MQTT, every subscription acknowledged. No promise that
            data flow: see ``last_valid_us``.
        last_byte_us: When the last byte came [µs, monotonic shop time]; ``None``: never.
        last_valid_us: When the last pack with a measurement came [same].
        progress_us: When the link's thread last went round its loop [same].
        openings: How often the way was opened; above 0 for MQTT means that every subscription
            has been granted since the start.
        resets: How often a board behind it has powered up anew, by its ``boot`` mark.
        lines: Complete lines or messages.
        packs: Packs with at least one measurement.
        measurements: Measurements handed on.
        sums_ignored: Records of a sensor's own sums left aside.
        rejects: Refusals by cause.
        errors: Faults of our own: an intake that raised, say. Never expected.
        last_reject: The latest refusal in words.
        last_raw: The latest bytes, at most ``LAST_RAW_BYTES``.
    """

    name: str
    kind: LinkKind
    state: str
    running: bool
    ready: bool
    last_byte_us: int | None
    last_valid_us: int | None
    progress_us: int
    openings: int
    resets: int
    lines: int
    packs: int
    measurements: int
    sums_ignored: int
    rejects: Mapping[RejectCause, int]
    errors: int
    last_reject: str | None
    last_raw: bytes


@dataclass(slots=True)
class Tally:
    """What a ``LinkStatus`` is made of, while it is being counted; see there."""

    state: str = "not started"
    ready: bool = False
    last_byte_us: int | None = None
    last_valid_us: int | None = None
    progress_us: int = 0
    openings: int = 0
    resets: int = 0
    lines: int = 0
    packs: int = 0
    measurements: int = 0
    sums_ignored: int = 0
    rejects: Counter[RejectCause] = field(default_factory=Counter)
    errors: int = 0
    last_reject: str | None = None
    last_raw: bytes = b""

    def snapshot(self, name: str, kind: LinkKind, *, running: bool) -> LinkStatus:
        """A copy of it all."""
        return LinkStatus(
            name=name,
            kind=kind,
            state=self.state,
            running=running,
            ready=self.ready,
            last_byte_us=self.last_byte_us,
            last_valid_us=self.last_valid_us,
            progress_us=self.progress_us,
            openings=self.openings,
            resets=self.resets,
            lines=self.lines,
            packs=self.packs,
            measurements=self.measurements,
            sums_ignored=self.sums_ignored,
            rejects=MappingProxyType(dict(self.rejects)),
            errors=self.errors,
            last_reject=self.last_reject,
            last_raw=self.last_raw,
        )
