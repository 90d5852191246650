"""``heatwindow metals``: every row with its source; a shop's own rows in their place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from service.commands.main import main
from service.procedure.metals import DEFERS_TO, RANGES


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["metals", *arguments]) == 0
    return capsys.readouterr().out


def test_every_row_is_shown_with_its_source_and_whom_it_defers_to(capsys) -> None:
    text = told(capsys)
    blocks = {block.splitlines()[0]: block for block in text.split("\n\n")}
    for metal, row in RANGES.items():
        assert f"source     {row.shown_source}" in blocks[metal]
        if row.known != "read":
            assert "confirm" in blocks[metal].rsplit("source", 1)[1]
    assert text.rstrip().endswith(DEFERS_TO)


def test_hot_and_cold_method_and_the_bands_of_the_cooling_rules(capsys) -> None:
    text = told(capsys, "grey")
    # Repair handbook page citing AWS A5.15: 260 to 650 °C by the hot method.
    assert "preheat    260 to 650 °C" in text
    assert "cold       nickel filler" in text
    # Foundry's table: 20 to 40 °C/h after stress relief, down to 150 °C; not from preheat.
    assert "at most 40 °C/h from 650 to 150 °C (foundry's table; read)" in text
    assert "(piping codes; half of the greatest thickness counts; from memory)" in text
    # Cast austenitic stainless has no lower end.
    assert "preheat    none given" in told(capsys, "cast austenitic")


def test_a_shops_own_row_stands_in_the_place_of_the_shipped_one(capsys, tmp_path: Path) -> None:
    own = tmp_path / "metals.toml"
    own.write_text(
        '["grey iron"]\npreheat_c = [300, 400]\nsource = "our foundry\'s letter"\nknown = "read"\n'
        '["white iron"]\ncooling = "in the oven"\nsource = "shop"\nknown = "from memory"\n'
    )
    answer = json.loads(told(capsys, "--table", str(own), "--json"))["metals"]
    assert answer["grey iron"]["preheat_c"] == [300.0, 400.0]
    assert answer["grey iron"]["shown_source"] == "our foundry's letter"
    assert answer["white iron"]["shown_source"] == "shop; from memory, confirm"
    assert set(answer) == set(RANGES) | {"white iron"}


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('["grey iron"]\npreheat_c = [300, 400]\n', "source and known must be said"),
        ('["grey iron"]\nsource = "x"\nknown = "read"\npreheat_c = [300]\n', "lower and upper end"),
        ('["grey iron"]\nsource = "x"\nknown = "read"\npreheat_c = [300, 900]\n', "20 to 650"),
        ('["grey iron"]\nsource = "x"\nknown = "surely"\n', "'surely' must be one of read"),
        ('["grey iron"]\nsource = "x"\nknown = "read"\npreheat_f = 500\n', "a row has only"),
        ('["grey iron"]\nsource = "x"\nknown = "read"\ninterpass_max_c = "hot"\n', "grey iron"),
        ("source = 3\n", "is not a table"),
        ("= 3", "line 1"),
    ],
)
def test_a_bad_file_is_refused_with_the_row(capsys, tmp_path: Path, row: str, said: str) -> None:
    own = tmp_path / "metals.toml"
    own.write_text(row)
    assert main(["metals", "--table", str(own)]) == 2
    assert said in capsys.readouterr().err


def test_unknown_metals_and_missing_files_are_refused(capsys, tmp_path: Path) -> None:
    assert main(["metals", "unobtainium"]) == 2
    assert "there are iron, unknown, grey iron" in capsys.readouterr().err
    assert main(["metals", "--table", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err
