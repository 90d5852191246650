"""What every action is made from."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(min_length=1, max_length=80)]
ChannelName = Annotated[str, Field(min_length=1, max_length=120)]


class BaseAction(BaseModel):
    """What every action has."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)

    token: Annotated[str, Field(max_length=64)] | None = None
    """Chosen by the sender; the same token twice is one action (double tap, lost answer)."""
