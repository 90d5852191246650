"""A whole heat in one file: readings, journal, what the judge concluded; JSON, our own format.

The text is a function of the content: the same heat gives the same bytes, from whatever database.
``sha256`` is that of the body as written here, so that a changed digit is noticed; it is no
signature and proves nothing against somebody who means it. DEVELOPERS.md describes the format.
"""

from __future__ import annotations

import base64
import hashlib
import heapq
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from pydantic import ValidationError

from service.judge.actions import any_action
from service.judge.events import Acted, AlarmChange, Outcome, Stamp, TripChange, VerdictChange
from service.readings import Quality, Reading
from service.wire.picture import MediaType, only_the_picture

FORMAT = "heatwindow heat 1"

READING_COLUMNS = (
    "seq", "channel", "unit", "value", "quality", "reason", "t_us", "arrived_us", "mono_us",
    "timed",
)  # fmt: skip


class NotAPackage(ValueError):
    """A file that is not such a record, or not whole; one sentence: where, what, allowed."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo's file, as it lies beside the database."""

    sha256: str
    media_type: MediaType
    data: bytes


@dataclass(frozen=True, slots=True)
class Package:
    """One heat, complete in itself; what a judge is rebuilt from (``service.rebuild.Past``).

    Attributes:
        heat_id: Which.
        first_seq, last_seq: Places in the order between which every reading and action is here.
        before: Actions before that which the judge has to know: parts, channels, limits.
        acted: Actions within.
        after: What was said of the heat later: corrections and notes.
        readings: Readings within, in order of arrival.
        changes: What the judge concluded while it ran.
        gaps: Readings that could not be kept: rows of the table ``gap``.
        photos: Of every photo that its actions name and whose file was there, once each.
    """

    heat_id: int
    first_seq: int
    last_seq: int
    before: tuple[Acted, ...]
    acted: tuple[Acted, ...]
    after: tuple[Acted, ...]
    readings: tuple[Reading, ...]
    changes: Outcome
    gaps: tuple[dict[str, Any], ...]
    photos: tuple[Photo, ...] = ()

    def journal(self, from_seq: int = 0, to_seq: int | None = None) -> Iterator[Acted]:
        """Actions in order, both ends included."""
        for each in (*self.before, *self.acted, *self.after):
            if from_seq <= each.stamp.seq and (to_seq is None or each.stamp.seq <= to_seq):
                yield each

    def events(self, from_seq: int, to_seq: int | None = None) -> Iterator[Reading | Acted]:
        """Readings and actions in order, both ends included."""
        within = (
            each
            for each in self.readings
            if from_seq <= each.seq and (to_seq is None or each.seq <= to_seq)
        )
        return heapq.merge(within, self.journal(from_seq, to_seq), key=_place)


def _place(event: Reading | Acted) -> int:
    return event.seq if isinstance(event, Reading) else event.stamp.seq


# Writing -----------------------------------------------------------------------------------------


def encode(package: Package) -> bytes:
    """The file's bytes."""
    body = _body(package)
    return (
        f'{{"format":{_line(FORMAT)},\n"heat":{package.heat_id},\n'
        f'"sha256":"{_digest(body)}",\n"body":{body}}}\n'
    ).encode()


def _digest(body: str) -> str:
    return hashlib.sha256(body.encode()).hexdigest()


def _line(value: Any) -> str:
    return json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))


def _lines(values: Iterator[Any]) -> str:
    return "[\n" + ",\n".join(_line(value) for value in values) + "\n]"


def _body(package: Package) -> str:
    fields = [
        ("first_seq", _line(package.first_seq)),
        ("last_seq", _line(package.last_seq)),
        ("before", _lines(_action_row(each) for each in package.before)),
        ("journal", _lines(_action_row(each) for each in package.acted)),
        ("after", _lines(_action_row(each) for each in package.after)),
        ("reading_columns", _line(READING_COLUMNS)),
        ("readings", _lines(_reading_row(each) for each in package.readings)),
        ("alarms", _lines(asdict(each) for each in package.changes.alarms)),
        ("verdicts", _lines(asdict(each) for each in package.changes.verdicts)),
        ("trips", _lines(asdict(each) for each in package.changes.trips)),
        ("gaps", _lines(iter(package.gaps))),
    ]
    if package.photos:  # a heat without any is written as it always was
        fields.append(("photos", _lines(_photo_row(each) for each in package.photos)))
    return "{" + ",\n".join(f'"{name}":{text}' for name, text in fields) + "}"


def _action_row(acted: Acted) -> dict[str, Any]:
    stamp = acted.stamp
    return {
        "seq": stamp.seq,
        "mono_us": stamp.mono_us,
        "utc_us": stamp.utc_us,
        "action": acted.action.model_dump(mode="json"),
    }


def _reading_row(reading: Reading) -> list[Any]:
    return [
        reading.quality.value if name == "quality" else getattr(reading, name)
        for name in READING_COLUMNS
    ]


def _photo_row(photo: Photo) -> dict[str, str]:
    return {
        "sha256": photo.sha256,
        "media_type": photo.media_type,
        "base64": base64.b64encode(photo.data).decode("ascii"),
    }


# Reading -----------------------------------------------------------------------------------------


