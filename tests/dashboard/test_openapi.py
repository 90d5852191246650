"""``service/openapi.json`` against the real answers, and against the OpenAPI and problem rules."""

from __future__ import annotations

import json
import time
import typing
from http import HTTPStatus
from importlib.resources import files

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from service.judge import outlook
from service.judge.actions import operator_action

DOCUMENT = json.loads(files("service").joinpath("openapi.json").read_text("utf-8"))
REGISTRY = Registry().with_resource(
    "urn:openapi", Resource.from_contents(DOCUMENT, default_specification=DRAFT202012)
)


def check(instance: object, pointer: str) -> None:
    """Raise when the instance does not fit the schema at this place of the document."""
    validator = Draft202012Validator(
        {"$ref": f"urn:openapi#{pointer}"},
        registry=REGISTRY,
        format_checker=Draft202012Validator.FORMAT_CHECKER,
    )
    validator.validate(instance)


def fits(answer, path: str, method: str = "get") -> None:
    """The answer's status, media type and body are as the document says."""
    place = ["paths", path, method, "responses", str(answer.status_code)]
    found: typing.Any = DOCUMENT
    for step in place:
        assert step in found, f"{step} is not described under {path}"
        found = found[step]
    if answer.status_code == 304:
        assert "content" not in found
        return
    assert list(found["content"]) == [answer.mimetype]
    pointer = "/".join(
        part.replace("~", "~0").replace("/", "~1")
        for part in (*place, "content", answer.mimetype, "schema")
    )
    check(answer.get_json(force=True), f"/{pointer}")


def test_plans_fit(client):
    headers = {"X-Heatwindow": "page"}
    stages = [{"kind": "carry", "minutes": 1.0}, {"kind": "pass", "minutes": 2.0}]
    for changed in (
        {},
        {"oven_max_c": 260.0},
        {"bottle_l": 4.0, "thickest_mm": 30.0},
        {"mass_kg": 0.0},
    ):
        body = {"preheat_min_c": 250.0, "stages": stages, **changed}
        check(body, "/components/schemas/PlanQuestion")
        fits(client.post("/api/v1/plan", json=body, headers=headers), "/api/v1/plan", "post")


@pytest.mark.parametrize(
    "name", [*["ready", "wait", "stop", "unknown", "two", "slow", "alarm", "empty"], "sensors"]
)
def test_bench_answers_fit(client, board, name):
    board.show(name)
    fits(client.get("/api/v1/bench"), "/api/v1/bench")


def test_other_answers_fit(client, board, post):
    history = {"channel": "bench/argon", "start": "2026-03-03T09:30:00Z"}
    fits(client.get("/api/v1/history", query_string=history), "/api/v1/history")
    fits(client.get("/api/v1/history"), "/api/v1/history")
    fits(client.get("/api/v1/history", query_string=history | {"channel": "x"}), "/api/v1/history")
    act = {"kind": "begin pass", "heat_id": 4}
    fits(post(act), "/api/v1/actions", "post")
    fits(post({}), "/api/v1/actions", "post")
    fits(post(act, X_Heatwindow=None), "/api/v1/actions", "post")
    fits(post(act, Content_Type="text/plain"), "/api/v1/actions", "post")
    fits(post(act, Host="foreign"), "/api/v1/actions", "post")
    fits(post(b" " * 20_000), "/api/v1/actions", "post")
    board.refuse = "no"
    fits(post(act), "/api/v1/actions", "post")
    fits(client.get("/healthz"), "/healthz")
    fits(client.get("/api/v1/metals"), "/api/v1/metals")
    fits(client.get("/api/v1/metals", headers={"Host": "foreign"}), "/api/v1/metals")
    fits(client.get("/api/v1/openapi.json"), "/api/v1/openapi.json")
    fits(client.get("/api/v1/notices", headers={"Host": "foreign"}), "/api/v1/notices")
    etag = client.get("/api/v1/bench").headers["ETag"]
    fits(client.get("/api/v1/bench", headers={"If-None-Match": etag}), "/api/v1/bench")
    board.hung_at = time.monotonic() - 60
    fits(client.get("/api/v1/bench"), "/api/v1/bench")


