"""``GET /api/v1/procedures`` from a real database, and writing one through the API."""

from __future__ import annotations

import json
from importlib.resources import files

import pytest
from jsonschema import Draft202012Validator
from sqlalchemy import create_engine

from service.judge.actions import UseProcedure, WriteProcedure
from service.judge.events import Acted, Stamp
from service.judge.procedure_actions import ProcedureFacts
from service.store.errors import StoreError
from service.store.procedures import read_procedures, write_procedure
from service.store.schema_procedure import metadata

DOCUMENT = json.loads(files("service").joinpath("openapi.json").read_text("utf-8"))


def test_every_version_is_told_newest_first(client, board):
    engine = create_engine("sqlite://")
    metadata.create_all(engine)
    with engine.begin() as connection:
        for place, name in enumerate(("hot", "hotter")):
            facts = ProcedureFacts.model_validate(
                {
                    "name": name,
                    "soak": {"min_per_25_mm": 60, "band": {"low_c": 260}},
                    "heating": [{"max_c_per_h": 100, "phase": "oven"}],
                    "sources": {"soak": {"source": "the foundry", "known": "the shop's own"}},
                }
            )
            action = WriteProcedure(procedure_id=1, after_version=place, facts=facts)
            stamp = Stamp(place + 1, 1_790_000_000_000_000, 1_790_000_000_000_000)
            write_procedure(connection, Acted(stamp, action), action, None)
        board.procedures = read_procedures(connection)
    answer = client.get("/api/v1/procedures")
    assert answer.status_code == 200
    (told,) = answer.get_json()["procedures"]
    assert told["name"] == "hotter"
    assert [each["version"] for each in told["versions"]] == [2, 1]
    assert told["versions"][1]["facts"]["sources"]["soak"]["source"] == "the foundry"
    schema = DOCUMENT["components"]["schemas"]["Procedures"] | {
        "components": DOCUMENT["components"]
    }
    Draft202012Validator(schema).validate(answer.get_json())


def test_without_the_records_it_says_so(client):
    def broken():
        raise StoreError("the disk does not answer")

    wiring = client.application.extensions["heatwindow"]
    object.__setattr__(wiring, "procedures", broken)
    answer = client.get("/api/v1/procedures")
    assert answer.status_code == 503
    assert answer.get_json()["detail"] == "the disk does not answer"


@pytest.mark.parametrize(
    ("action", "why"),
    [
        ({"kind": "write procedure", "facts": {}}, "name"),
        ({"kind": "use procedure", "part_id": 1, "procedure_id": 1}, "go together"),
        ({"kind": "tick step", "heat_id": 1, "number": 0}, "number"),
    ],
)
def test_what_is_wrong_with_an_action_is_said(post, action, why):
    answer = post(action)
    assert answer.status_code == 422
    assert why in answer.get_json()["detail"]


def test_a_procedure_is_chosen_through_the_api(post, board):
    assert post(UseProcedure(part_id=1).model_dump(exclude={"token"})).status_code == 200
    assert board.acted[-1]["kind"] == "use procedure"
