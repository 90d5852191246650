"""What the tables of the config are made of."""

from __future__ import annotations

import ipaddress
from pathlib import Path
from typing import Annotated, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError


def fault(rule: str) -> PydanticCustomError:
    """A fault whose text is shown as it stands (braces doubled for the formatter)."""
    return PydanticCustomError("rule", rule.replace("{", "{{").replace("}", "}}"))


_Value = TypeVar("_Value", str, Path)


def _without_nul(value: _Value) -> _Value:
    if "\0" in str(value):
        raise fault("must not hold a NUL character")
    return value


Text = Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(_without_nul)]
FilePath = Annotated[Path, Field(strict=False), AfterValidator(_without_nul)]


class Table(BaseModel):
    """Checked as it stands: no unknown keys, no quiet conversions."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


def this_machine(host: str) -> bool:
    """Whether a name or address is the machine's own loopback."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
