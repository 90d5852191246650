"""``heatwindow plan``: text for the welder, JSON for a program, a sentence for a mistake."""

from __future__ import annotations

import json

import pytest

from service.commands.main import main
from service.store.database import Store

HEAT = ["carry 1", "fit-up 3", "purge 2", "pass 2", "pause 1 covered", "pass 2"]
KNOWN = ["--preheat", "200", "--mass-kg", "6", "--area-m2", "0.15", "--past", "1400 at 330"]


def test_the_text_says_what_to_set_and_how_it_goes(capsys):
    more = ["--argon-flow", "10", "--torch-flow", "8", "--bottle-l", "60", "--thickest-mm", "30"]
    assert main(["plan", *KNOWN, *more, *HEAT]) == 0
    text = capsys.readouterr().out
    assert "Set the oven to " in text
    assert "Soak 15 min more" in text
    assert text.count(" begins at ") == len(HEAT)
    assert "Argon: 70 l for the purge, 32 l for the torch." in text
    assert "The bottle does not hold that: 60 l are left." in text
    assert "The qualified procedure" in text


def test_json_has_the_same(capsys):
    assert main(["plan", "--json", *KNOWN, "--interpass", "320", *HEAT]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["set_point_c"] % 5 == 0
    assert [stage["kind"] for stage in found["stages"]] == [text.split()[0] for text in HEAT]
    assert found["stages"][-1]["begins_min"] == 9.0
    assert found["ready_share"] >= 0.9
    assert 0 <= found["below_interpass_share"] <= 1
    assert found["argon"]["enough"] is None


def test_an_impossible_plan_ends_with_one_and_its_reasons(capsys):
    assert main(["plan", *KNOWN, "--oven-max", "230", *HEAT]) == 1
    text = capsys.readouterr().out
    assert text.startswith("No setting of the oven will do.")
    assert "230 °C is its most" in text


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ([*KNOWN, "carry x", "pass 1"], "stage 'carry x' is not"),
        ([*KNOWN, "nap 3", "pass 1"], "what being one of carry"),
        ([*KNOWN, "carry 1"], "no pass among the stages"),
        ([*KNOWN, "--metal", "butter", "pass 1"], "--metal 'butter' is not one of"),
        ([*KNOWN, "--past", "fast", "pass 1"], "--past 'fast' is not"),
        ([*KNOWN, "--past", "100 at 10", "pass 1"], "above the air"),
        ([*KNOWN, "--thickest-mm", "-3", "pass 1"], "--thickest-mm"),
        ([*KNOWN, "pass 900"], "minutes 900 is not between"),
        (["--preheat", "10", "pass 1"], "preheat_min_c 10"),
    ],
)
def test_a_mistake_is_one_sentence(capsys, given, says):
    assert main(["plan", *given]) == 2
    told = capsys.readouterr()
    assert says in told.err
    assert len(told.err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["--repeat", "1", "pass 1"], "--repeat goes without stages"),
        (["--repeat", "1", "--preheat", "200"], "--repeat goes without stages"),
        (["pass 1"], "give the stages and --preheat, or --repeat"),
        (["--preheat", "200"], "give the stages and --preheat, or --repeat"),
        (["--preheat", "200", "--database", "x.db", "pass 1"], "go with --part or --repeat"),
    ],
)
def test_what_goes_together_is_said(words, why, capsys):
    assert main(["plan", *words]) == 2
    assert why in capsys.readouterr().err


def test_heats_and_parts_that_are_not_there(tmp_path, capsys):
    database = tmp_path / "shop.db"
    Store.open(f"sqlite:///{database}").close()
    there = f"--database={database}"
    assert main(["plan", "--repeat=4", there]) == 1
    assert "there is no heat 4" in capsys.readouterr().err
    assert main(["plan", "--preheat=200", "--part=4", there, "pass 1"]) == 2
    assert "--part: there is no part 4" in capsys.readouterr().err
