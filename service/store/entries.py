"""What the writer is given, and the same as bytes for the spool file.

The bytes are JSON: exact for whole numbers and for floats (shortest digits that read back the
same), and readable by a person who has to look into a spool with an editor.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from service.judge.actions import any_action
from service.judge.events import Acted, AlarmChange, Outcome, Stamp, TripChange, VerdictChange
from service.readings import Quality, Reading
from service.wire.pack import Pack


@dataclass(frozen=True, slots=True)
class PackMark:
    """What tells a sender's pack from every other of its link.

    Attributes:
        link: Name of the link it came by.
        boot: The sender's power-up mark.
        number: The sender's count of packs since then (``seq`` on the wire).
    """

    link: str
    boot: str
    number: int

    @classmethod
    def of(cls, link: str, pack: Pack) -> PackMark | None:
        """A pack's mark, if its sender gives any."""
        if pack.boot is None or pack.seq is None:
            return None
        return cls(link, pack.boot, pack.seq)


@dataclass(frozen=True, slots=True)
class Arrived:
    """Readings that came together (one message or line) and are acknowledged together."""

    readings: tuple[Reading, ...]
    mark: PackMark | None = None


@dataclass(frozen=True, slots=True)
class Lost:
    """Readings that could be kept nowhere: how many, between which arrivals [µs UTC], why."""

    readings: int
    from_us: int
    to_us: int
    why: str


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """The judge's state after the event ``seq``, opaque here."""

    seq: int
    state: bytes


Entry = Arrived | Acted | Outcome | Lost | Checkpoint


class NotAnEntry(ValueError):
    """Bytes that ``encode`` did not write."""


def encode(entry: Entry) -> bytes:
    """An entry as one JSON document in UTF-8."""
    return json.dumps(_plain(entry), ensure_ascii=False, separators=(",", ":")).encode(
        # A name with half a surrogate pair must not stop the spool.
        "utf-8",
        "surrogatepass",
    )


def decode(data: bytes) -> Entry:
    """The entry that ``encode`` wrote.

    Raises:
        NotAnEntry: Not such a document.
    """
    try:
        return _entry(json.loads(data.decode("utf-8", "surrogatepass")))
    except (ValueError, KeyError, TypeError) as error:
        raise NotAnEntry(f"not an entry of the spool: {error!r}") from error


def latest(entry: Entry) -> tuple[int, int]:
    """Highest place in the order and latest monotonic time [µs] of anything in an entry."""
    if isinstance(entry, Arrived):
        return (
            max((reading.seq for reading in entry.readings), default=0),
            max((reading.mono_us for reading in entry.readings), default=0),
        )
    if isinstance(entry, Acted):
        return entry.stamp.seq, entry.stamp.mono_us
    if isinstance(entry, Checkpoint):
        return entry.seq, 0
    if isinstance(entry, Lost):
        return 0, 0
    monos = [change.mono_us for change in entry.alarms]
    monos += [change.mono_us for change in entry.verdicts]
    monos += [change.mono_us for change in entry.trips]
    return 0, max(monos, default=0)


def _plain(entry: Entry) -> dict[str, Any]:
    if isinstance(entry, Arrived):
        document: dict[str, Any] = {"readings": [_reading_row(each) for each in entry.readings]}
        if entry.mark is not None:
            document["mark"] = [entry.mark.link, entry.mark.boot, entry.mark.number]
        return document
    if isinstance(entry, Acted):
        return {"stamp": asdict(entry.stamp), "action": entry.action.model_dump(mode="json")}
    if isinstance(entry, Lost):
        return {"lost": asdict(entry)}
    if isinstance(entry, Checkpoint):
        return {"checkpoint": entry.seq, "state": entry.state.hex()}
    return {
        "alarms": [asdict(change) for change in entry.alarms],
        "verdicts": [asdict(change) for change in entry.verdicts],
        "trips": [asdict(change) for change in entry.trips],
    }


def _entry(document: dict[str, Any]) -> Entry:
    if "readings" in document:
        mark = document.get("mark")
        return Arrived(
            tuple(_reading(row) for row in document["readings"]),
            None if mark is None else PackMark(*mark),
        )
    if "action" in document:
        return Acted(Stamp(**document["stamp"]), any_action.validate_python(document["action"]))
    if "checkpoint" in document:
        return Checkpoint(document["checkpoint"], bytes.fromhex(document["state"]))
    if "lost" in document:
        return Lost(**document["lost"])
    return Outcome(
        alarms=[AlarmChange(**change) for change in document["alarms"]],
        verdicts=[VerdictChange(**change) for change in document["verdicts"]],
        trips=[TripChange(**change) for change in document.get("trips", [])],
    )


def _reading_row(reading: Reading) -> list[Any]:
    return [
        reading.channel,
        reading.unit,
        reading.value,
        reading.quality.value,
        reading.reason,
        reading.t_us,
        reading.arrived_us,
        reading.mono_us,
        reading.seq,
        reading.timed,
    ]


def _reading(row: Sequence[Any]) -> Reading:
    channel, unit, value, quality, reason, t_us, arrived_us, mono_us, seq, timed = row
    return Reading(
        channel=channel,
        unit=unit,
        value=value,
        quality=Quality(quality),
        reason=reason,
        t_us=t_us,
        arrived_us=arrived_us,
        mono_us=mono_us,
        seq=seq,
        timed=timed,
    )
