"""The lines of a heat's chart by the API, and what draws them, from the installed package."""

from __future__ import annotations

import csv
import gzip
import io
import json
import subprocess
import sys
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from tests.field.described import fits
from tests.field.recorded_heat import recorded_shelf

PATH = "/api/v1/heats/{heat_id}/lines"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    yield from recorded_shelf(tmp_path_factory)


@pytest.fixture
def board(board, shelf):
    board.shelf = shelf
    return board


def line(answer, channel: str) -> dict:
    (found,) = (each for each in answer.get_json()["lines"] if each["channel"] == channel)
    return found


def rows_of(client, channel: str) -> list[dict[str, str]]:
    """Every reading of a channel, as the table of the heat has it."""
    text = client.get("/api/v1/heats/1/readings.csv").get_data(as_text=True)
    return [row for row in csv.DictReader(io.StringIO(text)) if row["channel"] == channel]


def known(values) -> list[float]:
    return [each for each in values if each is not None]


def test_peaks_are_kept_however_few_the_steps(client):
    rows = [row for row in rows_of(client, "tc2") if row["quality"] == "good"]
    corrected = [float(row["corrected"] or row["raw"]) for row in rows]
    for points in (7, 60, 1000):
        answer = client.get(f"/api/v1/heats/1/lines?points={points}")
        fits(answer, PATH)
        values = known(line(answer, "tc2")["values"])
        assert max(values) == pytest.approx(max(corrected), abs=0.01)
        # A wide step at the end may hold what was read just after it.
        assert min(values) <= min(corrected) + 0.01
    assert min(values) == pytest.approx(min(corrected), abs=0.01)


def test_a_line_breaks_where_the_probe_was_unplugged(client):
    """Its plug is out for the carry and a little before and after: 53 s by the recorded story."""
    told = line(client.get("/api/v1/heats/1/lines"), "tc1")
    assert [at is None for at in told["at_s"]] == [value is None for value in told["values"]]
    place = told["at_s"].index(None)
    assert told["at_s"][place + 1] - told["at_s"][place - 1] > 30
    assert not any(a is None and b is None for a, b in pairwise(told["at_s"]))


def test_closer_is_finer(client):
    whole = client.get("/api/v1/heats/1/lines?points=100")
    start, step_s = whole.get_json()["start"], whole.get_json()["step_s"]
    end = datetime.fromisoformat(start) + timedelta(seconds=60)
    asked = {"start": start, "end": end.isoformat(), "points": 100}
    closer = client.get("/api/v1/heats/1/lines", query_string=asked)
    fits(closer, PATH)
    assert closer.get_json()["step_s"] < step_s
    assert max(known(line(closer, "tc1")["at_s"])) <= 61
    assert len(known(line(closer, "tc1")["at_s"])) >= 55


def test_a_stretch_outside_the_heat_is_cut_to_it(client):
    asked = {"start": "2001-01-01T00:00:00Z", "end": "2001-01-02T00:00:00Z"}
    answer = client.get("/api/v1/heats/1/lines", query_string=asked)
    fits(answer, PATH)
    assert answer.get_json()["start"] == client.get("/api/v1/heats/1").get_json()["began_at"]


def test_limits_stand_over_the_stretch_they_held(client):
    record = client.get("/api/v1/heats/1").get_json()
    (limits,) = client.get("/api/v1/heats/1/lines").get_json()["limits"]
    assert (limits["from"], limits["to"]) == (record["began_at"], record["ended_at"])
    assert (limits["preheat_min_c"], limits["upper_c"], limits["oxygen_max_ppm"]) == (200, 320, 50)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("points=0", "between 1 and 5000"),
        ("start=2026-03-03T10:00:00Z", "both, or neither"),
        ("start=2026-03-03T10:00:00Z&end=2026-03-03T09:00:00Z", "is not before end"),
        ("start=noon&end=2026-03-03T09:00:00", "has no offset from UTC"),
        ("step=3", "is not a parameter here"),
    ],
)
def test_a_question_that_cannot_be_used_is_said(client, asked, words):
    answer = client.get(f"/api/v1/heats/1/lines?{asked}")
    assert answer.status_code == 400
    fits(answer, PATH)
    assert words in json.loads(answer.data)["detail"]


def test_a_heat_that_is_not_there_is_said(client):
    answer = client.get("/api/v1/heats/9/lines")
    assert answer.status_code == 404
    fits(answer, PATH)


def test_what_draws_it_comes_from_the_installed_package(client):
    page = client.get("/").get_data(as_text=True)
    addresses = page.split('data-bokeh="')[1].split('"')[0].split()
    assert len(addresses) == 2
    for address in addresses:
        answer = client.get(address, headers={"Accept-Encoding": "gzip"})
        assert answer.mimetype == "text/javascript"
        assert "immutable" in answer.headers["Cache-Control"]
        assert b"Bokeh" in gzip.decompress(answer.data)
        version = address.split("/")[2]
        assert client.get(address.replace(version, "0.1")).status_code == 404
    other = addresses[0].replace("bokeh.min.js", "compiler.js")
    assert client.get(other).status_code == 404


def test_the_page_allows_styles_of_its_own_answer_only(client):
    policies = [client.get("/").headers["Content-Security-Policy"] for _ in range(2)]
    assert policies[0] != policies[1]
    for policy in policies:
        assert "'nonce-" in policy
        assert "unsafe" not in policy
        assert "script-src 'self';" in policy
    assert "nonce" not in client.get("/api/v1/heats").headers["Content-Security-Policy"]


def test_the_package_is_never_imported():
    program = (
        "import sys\n"
        "from dashboard import bokeh_files\n"
        "print(len(bokeh_files._read('bokeh.min.js')[0]) > 100_000, 'bokeh' in sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.split() == ["True", "False"]
