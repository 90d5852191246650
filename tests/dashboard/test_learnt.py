"""What heats taught, by the API: the document fits, plans are tighter, a repeat may be refused."""

from __future__ import annotations

from tests.dashboard.test_openapi import check, fits

OURS = {"X-Heatwindow": "page"}
PATH = "/api/v1/parts/{part_id}/learnt"


def test_what_heats_taught_fits(client, board) -> None:
    board.lessons.taught = True
    answer = client.get("/api/v1/parts/1/learnt")
    fits(answer, PATH)
    told = answer.get_json()
    bare = next(each for each in told["learnt"] if each["quantity"] == "loss bare")
    assert bare["unit"] == "K/min"
    assert bare["at_c"] == round((214 + 371) / 2)
    # 0.41 K/s at 350 °C falls to about 0.7 of that at 292 °C: 17 K/min (own calculation).
    assert 15 < bare["value"]["p50"] < 20
    assert bare["next"]["p05"] < bare["value"]["p05"] < bare["value"]["p50"]
    board.lessons.taught = False
    answer = client.get("/api/v1/parts/2/learnt")
    fits(answer, PATH)
    assert answer.get_json()["learnt"] == []


def test_a_plan_with_a_part_is_tighter_and_says_so(client, board) -> None:
    asked = {
        "preheat_min_c": 200.0,
        "metal": "ductile iron",
        "mass_kg": 6.0,
        "area_m2": 0.15,
        "stages": [{"kind": "fit-up", "minutes": 3.0}, {"kind": "pass", "minutes": 1.0}],
    }
    plain = client.post("/api/v1/plan", json=asked, headers=OURS)
    fits(plain, "/api/v1/plan", "post")
    body = asked | {"part_id": 1}
    check(body, "/components/schemas/PlanQuestion")
    board.lessons.taught = True
    taught = client.post("/api/v1/plan", json=body, headers=OURS)
    fits(taught, "/api/v1/plan", "post")
    assert taught.get_json()["set_point_c"] < plain.get_json()["set_point_c"]
    assert "3 heats of this part taught how it cools" in taught.get_json()["why"][0]


def test_a_repeat_is_asked_alone_and_refused_with_its_reason(client) -> None:
    for body, status in (
        ({"repeat_heat": 4}, "heat 4 had no pass"),
        ({"repeat_heat": 4, "preheat_min_c": 200.0}, "repeat_heat goes without"),
        ({"preheat_min_c": 200.0}, "preheat_min_c and stages are needed, or repeat_heat"),
    ):
        answer = client.post("/api/v1/plan", json=body, headers=OURS)
        fits(answer, "/api/v1/plan", "post")
        assert answer.status_code == 422
        assert status in answer.get_json()["detail"]
