"""What is wrong with a config, in words: file, key, value, rule."""

from __future__ import annotations

import difflib
import json
import typing
from dataclasses import dataclass

from pydantic import BaseModel, ValidationError


@dataclass(frozen=True, slots=True)
class ConfigFault:
    """One fault.

    Attributes:
        file: The config file as given.
        key: Where in it, ``serial[0].baud``; empty for the file as a whole.
        value: What stands there; ``None`` when there is nothing to show.
        rule: What is wrong or what is allowed.
    """

    file: str
    key: str
    value: object
    rule: str

    def __str__(self) -> str:
        if not self.key:
            return f"{self.file}: {self.rule}"
        if self.value is None:
            return f"{self.file}: {self.key}: {self.rule}"
        return f"{self.file}: {self.key} = {shown(self.value)}: {self.rule}"


class ConfigRefused(ValueError):
    """The config is not used; ``faults`` lists everything found, the message a line for each."""

    def __init__(self, faults: list[ConfigFault]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults


def shown(value: object) -> str:
    """A value as it would stand in the file, cut at 80 characters."""
    try:
        text = json.dumps(value, ensure_ascii=False)
    except TypeError:
        text = str(value)
    return text if len(text) <= 80 else text[:77] + "..."


def faults_from(error: ValidationError, file: str, root: type[BaseModel]) -> list[ConfigFault]:
    """Every fault pydantic found, with unknown keys set against the known ones."""
    faults = []
    for detail in error.errors(include_url=False, include_context=True):
        place = detail["loc"]
        value: object = detail["input"]
        rule = detail["msg"]
        if detail["type"] == "extra_forbidden":
            rule = _unknown_key(str(place[-1]), _known_keys(root, place[:-1]))
            if not isinstance(value, bool | int | float):
                value = None  # a password under a mistyped key must not reach a screen or a log
        elif detail["type"] == "missing":
            value, rule = None, "is missing"
        elif (isinstance(value, dict) and detail["type"] == "rule") or place[-1:] == ("url",):
            value = None  # a table is too long to show, and an address may hold a secret
        faults.append(ConfigFault(file, key_name(place), value, _lower_first(rule)))
    return faults


def key_name(place: tuple[int | str, ...]) -> str:
    """``('serial', 0, 'baud')`` as ``serial[0].baud``."""
    name = ""
    for step in place:
        if isinstance(step, int):
            name += f"[{step}]"
        else:
            name += f".{step}" if name else str(step)
    return name


def _known_keys(root: type[BaseModel], place: tuple[int | str, ...]) -> list[str]:
    """The keys allowed in the table at ``place``."""
    model = root
    for step in place:
        if isinstance(step, int):
            continue
        found = _model_in(model.model_fields[step].annotation)
        if found is None:
            return []
        model = found
    return list(model.model_fields)


def _model_in(annotation: object) -> type[BaseModel] | None:
    """The table inside ``list[Table]`` or ``Table | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in typing.get_args(annotation):
        found = _model_in(inner)
        if found is not None:
            return found
    return None


def _unknown_key(key: str, known: list[str]) -> str:
    near = difflib.get_close_matches(key, known, n=1)
    hint = f", perhaps {near[0]!r} was meant" if near else ""
    return f"unknown key{hint}; allowed are {', '.join(known)}"


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:] if text[:2] != text[:2].upper() else text
