"""Whether an answer of the API is one that ``service/openapi.json`` describes."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from jsonschema import Draft202012Validator

DOCUMENT = json.loads(files("service").joinpath("openapi.json").read_text("utf-8"))


def fits(answer: Any, path: str, method: str = "get") -> Any:
    """What the answer says, once its status, media type and body are found to be as described."""
    described = DOCUMENT["paths"][path][method]["responses"][str(answer.status_code)]["content"]
    told = json.loads(answer.data)
    schema = described[answer.mimetype]["schema"]
    Draft202012Validator({**schema, "components": DOCUMENT["components"]}).validate(told)
    return told
