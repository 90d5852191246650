"""The judge's whole state as bytes and back, so that a restart need not replay a day.

The state is plain: numbers, text, lists, dictionaries, arrays, dataclasses and a few small classes
of our own. What is written is JSON that names the class of each object, compressed (which also
gives it a checksum); what is read back may only name classes of the packages listed in ``_OURS``,
so a checkpoint can hold data and nothing else.
Numbers survive to the last bit (``repr`` of a float is exact), which makes a judge restored from a
checkpoint give the same verdicts as one that never stopped.
"""

from __future__ import annotations

import base64
import dataclasses
import importlib
import json
import math
import zlib
from collections import deque
from collections.abc import Callable, Iterable
from enum import Enum
from typing import Any

import numpy as np
from pydantic import BaseModel

FORMAT = 2
"""Raised when the meaning of the bytes changes; older ones are then refused."""

_OURS = ("service.judge.", "service.physics.", "service.procedure.", "service.readings")
_TAG = "$"


class CheckpointError(ValueError):
    """Bytes that are not a checkpoint of this version; the message says why."""


def encode(state: object, version: str) -> bytes:
    """Write a state.

    Args:
        state: Any object made of the kinds this module's docstring names.
        version: Version of the program; ``decode`` refuses another's.

    Returns:
        UTF-8 JSON, compressed (zlib, RFC 1950).

    Raises:
        TypeError: Something in the state cannot be written; names its type.
    """
    document = {"format": FORMAT, "version": version, "state": _out(state)}
    # A name with half a surrogate pair is kept as ASCII escapes. Level 1: the rest is numbers,
    # which do not get smaller by trying harder.
    text = json.dumps(document, separators=(",", ":"), allow_nan=False)
    return zlib.compress(text.encode("ascii"), level=1)


def decode(data: bytes, version: str) -> Any:
    """Read a state back.

    Raises:
        CheckpointError: Damaged, of another format or version, or naming a class not ours.
    """
    try:
        document = json.loads(zlib.decompress(data))
        if document["format"] != FORMAT or document["version"] != version:
            raise CheckpointError(
                f"checkpoint of format {document['format']}, version {document['version']}; "
                f"this is format {FORMAT}, version {version}"
            )
        return _in(document["state"])
    except CheckpointError:
        raise
    except (
        zlib.error,
        ValueError,
        KeyError,
        TypeError,
        AttributeError,
        ImportError,
        RecursionError,
    ) as error:
        raise CheckpointError(f"not a checkpoint: {error}") from error


def _out(value: object) -> object:
    if isinstance(value, Enum):
        return {_TAG: "enum", "class": _name(type(value)), "value": value.value}
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        # np.float64 is a float too; a bare number keeps the text short.
        number = float(value)
        return number if math.isfinite(number) else {_TAG: "float", "value": repr(number)}
    if isinstance(value, list):
        return [_out(item) for item in value]
    return _out_container(value)


def _out_container(value: object) -> object:
    if isinstance(value, tuple) and type(value) is not tuple:
        raise TypeError(f"{type(value).__name__} would come back as a plain tuple")
    for kind, write in _WRITERS:
        if isinstance(value, kind):
            return write(value)
    return _out_object(value)


def _out_items(tag: str) -> Callable[[Any], object]:
    return lambda value: {_TAG: tag, "items": [_out(item) for item in value]}


def _out_set(tag: str) -> Callable[[Any], object]:
    # Sorted, so that the same state is always the same bytes.
    return lambda value: {_TAG: tag, "items": [_out(item) for item in sorted(value)]}


def _out_array(value: np.ndarray[Any, Any]) -> object:
    return {
        _TAG: "array",
        "dtype": value.dtype.str,
        "shape": list(value.shape),
        "data": base64.b64encode(np.ascontiguousarray(value).tobytes()).decode(),
    }


def _out_object(value: object) -> object:
    if isinstance(value, BaseModel):
        return {_TAG: "model", "class": _name(type(value)), "value": value.model_dump(mode="json")}
    fields = {name: _out(getattr(value, name)) for name in _field_names(value)}
    return {_TAG: "object", "class": _name(type(value)), "fields": fields}


_WRITERS: tuple[tuple[type, Callable[[Any], object]], ...] = (
    (np.ndarray, _out_array),
    (np.generic, lambda value: _out(value.item())),
    (dict, lambda value: {_TAG: "dict", "items": [[_out(k), _out(v)] for k, v in value.items()]}),
    (tuple, _out_items("tuple")),
    (set, _out_set("set")),
    (frozenset, _out_set("frozenset")),
    (
        deque,
        lambda value: {_TAG: "deque", "max": value.maxlen, "items": [_out(item) for item in value]},
    ),
)


def _field_names(value: object) -> Iterable[str]:
    if dataclasses.is_dataclass(value):
        return [field.name for field in dataclasses.fields(value)]
    if hasattr(value, "__dict__"):
        return list(vars(value))
    raise TypeError(f"a checkpoint cannot hold a {type(value).__name__}")


def _name(kind: type) -> str:
    if not kind.__module__.startswith(_OURS):
        raise TypeError(f"a checkpoint cannot hold a {kind.__module__}.{kind.__qualname__}")
    return f"{kind.__module__}:{kind.__qualname__}"


def _class(name: str) -> type:
    module, _, qualname = name.partition(":")
    if not module.startswith(_OURS):
        raise CheckpointError(f"a checkpoint may not name {name!r}")
    found: object = importlib.import_module(module)
    for part in qualname.split("."):
        found = getattr(found, part)
    if not isinstance(found, type):
        raise CheckpointError(f"{name!r} is not a class")
    return found


def _in(value: Any) -> Any:
    if isinstance(value, list):
        return [_in(item) for item in value]
    if not isinstance(value, dict):
        return value
    tag = value[_TAG]
    if tag in _READERS:
        return _READERS[tag](value)
    raise CheckpointError(f"a checkpoint may not hold a {tag!r}")


def _in_array(value: dict[str, Any]) -> np.ndarray[Any, Any]:
    flat = np.frombuffer(base64.b64decode(value["data"]), dtype=np.dtype(value["dtype"]))
    return flat.reshape(value["shape"]).copy()


def _in_object(value: dict[str, Any]) -> object:
    kind = _class(value["class"])
    made: object = object.__new__(kind)
    if dataclasses.is_dataclass(kind):
        names = {field.name for field in dataclasses.fields(kind)}
        if names != set(value["fields"]):
            raise CheckpointError(f"{value['class']!r} has other fields here")
    for name, content in value["fields"].items():
        object.__setattr__(made, name, _in(content))
    return made


def _in_model(value: dict[str, Any]) -> BaseModel:
    kind = _class(value["class"])
    if not issubclass(kind, BaseModel):
        raise CheckpointError(f"{value['class']!r} is not a model")
    return kind.model_validate(value["value"])


def _in_enum(value: dict[str, Any]) -> Enum:
    kind = _class(value["class"])
    if not issubclass(kind, Enum):
        raise CheckpointError(f"{value['class']!r} is not an enumeration")
    return kind(value["value"])


_READERS = {
    "float": lambda value: float(value["value"]),
    "dict": lambda value: {_in(k): _in(v) for k, v in value["items"]},
    "tuple": lambda value: tuple(_in(item) for item in value["items"]),
    "deque": lambda value: deque((_in(item) for item in value["items"]), value["max"]),
    "set": lambda value: {_in(item) for item in value["items"]},
    "frozenset": lambda value: frozenset(_in(item) for item in value["items"]),
    "array": _in_array,
    "enum": _in_enum,
    "model": _in_model,
    "object": _in_object,
}
