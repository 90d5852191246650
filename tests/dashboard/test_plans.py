"""Plans by the API: the command's own answer, with words for the page; nothing is changed."""

from __future__ import annotations

import json

import pytest

from service.commands.main import main

ASK = {
    "preheat_min_c": 250.0,
    "interpass_max_c": 400.0,
    "metal": "ductile iron",
    "mass_kg": 6.0,
    "area_m2": 0.15,
    "thickest_mm": 20.0,
    "argon_flow_l_min": 10.0,
    "torch_flow_l_min": 8.0,
    "bottle_l": 30.0,
    "stages": [
        {"kind": "carry", "minutes": 1.0},
        {"kind": "fit-up", "minutes": 2.0, "covered": True},
        {"kind": "purge", "minutes": 2.0},
        {"kind": "pass", "minutes": 2.0},
    ],
    "past": [{"rate_c_per_h": 1400.0, "at_c": 330.0}],
}
COMMAND = [
    "plan", "carry 1", "fit-up 2 covered", "purge 2", "pass 2", "--preheat=250", "--interpass=400",
    "--metal=ductile iron", "--mass-kg=6", "--area-m2=0.15", "--thickest-mm=20", "--argon-flow=10",
    "--torch-flow=8", "--bottle-l=30", "--past=1400 at 330", "--json",
]  # fmt: skip


@pytest.fixture
def ask(client):
    def post(header: bool = True, **changed: object):
        headers = {"X-Heatwindow": "page"} if header else {}
        body = {name: value for name, value in (ASK | changed).items() if value is not ...}
        return client.post("/api/v1/plan", json=body, headers=headers)

    return post


def test_the_answer_is_that_of_the_command(ask, board, capsys):
    assert main(COMMAND) == 0
    told = json.loads(capsys.readouterr().out)
    answer = ask().get_json()
    words = answer.pop("words")
    assert answer == told
    assert words["lead"][0].startswith(f"Set the oven to {told['set_point_c']:.0f} °C")
    assert any("does not hold that: 30 l are left" in text for text in words["gas"])
    assert "advises" in words["caution"]
    assert board.acted == []


def test_what_cannot_be_is_told_with_what_would_do(ask):
    needed_c = ask(past=[], oven_max_c=1000.0).get_json()["set_point_c"]
    answer = ask(past=[], oven_max_c=needed_c - 5.0).get_json()
    assert answer["set_point_c"] is None
    assert answer["words"]["lead"] == ["No setting of the oven will do."]
    assert answer["remedies"]
    assert all("It would do with" in text for text in answer["words"]["reasons"][-1:])


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"preheat_min_c": ...}, "preheat_min_c"),
        ({"stages": []}, "stages"),
        ({"stages": [{"kind": "pass", "minutes": "2"}]}, "stages"),
        ({"stages": [{"kind": "nap", "minutes": 2.0}]}, "stages"),
        ({"stages": [{"kind": "pass", "minutes": -2.0}]}, "-2 is not between 0 and 600"),
        ({"stages": [{"kind": "carry", "minutes": 2.0}]}, "there is no pass"),
        ({"interpass_max_c": 200.0}, "200 is not above preheat_min_c"),
        ({"mass_kg": 0.0}, "mass_kg 0 is not between"),
        ({"thickest_mm": -1.0}, "thick"),
        ({"past": [{"rate_c_per_h": 900.0, "at_c": 15.0}]}, "at_c 15 is not above the air's 20"),
        ({"metal": "putty"}, "metal"),
        ({"colour": "red"}, "colour"),
        ({"confidence": 1.0}, "confidence 1 is not between 0.5 and 0.99"),
    ],
)
def test_what_is_no_plan_is_refused_by_name(ask, changed, words):
    answer = ask(**changed)
    assert answer.status_code == 422
    assert words in answer.get_json()["detail"]


def test_a_foreign_page_cannot_ask_and_a_viewing_device_can(client, ask):
    assert ask(header=False).status_code == 403
    afar = {"X-Heatwindow": "page", "X-Forwarded-For": "192.168.1.20"}
    assert client.post("/api/v1/plan", json=ASK, headers=afar).status_code == 200