def decode(data: bytes) -> Package:
    """A package from a file's bytes.

    Raises:
        NotAPackage: Not JSON, not this format, not whole, or changed since it was written.
    """
    try:
        document = json.loads(data, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise NotAPackage(f"it is not JSON: {error}") from error
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        found = document.get("format") if isinstance(document, dict) else None
        raise NotAPackage(f"format is {found!r}; allowed is {FORMAT!r}")
    if sorted(document) != ["body", "format", "heat", "sha256"]:
        raise NotAPackage(
            f"it has the fields {', '.join(sorted(document))}; "
            "allowed are exactly body, format, heat, sha256"
        )
    package = _package(document["heat"], document["body"])
    if _digest(_body(package)) != document["sha256"]:
        raise NotAPackage(
            "its content does not fit its sha256: it was changed or damaged after it was "
            "exported; export it again"
        )
    return package


def _refuse_constant(text: str) -> Any:
    raise ValueError(f"{text} is no number")


def _package(heat_id: Any, body: Any) -> Package:
    if type(heat_id) is not int:
        raise NotAPackage(f"heat is {heat_id!r}; allowed is a whole number")
    wanted = [
        "after", "alarms", "before", "first_seq", "gaps", "journal", "last_seq", "reading_columns",
        "readings", "trips", "verdicts",
    ]  # fmt: skip
    if isinstance(body, dict) and "photos" in body:
        wanted.append("photos")
    if not isinstance(body, dict) or sorted(body) != sorted(wanted):
        raise NotAPackage(f"body does not have exactly the fields {', '.join(wanted)}")
    if body["reading_columns"] != list(READING_COLUMNS):
        raise NotAPackage(f"body.reading_columns are not {', '.join(READING_COLUMNS)}")
    for name in wanted:
        kind = int if name.endswith("_seq") else list
        if type(body[name]) is not kind:
            raise NotAPackage(f"body.{name} is not a {'whole number' if kind is int else 'list'}")
    return Package(
        heat_id=heat_id,
        first_seq=body["first_seq"],
        last_seq=body["last_seq"],
        before=tuple(_rows(body, "before", _acted)),
        acted=tuple(_rows(body, "journal", _acted)),
        after=tuple(_rows(body, "after", _acted)),
        readings=tuple(_rows(body, "readings", _reading)),
        changes=Outcome(
            alarms=_rows(body, "alarms", lambda row: AlarmChange(**row)),
            verdicts=_rows(body, "verdicts", lambda row: VerdictChange(**row)),
            trips=_rows(body, "trips", lambda row: TripChange(**row)),
        ),
        gaps=tuple(_rows(body, "gaps", dict)),
        photos=tuple(_rows(body, "photos", _photo)) if "photos" in body else (),
    )


def _rows(body: dict[str, Any], name: str, make: Any) -> list[Any]:
    made = []
    for place, row in enumerate(body[name], 1):
        try:
            made.append(make(row))
        except ValidationError as error:
            fault = error.errors()[0]
            where = ".".join(str(each) for each in fault["loc"])
            raise NotAPackage(
                f"body.{name}, row {place}, {where}: {fault['input']!r}: {fault['msg']}"
            ) from error
        except (TypeError, ValueError, KeyError) as error:
            raise NotAPackage(f"body.{name}, row {place}: {error}") from error
    return made


def _acted(row: dict[str, Any]) -> Acted:
    stamp = Stamp(_whole(row, "seq"), _whole(row, "mono_us"), _whole(row, "utc_us"))
    if len(row) != 4:
        raise ValueError("allowed are exactly seq, mono_us, utc_us, action")
    return Acted(stamp, any_action.validate_python(row["action"]))


def _whole(row: dict[str, Any], name: str) -> int:
    value = row[name]
    if type(value) is not int:
        raise ValueError(f"{name} is {value!r}; allowed is a whole number")
    return value


def _reading(row: list[Any]) -> Reading:
    given = dict(zip(READING_COLUMNS, row, strict=True))
    for name in ("seq", "t_us", "arrived_us", "mono_us"):
        _whole(given, name)
    if not isinstance(given["channel"], str):
        raise ValueError(f"channel is {given['channel']!r}; allowed is a text")
    if given["value"] is not None and type(given["value"]) not in (int, float):
        raise ValueError(f"value is {given['value']!r}; allowed is a number or null")
    value = None if given["value"] is None else float(given["value"])
    return Reading(**{**given, "value": value, "quality": Quality(given["quality"])})


def _photo(row: dict[str, Any]) -> Photo:
    """A photo that is one: whoever opens it later must not find something else under its name."""
    if sorted(row) != ["base64", "media_type", "sha256"]:
        raise ValueError("allowed are exactly sha256, media_type, base64")
    data = base64.b64decode(row["base64"], validate=True)
    if hashlib.sha256(data).hexdigest() != row["sha256"]:
        raise ValueError(f"the photo is not the one that its sha256 {row['sha256']!r} means")
    picture = only_the_picture(data)
    if picture.data != data or picture.media_type != row["media_type"]:
        raise ValueError(f"the file is no {row['media_type']!r} picture and nothing else")
    return Photo(row["sha256"], picture.media_type, data)
