"""The short way for the usual packs that nodes send all day.

``service.wire.resolve`` is the standard in full and takes its time. Most packs are simple: names,
accepted units, finite numbers, perhaps times, base fields and sender marks in the first record.
Those are read here in a quarter of the time. Whatever is not quite usual, in any way, is left to
the long way: this module never refuses anything and never answers differently (a property test
holds the two against each other).
"""

from __future__ import annotations

import json
from typing import Any, TypeGuard

from service.readings import Measurement
from service.units import WIRE_UNITS
from service.wire.pack import Pack
from service.wire.resolve import (
    ABSOLUTE_BEFORE_S,
    ABSOLUTE_FROM_S,
    MAX_BOOT_CHARS,
    MAX_NAME_CHARS,
    MAX_SEQ,
    NAME_PATTERN,
)

_RECORD = frozenset({"n", "u", "v", "t"})
_FIRST = _RECORD | {"bn", "bt", "bu", "boot", "seq"}
_EXACT = 2**53
"""Whole numbers up to here are doubles without loss."""
_HUGE = 1e300
"""Far below the largest double, so that no unit's factor makes it infinite."""
_CHANNELS_REMEMBERED = 4000
_parse = json.JSONDecoder().raw_decode
"""``json.loads`` without its look at what is round the text: there is nothing, in a usual pack."""
_When = tuple[int | None, int]
"""Absolute time and time relative to now [µs], as in ``Measurement``."""
_NOW: _When = (None, 0)
_Channel = tuple[str, str, float, float]
"""Whole name, unit inside, factor and offset to it."""
_channels: dict[tuple[Any, Any, Any], _Channel] = {}
"""By base name, name and unit as sent; a look-up costs less than joining and checking them."""


def usual_pack(text: str) -> Pack | None:
    """The pack, if it is a usual one; ``None``: go the long way."""
    array = _records(text)
    if array is None:
        return None
    pack = Pack()
    base = _base(array[0], pack)
    if base is None:
        return None
    if not _measure(array, base, pack.measurements):
        return None
    labels = sum(map(len, array))
    # Without a backslash in the text every label stands as `"label":`. More of those than labels
    # left after reading: one stood twice in a record (or a text begins with a colon).
    return pack if text.count('":') == labels else None


def _records(text: str) -> list[dict[str, Any]] | None:
    """The records, if there is nothing in them but the usual labels."""
    if "\\" in text:
        return None
    try:
        array, end = _parse(text)
    except (ValueError, RecursionError):
        return None
    if end != len(text) or type(array) is not list or not array:
        return None
    allowed = _FIRST
    for record in array:
        if type(record) is not dict or not record.keys() <= allowed:
            return None
        allowed = _RECORD
    return array


_Base = tuple[str, float, str | None]
"""Base name, base time [s], base unit."""


def _base(first: dict[str, Any], pack: Pack) -> _Base | None:
    name, time_s, unit = first.get("bn", ""), first.get("bt", 0), first.get("bu")
    if type(name) is not str or not _is_number(time_s):
        return None
    if "bu" in first and type(unit) is not str:
        return None
    if "boot" in first:
        boot = first["boot"]
        if type(boot) is not str or not 1 <= len(boot) <= MAX_BOOT_CHARS or not boot.isprintable():
            return None
        pack.boot = boot
    if "seq" in first:
        seq = first["seq"]
        if type(seq) is not int or not 0 <= seq <= MAX_SEQ:
            return None
        pack.seq = seq
    return name, time_s, unit


def _measure(array: list[dict[str, Any]], base: _Base, found: list[Measurement]) -> bool:
    """Add what each record measured; ``False``: one of them is not quite usual.

    The hot loop: nothing of ours is called in it for a record like many before.
    """
    base_name, base_s, base_unit = base
    known, make = _channels.get, tuple.__new__
    for record in array:
        own_name, unit_name = record.get("n", ""), record.get("u", base_unit)
        try:
            channel = known((base_name, own_name, unit_name))
        except TypeError:  # a list or an object where a text should be
            return False
        if channel is None:
            channel = _channel(base_name, own_name, unit_name)
            if channel is None:
                return False
        name, unit, factor, offset = channel
        value = record.get("v")
        if type(value) is float:
            if not -_HUGE < value < _HUGE:  # also of NaN
                return False
        elif not _is_number(value):
            return False
        inside = value * factor + offset
        when = _when(base_s, record.get("t", 0)) if base_s or "t" in record else _NOW
        if when is None:
            return False
        time_us, offset_us = when
        found.append(make(Measurement, (name, unit, inside, None, time_us, offset_us, None)))
    return True


def _when(base_s: float, time_s: Any) -> _When | None:
    """A record's time, absolute or relative."""
    if not _is_number(time_s):
        return None
    total_s = base_s + time_s
    if not -ABSOLUTE_FROM_S < total_s < ABSOLUTE_BEFORE_S:
        return None
    micros = round(total_s * 1_000_000)
    return (micros, 0) if total_s >= ABSOLUTE_FROM_S else (None, micros)


def _channel(base_name: str, own_name: Any, unit_name: Any) -> _Channel | None:
    """What a record's name and unit come to; remembered if they are usual."""
    if type(own_name) is not str or type(unit_name) is not str:
        return None
    unit, name = WIRE_UNITS.get(unit_name), base_name + own_name
    if unit is None or len(name) > MAX_NAME_CHARS or not NAME_PATTERN.fullmatch(name):
        return None
    if len(_channels) >= _CHANNELS_REMEMBERED:
        _channels.clear()
    made = _channels[base_name, own_name, unit_name] = (name, unit.inside, unit.factor, unit.offset)
    return made


def _is_number(value: Any) -> TypeGuard[float | int]:
    kind = type(value)
    if kind is float:
        return bool(-_HUGE < value < _HUGE)  # also false for NaN
    return kind is int and bool(-_EXACT <= value <= _EXACT)
