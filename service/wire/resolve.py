"""SenML JSON as RFC 8428 defines it: from a pack to resolved records.

This module knows the standard and nothing of the shop: no channel kinds, no accepted units. Base
fields are applied and times told apart as relative or absolute. Section numbers are RFC 8428's.

A fault in one record costs that record only. A fault in a base field costs every record up to
the next one that sets the field anew, since none of them can be resolved.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, field
from typing import Any

from service.wire.pack import Reject, RejectCause, shown

MAX_PACK_BYTES = 262_144
"""Longest pack read: about four thousand records."""
MAX_NAME_CHARS = 120
MAX_BOOT_CHARS = 64
MAX_SEQ = 2**63 - 1

ABSOLUTE_FROM_S = 2**28
"""Times below are relative to now, from here on they are since 1970 (section 4.5.3)."""
ABSOLUTE_BEFORE_S = 253_402_300_800
"""Year 10000, which no RFC 3339 time can express."""

_VERSIONS = frozenset(range(1, 11)) | {26}
"""10 and older, which a reader of 10 may use (section 4.4), and 26: 10 with the secondary units
of RFC 8798, such as ppm and mV, announced as RFC 9100 section 3 asks."""

NAME_PATTERN = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", re.ASCII)
"""Section 4.5.1."""

UPDATE_MAX_S = 366 * 86_400
"""A longer promise of the next reading is nonsense [s]."""

_BASE_TYPES = {"bn": "text", "bt": "number", "bu": "text", "bv": "number", "bs": "number"}
_REGULAR_TYPES = {"n": "text", "u": "text", "t": "number", "ut": "number", "s": "number"}
_VALUE_TYPES = {"v": "number", "vs": "text", "vb": "true or false", "vd": "text"}
_KNOWN = _BASE_TYPES.keys() | _REGULAR_TYPES.keys() | _VALUE_TYPES.keys() | {"bver"}


@dataclass(frozen=True, slots=True)
class Record:
    """One resolved record.

    Attributes:
        name: Base name and name joined.
        unit: Unit as sent, ``None`` without one.
        label: Which value field it had: ``v``, ``vs``, ``vb`` or ``vd``.
        value: ``float`` (may be NaN or infinite where the sender wrote so), ``str`` or ``bool``.
        time_us: Absolute time [µs since 1970 UTC], or ``None`` for a relative one.
        offset_us: Relative time [µs], negative in the past; 0 beside an absolute one.
        update_us: Longest time to the next reading of the sensor [µs] (section 4.2, Update Time),
            or ``None``.
    """

    name: str
    unit: str | None
    label: str
    value: float | str | bool
    time_us: int | None
    offset_us: int
    update_us: int | None = None


@dataclass(slots=True)
class Resolved:
    """A whole pack resolved; see ``service.wire.pack.Pack`` for the fields."""

    records: list[Record] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)
    boot: str | None = None
    seq: int | None = None
    sums_ignored: int = 0


class _Refused(Exception):
    """A record or pack that cannot be used; becomes a ``Reject``."""

    def __init__(self, cause: RejectCause, text: str) -> None:
        super().__init__(text)
        self.reject = Reject(cause, text)


@dataclass(frozen=True, slots=True)
class _Repeated:
    """A JSON object in which a label stands twice; which one was meant cannot be known."""

    label: str


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any] | _Repeated:
    fields = dict(pairs)
    if len(fields) == len(pairs):
        return fields
    labels = [label for label, _ in pairs]
    return _Repeated(next(label for label in labels if labels.count(label) > 1))


_reader = json.JSONDecoder(object_pairs_hook=_no_repeats)


def parse(text: str, start: int = 0) -> tuple[Any, int]:
    """One JSON value from ``start``; returns it and where it ended.

    Raises:
        ValueError: Not JSON there, or nested too deeply to be a pack.
    """
    try:
        return _reader.raw_decode(text, start)
    except RecursionError:
        raise ValueError("nested too deeply") from None


def resolve_text(text: str) -> Resolved:
    """Resolve one pack of JSON text; never raises (see ``resolve_array``)."""
    try:
        start = len(text) - len(text.lstrip(" \t\r\n"))
        array, end = parse(text, start)
        if text[end:].strip(" \t\r\n"):
            raise ValueError(f"something follows the pack: {shown(text[end : end + 80])}")
    except ValueError as error:
        return Resolved(rejects=[Reject(RejectCause.SYNTAX, f"not a JSON pack: {error}")])
    return resolve_array(array)


def resolve_array(array: Any) -> Resolved:
    """Resolve what the JSON reader made of one pack; never raises.

    Args:
        array: The value read from JSON, of any type.

    Returns:
        The records that could be resolved and a reject for each that could not.
    """
    out = Resolved()
    try:
        if not isinstance(array, list) or not array:
            raise _Refused(
                RejectCause.SYNTAX, f"a pack is an array of at least one record, not {shown(array)}"
            )
        _check_version(array)
    except _Refused as refused:
        out.rejects.append(refused.reject)
        return out
    _read_sender_marks(array[0], out)
    base = _Base()
    for number, item in enumerate(array, start=1):
        try:
            record = _resolve(item, base, out)
        except _Refused as refused:
            text = f"record {number}: {refused.reject.text}"
            out.rejects.append(Reject(refused.reject.cause, text))
        else:
            if record is not None:
                out.records.append(record)
    return out


def _check_version(array: list[Any]) -> None:
    """Section 4.4: one version for the whole pack, and none newer than we understand."""
    found = {
        json.dumps(item["bver"]): item["bver"]
        for item in array
        if isinstance(item, dict) and "bver" in item
    }
    if len(found) > 1:
        raise _Refused(
            RejectCause.LABEL,
            f"bver differs within the pack: {shown(sorted(found))}; one is allowed",
        )
    for version in found.values():
        if isinstance(version, bool) or not isinstance(version, int) or version not in _VERSIONS:
            raise _Refused(
                RejectCause.LABEL, f"bver {shown(version)} is not understood; 10 or 26 is allowed"
            )


def _read_sender_marks(first: Any, out: Resolved) -> None:
    """``boot`` and ``seq`` are our own extension labels, read in the first record only."""
    if not isinstance(first, dict):
        return
    boot, seq = first.get("boot"), first.get("seq")
    if isinstance(boot, str) and 1 <= len(boot) <= MAX_BOOT_CHARS and boot.isprintable():
        out.boot = boot
    elif "boot" in first:
        text = f"boot {shown(boot)} is not a text of 1 to {MAX_BOOT_CHARS} printable characters"
        out.rejects.append(Reject(RejectCause.LABEL, text))
    if isinstance(seq, int) and not isinstance(seq, bool) and 0 <= seq <= MAX_SEQ:
        out.seq = seq
    elif "seq" in first:
        text = f"seq {shown(seq)} is not a whole number from 0 to {MAX_SEQ}"
        out.rejects.append(Reject(RejectCause.LABEL, text))


class _Base:
    """Base fields in force at a record, and those that are broken."""

    def __init__(self) -> None:
        self.fields: dict[str, Any] = {}
        self._broken: dict[str, Reject] = {}

    def take(self, item: dict[str, Any]) -> None:
        for label, value in item.items():
            if label in _BASE_TYPES:
                self._take_field(label, value)
            elif label.startswith("b") and label.endswith("_"):
                text = f"base field {shown(label)} must be understood (ends in _) and is not"
                self._broken[label] = Reject(RejectCause.LABEL, text)

    def break_field(self, label: str) -> None:
        self._broken[label] = Reject(RejectCause.LABEL, f"{shown(label)} stands twice in a record")

    def check(self) -> None:
        for reject in self._broken.values():
            raise _Refused(reject.cause, reject.text)

    def _take_field(self, label: str, value: Any) -> None:
        self._broken.pop(label, None)
        try:
            self.fields[label] = _typed(label, value, _BASE_TYPES[label])
            if label in ("bt", "bv", "bs") and not math.isfinite(self.fields[label]):
                cause = RejectCause.TIME if label == "bt" else RejectCause.RANGE
                raise _Refused(cause, f"{label} {shown(value)} is not a finite number")
        except _Refused as refused:
            self._broken[label] = refused.reject


def _typed(label: str, value: Any, wanted: str) -> Any:
    """The value if it has the JSON type of section 4.3, numbers as int or float."""
    if wanted == "text" and isinstance(value, str):
        return value
    if wanted == "true or false" and isinstance(value, bool):
        return value
    if wanted == "number" and isinstance(value, int | float) and not isinstance(value, bool):
        return _number(value)
    raise _Refused(RejectCause.LABEL, f"{label} {shown(value)} is not a {wanted}")


def _number(value: int | float) -> int | float:
    """Whole numbers stay exact as long as a double would keep them so."""
    if type(value) is not int or abs(value) <= 2**53:
        return value
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf


def _resolve(item: Any, base: _Base, out: Resolved) -> Record | None:
    """One record; ``None`` when it carries only base fields or only a sum."""
    if isinstance(item, _Repeated):
        if item.label.startswith("b"):
            base.break_field(item.label)
        raise _Refused(RejectCause.LABEL, f"{shown(item.label)} stands twice")
    if not isinstance(item, dict):
        raise _Refused(RejectCause.SYNTAX, f"{shown(item)} is not an object")
    base.take(item)
    base.check()
    for label in item:
        if label.endswith("_") and label not in _KNOWN:
            raise _Refused(
                RejectCause.LABEL, f"{shown(label)} must be understood (ends in _) and is not"
            )
    regular = {
        label: _typed(label, item[label], wanted)
        for label, wanted in _REGULAR_TYPES.items()
        if label in item
    }
    value_label, value = _value(item, regular, base, out)
    if value_label is None:
        return None
    time_us, offset_us = _time(base.fields.get("bt", 0), regular.get("t", 0))
    return Record(
        name=_name(base.fields.get("bn", "") + regular.get("n", "")),
        unit=regular.get("u", base.fields.get("bu")),
        label=value_label,
        value=value,
        time_us=time_us,
        offset_us=offset_us,
        update_us=_update(regular.get("ut"), out),
    )


def _update(update_s: float | None, out: Resolved) -> int | None:
    """The promise of the next reading [µs]; one that is none is told and costs no reading."""
    if update_s is None:
        return None
    if 0 <= update_s <= UPDATE_MAX_S:  # false for NaN
        return round(update_s * 1_000_000)
    text = f"ut {shown(update_s)} s is not between 0 and {UPDATE_MAX_S}"
    out.rejects.append(Reject(RejectCause.RANGE, text))
    return None


def _value(
    item: dict[str, Any], regular: dict[str, Any], base: _Base, out: Resolved
) -> tuple[str | None, Any]:
    """Sections 4.2 and 4.5.4: exactly one value field, or none beside a sum (a base sum, section
    4.1, makes one of every record after it)."""
    labels = [label for label in _VALUE_TYPES if label in item]
    if "s" in regular or ("bs" in base.fields and (regular or labels)):
        out.sums_ignored += 1
    if len(labels) > 1:
        raise _Refused(RejectCause.LABEL, f"{' and '.join(labels)} together; only one is allowed")
    base_value = base.fields.get("bv")
    if labels:
        label = labels[0]
        value = _typed(label, item[label], _VALUE_TYPES[label])
        return label, float(value + (base_value or 0)) if label == "v" else value
    if "s" in regular or "bs" in base.fields or not regular:
        return None, None
    if base_value is not None:
        return "v", float(base_value)
    raise _Refused(RejectCause.LABEL, "no value; one of v, vs, vb, vd is needed")


def _name(name: str) -> str:
    if len(name) > MAX_NAME_CHARS:
        raise _Refused(
            RejectCause.LENGTH,
            f"name {shown(name)} has {len(name)} characters; {MAX_NAME_CHARS} are allowed",
        )
    if not NAME_PATTERN.fullmatch(name):
        raise _Refused(
            RejectCause.LABEL,
            f"name {shown(name)} is not letters, digits and - : . / _ after a letter or digit",
        )
    return name


def _time(base_s: float, time_s: float) -> tuple[int | None, int]:
    """Absolute [µs UTC] or ``None``, and the offset from now [µs] (section 4.5.3)."""
    total_s = base_s + time_s
    if not -ABSOLUTE_FROM_S < total_s < ABSOLUTE_BEFORE_S:  # also false for NaN
        raise _Refused(
            RejectCause.TIME,
            f"time {shown(total_s)} s is not between {-ABSOLUTE_FROM_S} and {ABSOLUTE_BEFORE_S}",
        )
    micros = round(total_s * 1_000_000)
    return (micros, 0) if total_s >= ABSOLUTE_FROM_S else (None, micros)
