"""``heatwindow steel``: the same figures as the formulas, and what they do not cover is refused."""

from __future__ import annotations

import json

import pytest

from service.commands.main import main

PLATE = "C 0.17 Si 0.30 Mn 1.40 Cr 0.10 Mo 0.05 Ni 0.10 Cu 0.15"


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["steel", *arguments]) == 0
    return capsys.readouterr().out


def test_the_worked_plate(capsys) -> None:
    """Own calculation from the standard's formulas: CE 0.450, CET 0.330, Pcm 0.2675; CET 0.33,
    30 mm, HD 5, 1 kJ/mm give 107.6 °C; at 150 °C t8/5 7.846 s, 3-D, from 16.43 mm."""
    given = ("--thickness-mm", "30", "--heat-input-kj-mm", "1.0", "--plate-c", "150")
    answer = json.loads(told(capsys, PLATE, *given, "--json"))
    assert (answer["ce_iiw_percent"], answer["cet_percent"]) == (0.45, 0.33)
    assert answer["pcm_percent"] == pytest.approx(0.2675, abs=2e-4)
    assert answer["preheat"]["preheat_c"] == pytest.approx(107.6, abs=0.06)
    assert answer["t85"] == {"t85_s": 7.85, "flow": "3-D", "transition_mm": 16.43, "reason": None}
    text = told(capsys, PLATE, *given)
    assert "preheat     108 °C at the least (EN 1011-2, method B)" in text
    assert "t8/5        7.8 s (3-D; 3-D from 16.4 mm)" in text
    assert "qualified procedure" in text


def test_thin_wall_is_refused_by_method_b_and_has_its_t85(capsys) -> None:
    run = ("--voltage-v", "12", "--current-a", "100", "--travel-mm-s", "1.5")
    text = told(capsys, PLATE, "--thickness-mm", "3", *run)
    assert "heat input  0.480 kJ/mm" in text  # by hand: 0.6·12·100/1.5/1000
    assert "preheat     thickness 3 mm is outside EN 1011-2 method B, 10 to 90 mm" in text
    assert "(2-D; 3-D from" in text


def test_a_casting_and_a_cet_out_of_range_are_refused_with_the_reason(capsys) -> None:
    given = ("--thickness-mm", "30", "--heat-input-kj-mm", "1.0")
    text = told(capsys, PLATE, *given, "--metal", "ductile iron")
    assert text.count("EN 1011-2 covers ferritic steel, not ductile iron") == 2
    assert "CET 0.1 % is outside EN 1011-2 method B" in told(capsys, "C 0.1", *given)


def test_equivalents_alone_need_only_the_composition(capsys) -> None:
    text = told(capsys, "c=0.2, mn=1")
    assert "CE(IIW)     0.367 %" in text
    assert "need a heat input and --thickness-mm" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["C 0.1 Xx 2"], "Xx is not one of C, Si"),
        (["C 0.1 C 0.2"], "C is said twice"),
        (["C"], "an element and its per cent"),
        ([" "], "an element and its per cent"),
        (["C much"], "'much' is not a number"),
        (["C 80"], "carbon 80 % is outside"),
        ([PLATE, "--heat-input-kj-mm", "nan"], "heat input nan kJ/mm must be above 0"),
        ([PLATE, "--voltage-v", "12"], "together"),
        ([PLATE, "--voltage-v", "12", "--heat-input-kj-mm", "1"], "give either"),
        (
            [
                PLATE,
                "--process",
                "gas",
                "--voltage-v",
                "12",
                "--current-a",
                "9",
                "--travel-mm-s",
                "1",
            ],
            "'gas' is not one of TIG",
        ),
    ],
)
def test_bad_input_is_refused(capsys, arguments: list[str], said: str) -> None:
    assert main(["steel", *arguments]) == 2
    assert said in capsys.readouterr().err
