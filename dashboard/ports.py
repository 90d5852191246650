"""The API for serial ports: which are free, and taking one in or letting it go."""

from __future__ import annotations

from typing import Annotated, TypeVar

from flask import Blueprint, Response, request
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from dashboard.answers import json_answer, wiring
from dashboard.hands import check_action
from dashboard.problems import Problem, faults
from dashboard.wiring import AdoptedPort
from service.judge.events import Refused

ports = Blueprint("ports", __name__)

PortName = Annotated[str, Field(min_length=1, max_length=1000)]
_Kind = TypeVar("_Kind", bound="_Asked")


class _Asked(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Adopt(_Asked):
    """A port to be read; line speed and profile as in the config."""

    port: PortName
    baud: Annotated[int, Field(ge=300, le=4_000_000)] = 115_200
    profile: Annotated[str, Field(min_length=1, max_length=1000)] = "senml"


class Release(_Asked):
    """An adopted port to be read no more."""

    port: PortName


@ports.get("/api/v1/ports")
def list_ports() -> Response:
    """The unused ports of the service's machine, and those taken in."""
    return _ports()


@ports.post("/api/v1/ports/adopt")
def adopt() -> Response:
    """Read a port; what there is then."""
    asked = _body(Adopt)
    try:
        wiring().adopt_port(AdoptedPort(asked.port, asked.baud, asked.profile))
    except Refused as refusal:
        raise Problem(409, "refused", str(refusal)) from None
    return _ports()


@ports.post("/api/v1/ports/release")
def release() -> Response:
    """Read a port no more; what there is then."""
    try:
        wiring().release_port(_body(Release).port)
    except Refused as refusal:
        raise Problem(409, "refused", str(refusal)) from None
    return _ports()


def _body(kind: type[_Kind]) -> _Kind:
    check_action()
    try:
        return kind.model_validate_json(request.get_data())
    except ValidationError as error:
        found = faults(error)
        raise Problem(
            422, "bad-port", "; ".join(f"{f['field']}: {f['message']}" for f in found), found
        ) from None


def _ports() -> Response:
    return json_answer(
        {
            "unused": [
                {"name": port.name, "device": port.device, "description": port.description}
                for port in wiring().unused_ports()
            ],
            "adopted": [
                {"port": port.port, "baud": port.baud, "profile": port.profile}
                for port in wiring().adopted_ports()
            ],
        }
    )
