"""The bench answer: what is posted is what is sent, and a hung judge is never shown as live."""

from __future__ import annotations

import json
import time

from dashboard.api import STALE_S


def test_bench_is_sent_as_posted(client, board):
    answer = client.get("/api/v1/bench")
    assert answer.status_code == 200
    assert answer.content_type == "application/json"
    assert json.loads(answer.data) == board.bench | {"at": json.loads(answer.data)["at"]}


def test_bench_is_not_sent_twice(client):
    first = client.get("/api/v1/bench")
    again = client.get("/api/v1/bench", headers={"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
    assert again.data == b""
    assert again.headers["ETag"] == first.headers["ETag"]


def test_changed_bench_is_sent_again(client, board):
    first = client.get("/api/v1/bench")
    board.show("stop")
    again = client.get("/api/v1/bench", headers={"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 200
    assert again.json["parts"][0]["verdict"] == "stop"


def test_hung_judge_is_an_error_even_to_who_has_its_last_answer(client, board):
    first = client.get("/api/v1/bench")
    board.hung_at = time.monotonic() - STALE_S - 0.1
    for headers in ({}, {"If-None-Match": first.headers["ETag"]}):
        answer = client.get("/api/v1/bench", headers=headers)
        assert answer.status_code == 503
        assert answer.json["code"] == "stale"
        assert answer.headers["Retry-After"] == "1"


def test_before_the_first_posting(board):
    from dataclasses import replace

    from dashboard.app import create_app

    client = create_app(replace(board.wiring(), latest=lambda: None)).test_client()
    answer = client.get("/api/v1/bench")
    assert answer.status_code == 503
    assert answer.json["code"] == "no-posting"


def test_bench_names_the_page_that_fits_it(client):
    page = client.get("/").data.decode()
    digest = client.get("/api/v1/bench").headers["Heatwindow-Page"]
    assert f'data-page="{digest}"' in page


def test_health_and_metrics(client, board):
    from dataclasses import replace

    from dashboard.app import create_app

    assert client.get("/healthz").status_code == 200
    sick = create_app(
        replace(board.wiring(), health=lambda: (False, {"judge": "hangs"}))
    ).test_client()
    answer = sick.get("/healthz")
    assert answer.status_code == 503
    assert answer.json == {"judge": "hangs"}
    metrics = client.get("/metrics")
    assert metrics.content_type.startswith("application/openmetrics-text; version=1.0.0")
    assert metrics.data.endswith(b"# EOF\n")
