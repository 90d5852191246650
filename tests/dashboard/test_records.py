"""Records by the API: listed, opened, drawn and handed over, out of a real database."""

from __future__ import annotations

import csv
import io
import json
from importlib.resources import files

import pytest
from jsonschema import Draft202012Validator

from service.records.package import decode
from tests.field.recorded_heat import recorded_shelf

DOCUMENT = json.loads(files("service").joinpath("openapi.json").read_text("utf-8"))
HOSTILE = '=HYPERLINK("http://x/")<script>alert(1)</script>'


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    yield from recorded_shelf(tmp_path_factory, name=HOSTILE)


@pytest.fixture
def board(board, shelf):
    board.shelf = shelf
    return board


def test_answers_are_as_described(client):
    for path in ("/api/v1/heats", "/api/v1/heats/1"):
        described = path.removesuffix("/1") + ("/{heat_id}" if path.endswith("/1") else "")
        found = DOCUMENT["paths"][described]["get"]["responses"]["200"]["content"][
            "application/json"
        ]["schema"]
        whole = {**found, "components": DOCUMENT["components"]}
        Draft202012Validator(whole).validate(client.get(path).get_json())


def test_every_heat_is_listed_with_what_finds_it(client):
    (heat,) = client.get("/api/v1/heats").get_json()["heats"]
    assert heat["part"] == HOSTILE
    assert heat["passes"] == 2
    assert heat["began_at"] < heat["ended_at"]


def test_a_heat_is_told_with_its_figures(client, shelf):
    record = client.get("/api/v1/heats/1").get_json()
    assert record["part"] == HOSTILE
    assert [each["number"] for each in record["passes"]] == [1, 2]
    assert record["phases"][0]["phase"] == "oven"
    assert record["last_arc_to_cover_s"] > 0
    assert record["rates"]
    assert record["gradients"]
    assert "only inspection by qualified people" in record["cautions"][0]


def test_its_chart_is_a_picture_in_which_names_are_only_names(client):
    answer = client.get("/api/v1/heats/1/chart.svg")
    assert answer.mimetype == "image/svg+xml"
    assert answer.data.count(b"<polyline") + answer.data.count(b"<path") > 5
    assert b"<script" not in answer.data
    assert "script-src 'self'" in answer.headers["Content-Security-Policy"]


def test_it_is_handed_over_in_four_ways(client):
    for paper in ("A4", "Letter"):
        answer = client.get(f"/api/v1/heats/1/report.pdf?paper={paper}")
        assert answer.data.startswith(b"%PDF-")
        assert answer.headers["Content-Disposition"] == 'attachment; filename="heat-1.pdf"'
    package = decode(client.get("/api/v1/heats/1/package.json").data)
    assert package.heat_id == 1
    table = client.get("/api/v1/heats/1/readings.csv").get_data(as_text=True)
    rows = list(csv.reader(io.StringIO(table)))
    assert len(rows) > 1000
    assert not any(cell.startswith("=") for row in rows for cell in row)


@pytest.mark.parametrize(
    "what", ["", "/chart.svg", "/report.pdf", "/package.json", "/readings.csv"]
)
def test_a_heat_that_is_not_there_is_said(client, what):
    answer = client.get(f"/api/v1/heats/9{what}")
    assert answer.status_code == 404
    assert (
        json.loads(answer.data)["detail"]
        == "There is no heat 9; the database has the heats 1 to 1."
    )


def test_another_paper_is_refused(client):
    answer = client.get("/api/v1/heats/1/report.pdf?paper=napkin")
    assert answer.status_code == 422
    assert "'napkin' is not one of A4, Letter" in answer.get_json()["detail"]