def test_notices_fit(client, board, notice):
    path = "/api/v1/notices/{id}/seen"
    board.told = [notice]
    fits(client.get("/api/v1/notices"), "/api/v1/notices")
    ours = {"X-Heatwindow": "page"}
    fits(client.post("/api/v1/notices/3/seen", json={}), path, "post")
    fits(client.post("/api/v1/notices/3/seen", headers=ours), path, "post")
    foreign = ours | {"Host": "foreign"}
    fits(client.post("/api/v1/notices/3/seen", json={}, headers=foreign), path, "post")
    for number in (3, 3, 0):
        answer = client.post(f"/api/v1/notices/{number}/seen", json={}, headers=ours)
        fits(answer, path, "post")


def test_outlets_fit(client, board, scripted_answers):
    path = "/api/v1/outlets/{key}/try"
    fits(client.get("/api/v1/outlets"), "/api/v1/outlets")
    board.outlets = [dict(each) for each in scripted_answers.OUTLETS]
    fits(client.get("/api/v1/outlets"), "/api/v1/outlets")
    ours = {"X-Heatwindow": "page"}
    fits(client.post("/api/v1/outlets/sounder/try", json={}, headers=ours), path, "post")
    fits(client.post("/api/v1/outlets/lamp/try", json={}, headers=ours), path, "post")
    fits(client.post("/api/v1/outlets/sounder/try", json={}), path, "post")
    fits(client.post("/api/v1/outlets/sounder/try", headers=ours), path, "post")


def test_problems_are_as_rfc_9457_has_them(client, post):
    """Section 3.1: status repeats the code; 4.2.1: about:blank takes the code's phrase."""
    for answer in (client.get("/api/v1/history"), post({}), client.get("/api/v1/nothing")):
        assert answer.content_type == "application/problem+json"
        assert answer.json["type"] == "about:blank"
        assert answer.json["status"] == answer.status_code
        assert answer.json["title"] == HTTPStatus(answer.status_code).phrase


def test_every_schema_is_a_schema():
    for name, schema in DOCUMENT["components"]["schemas"].items():
        Draft202012Validator.check_schema(schema)
        assert name


def test_actions_are_described_as_they_are_read():
    """The document holds what pydantic reads; a changed action must change the document."""
    schema = operator_action.json_schema(ref_template="#/components/schemas/{model}")
    schemas = DOCUMENT["components"]["schemas"]
    for name, described in schema.pop("$defs").items():
        if name != "ChannelKind":
            assert schemas[name] == described, name
    assert schemas["OperatorAction"] == schema


SHAPES = {
    "Bench": outlook.BenchJson,
    "Part": outlook.PartJson,
    "Heat": outlook.HeatJson,
    "Window": outlook.WindowJson,
    "Purge": outlook.PurgeJson,
    "PartLimits": outlook.LimitsJson,
    "Spread": outlook.SpreadJson,
    "Channel": outlook.ChannelJson,
    "Alarm": outlook.AlarmJson,
    "InForce": outlook.InForceJson,
    "ByHand": outlook.ByHandJson,
    "PassTimes": outlook.PassTimesJson,
    "Trip": outlook.TripJson,
    "TripPhase": outlook.PhaseJson,
    "TripStep": outlook.StepJson,
    "NextObvious": outlook.NextStepJson,
    "Question": outlook.QuestionJson,
}


@pytest.mark.parametrize(("name", "shape"), SHAPES.items())
def test_the_document_has_every_field_of_the_judge(name, shape):
    schema = DOCUMENT["components"]["schemas"][name]
    assert set(schema["properties"]) == set(shape.__annotations__)
    hints = typing.get_type_hints(shape, include_extras=True)
    needed = {key for key, hint in hints.items() if typing.get_origin(hint) != typing.NotRequired}
    assert set(schema["required"]) == needed
    assert schema["additionalProperties"] is False


def test_words_of_the_judge_are_described():
    from typing import get_args

    from service.judge import events
    from service.readings import ChannelKind

    schemas = DOCUMENT["components"]["schemas"]
    alarm = schemas["Alarm"]["properties"]
    assert schemas["Verdict"]["enum"] == list(get_args(events.Verdict))
    assert set(alarm["kind"]["enum"]) == set(get_args(events.AlarmKind))
    assert set(alarm["state"]["enum"]) == set(get_args(events.AlarmState))
    assert set(schemas["ChannelKind"]["enum"]) == {kind.value for kind in ChannelKind}
