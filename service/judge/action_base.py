"""What every action is made from."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(min_length=1, max_length=80)]
ChannelName = Annotated[str, Field(min_length=1, max_length=120)]


def _kind_is_needed(schema: dict[str, Any]) -> None:
    """In Python the class says which action it is; in JSON only ``kind`` can."""
    schema["required"] = ["kind", *schema.get("required", [])]


class BaseAction(BaseModel):
    """What every action has."""

    model_config = ConfigDict(frozen=True, extra="forbid", json_schema_extra=_kind_is_needed)

    token: Annotated[str, Field(max_length=64)] | None = None
    """Chosen by the sender; the same token twice is one action (double tap, lost answer)."""
