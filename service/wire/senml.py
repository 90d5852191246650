"""SenML JSON (RFC 8428) to measurements in the shop's units, and back to bytes.

::

    [{"bn":"node1:", "n":"port2", "u":"Cel", "v":312.5},
     {"n":"argon", "u":"l/s", "v":0.2}, {"n":"arc", "vb":false},
     {"n":"flange", "u":"Cel", "vs":"open-circuit"}]

``v`` needs a unit of ``service.units.WIRE_UNITS``; ``vb`` is on or off and needs none; ``vs``
is a fault in words and makes a bad reading. ``boot`` and ``seq`` in the first record mark a pack
so that it is taken once. The standard's own rules are in ``service.wire.resolve``.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from service.readings import Measurement
from service.units import SWITCH_UNIT, WIRE_UNITS, UnknownUnit, to_inside
from service.wire.pack import Pack, Reject, RejectCause, shown
from service.wire.resolve import (
    MAX_PACK_BYTES,
    Record,
    Resolved,
    parse,
    resolve_array,
    resolve_text,
)
from service.wire.usual import usual_pack

__all__ = [
    "MAX_PACK_BYTES",
    "Pack",
    "Reject",
    "RejectCause",
    "Value",
    "decode_line",
    "decode_pack",
    "encode_pack",
]

MAX_FAULT_CHARS = 120
NOT_A_NUMBER = "not-a-number"
OUT_OF_RANGE = "out-of-range"

_PACK_START = re.compile(r"\[\s*\{")
_MAX_STARTS = 16


def decode_pack(data: bytes) -> Pack:
    """Decode one pack; never raises, whatever the bytes.

    Args:
        data: The whole message, UTF-8, at most ``MAX_PACK_BYTES`` long.

    Returns:
        The measurements of all sound records and a reject for each of the others.
    """
    text = _text(data)
    if isinstance(text, Reject):
        return Pack(rejects=[text])
    return usual_pack(text) or _measure(resolve_text(text))


def decode_line(data: bytes) -> list[Pack]:
    """Decode a line that may hold junk around or between its packs; never raises.

    A node that is reset in the middle of a line never ends it, and its next line arrives glued
    to the half one. So where the whole line is no pack, every complete pack inside it is taken,
    and what is left over is refused as one piece.

    Args:
        data: One line without its line end.

    Returns:
        One pack for a clean line; otherwise the packs found, the first carrying the refusal.
    """
    text = _text(data, errors="replace")
    if isinstance(text, Reject):
        return [Pack(rejects=[text])]
    plain = usual_pack(text)
    if plain is not None:
        return [plain]
    whole = _measure(resolve_text(text))
    if [reject.cause for reject in whole.rejects] != [RejectCause.SYNTAX] or whole.measurements:
        return [whole]
    found = _packs_within(text)
    if not found:
        return [whole]
    found[0].rejects.insert(0, whole.rejects[0])
    return found


def _packs_within(text: str) -> list[Pack]:
    packs: list[Pack] = []
    position = 0
    for _ in range(_MAX_STARTS):
        start = _PACK_START.search(text, position)
        if start is None:
            break
        try:
            array, position = parse(text, start.start())
        except ValueError:
            position = start.start() + 1
            continue
        packs.append(_measure(resolve_array(array)))
    return packs


def _text(data: bytes, errors: str = "strict") -> str | Reject:
    if len(data) > MAX_PACK_BYTES:
        return Reject(
            RejectCause.LENGTH, f"a pack of {len(data)} bytes; {MAX_PACK_BYTES} are allowed"
        )
    try:
        return data.decode("utf-8", errors)
    except UnicodeDecodeError as error:
        return Reject(RejectCause.SYNTAX, f"not UTF-8: {error.reason} at byte {error.start}")


def _measure(resolved: Resolved) -> Pack:
    pack = Pack(
        rejects=resolved.rejects,
        boot=resolved.boot,
        seq=resolved.seq,
        sums_ignored=resolved.sums_ignored,
    )
    for record in resolved.records:
        _convert(record, pack)
    return pack


def _convert(record: Record, pack: Pack) -> None:
    """Add what the record measured to the pack, or why nothing."""
    if record.label == "v":
        _convert_number(record, pack)
    elif record.label == "vb":
        pack.measurements.append(_measurement(record, SWITCH_UNIT.inside, float(record.value)))
    elif record.label == "vs":
        unit = WIRE_UNITS.get(record.unit or "")
        pack.measurements.append(
            _measurement(record, unit.inside if unit else None, None, _fault(str(record.value)))
        )
    else:
        text = f"{record.name}: vd (binary data) is not a measurement here; v, vb or vs is allowed"
        pack.rejects.append(Reject(RejectCause.LABEL, text))


def _convert_number(record: Record, pack: Pack) -> None:
    if record.unit is None:
        text = f"{record.name}: no unit; one of {', '.join(WIRE_UNITS)} is needed"
        pack.rejects.append(Reject(RejectCause.UNIT, text))
        return
    sent = float(record.value)
    try:
        value, unit = to_inside(sent, record.unit)
    except UnknownUnit:
        text = f"{record.name}: unit {shown(record.unit)} is not one of {', '.join(WIRE_UNITS)}"
        pack.rejects.append(Reject(RejectCause.UNIT, text))
        return
    if math.isfinite(value):
        pack.measurements.append(_measurement(record, unit.inside, value))
        return
    reason = NOT_A_NUMBER if math.isnan(value) else OUT_OF_RANGE
    text = f"{record.name}: {sent} {record.unit} is not a finite number"
    pack.rejects.append(Reject(RejectCause.RANGE, text))
    pack.measurements.append(_measurement(record, unit.inside, None, reason))


def _measurement(
    record: Record, unit: str | None, value: float | None, reason: str | None = None
) -> Measurement:
    return Measurement(
        record.name, unit, value, reason, record.time_us, record.offset_us, record.update_us
    )


def _fault(text: str) -> str:
    """A fault text fit for a page, a log and a database: printable, short, never empty."""
    clean = "".join(char if char.isprintable() else " " for char in text[:MAX_FAULT_CHARS]).strip()
    return clean or "fault without a text"


@dataclass(frozen=True, slots=True)
class Value:
    """One record to be sent.

    Attributes:
        name: Appended to the base name.
        value: A number, on or off, or a fault in words.
        unit: A key of ``service.units.WIRE_UNITS`` for a number.
        time_s: Source time as RFC 8428 section 4.5.3 has it, added to the base time.
    """

    name: str
    value: float | bool | str
    unit: str | None = None
    time_s: float | None = None


def encode_pack(
    values: Iterable[Value],
    *,
    base_name: str = "",
    base_time_s: float | None = None,
    boot: str | None = None,
    seq: int | None = None,
) -> bytes:
    """One pack as a node sends it, without a line end.

    Raises:
        ValueError: No values, or a number that is not finite (JSON has no word for it).
    """
    records = [_record(value) for value in values]
    if not records:
        raise ValueError("a pack needs at least one value")
    first: dict[str, object] = {}
    if base_name:
        first["bn"] = base_name
    if base_time_s is not None:
        first["bt"] = base_time_s
    if boot is not None:
        first["boot"] = boot
    if seq is not None:
        first["seq"] = seq
    records[0] = first | records[0]
    return json.dumps(records, separators=(",", ":"), allow_nan=False).encode()


def _record(value: Value) -> dict[str, object]:
    record: dict[str, object] = {"n": value.name} if value.name else {}
    if value.unit is not None:
        record["u"] = value.unit
    if value.time_s is not None:
        record["t"] = value.time_s
    label = {bool: "vb", str: "vs"}.get(type(value.value), "v")
    return record | {label: value.value}
