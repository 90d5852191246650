"""What is usual, by the API: every row names its source; nothing is set by asking."""

from __future__ import annotations

from typing import get_args

from service.judge.actions import Metal


def test_every_metal_that_a_part_may_be_has_its_row(client, board):
    answer = client.get("/api/v1/metals").get_json()
    assert {row["metal"] for row in answer["metals"]} == set(get_args(Metal))
    assert board.acted == []


def test_no_figure_stands_without_its_source_and_how_well_it_is_known(client):
    answer = client.get("/api/v1/metals").get_json()
    for row in [*answer["metals"], *answer["checks"]]:
        assert row["source"].strip()
        assert row["known"] in ("read", "from memory", "common practice, no source")
    remembered = [row for row in answer["metals"] if row["known"] != "read"]
    assert all("confirm" in row["source"] for row in remembered)
    assert "qualified procedure" in answer["defers_to"]


def test_no_metal_is_given_a_cooling_rate_or_an_oxygen_limit(client):
    """Published rates belong to heat treatment, oxygen limits to the job."""
    for row in client.get("/api/v1/metals").get_json()["metals"]:
        assert not any("c_per_h" in name or "oxygen" in name for name in row)


def test_each_check_of_an_unknown_iron_says_what_it_does_not_tell(client):
    checks = client.get("/api/v1/metals").get_json()["checks"]
    assert [check["name"] for check in checks] == ["spark", "chip", "magnet", "ring"]
    for check in checks:
        assert check["how"]
        assert check["tells"]
        assert check["tells_not"]
