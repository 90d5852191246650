"""``heatwindow purge``: the text, the JSON and the refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from service.commands.main import main


@pytest.fixture
def log(tmp_path: Path):
    def write(rows: str, header: str = "t_s,flow_l_min") -> str:
        path = tmp_path / "log.csv"
        path.write_text(f"{header}\n{rows}", encoding="utf-8")
        return str(path)

    return write


def steady(seconds: int, flow: float = 10.0) -> str:
    return "".join(f"{t},{flow}\n" for t in range(seconds))


def ask(path: str, capsys, *more: str) -> dict[str, object]:
    assert main(["purge", path, "--volume-l", "2.4", "--limit-ppm", "50", "--json", *more]) == 0
    return json.loads(capsys.readouterr().out)


def test_json_when_clear(log, capsys) -> None:
    answer = ask(log(steady(400)), capsys, "--hose-volume-l", "0.3")
    assert set(answer) == {
        "limit_ppm",
        "clear",
        "clear_at_s",
        "oxygen_ppm_at_end",
        "basis",
        "reason",
    }
    assert answer["clear"] is True
    assert answer["basis"] == "flow"
    assert "estimated from flow" in str(answer["reason"])
    at = answer["clear_at_s"]
    assert at["p05"] == at["p50"] == at["p95"]
    # Perfect mixing needs 120 s for the cavity and 1.8 s for the hose.
    assert 122 < at["p50"] < 1.6 * 122
    assert answer["oxygen_ppm_at_end"]["p95"] < 50


def test_json_before_clear_is_a_forecast(log, capsys) -> None:
    answer = ask(log(steady(60)), capsys)
    assert answer["clear"] is False
    at = answer["clear_at_s"]
    assert 59 <= at["p05"] <= at["p50"] <= at["p95"]
    assert answer["oxygen_ppm_at_end"]["p95"] > 50
    whole = ask(log(steady(400)), capsys)
    assert at["p95"] == pytest.approx(whole["clear_at_s"]["p50"], abs=4)


def test_no_forecast_without_flow(log, capsys) -> None:
    answer = ask(log(steady(300) + "300,0\n301,0\n"), capsys)
    assert answer["clear"] is False
    assert answer["clear_at_s"] is None
    assert "no argon is flowing" in str(answer["reason"])


def test_after_a_stall_the_spell_starts_anew(log, capsys) -> None:
    stalled = "".join(f"{t},0\n" for t in range(300, 330))
    again = "".join(f"{t},10\n" for t in range(330, 700))
    answer = ask(log(steady(300) + stalled + again), capsys)
    assert answer["clear"] is True
    assert answer["clear_at_s"]["p50"] > 430


def test_a_gap_in_the_log_is_no_flow(log, capsys) -> None:
    answer = ask(log(steady(300) + "360,10\n361,10\n"), capsys)
    assert answer["clear"] is False


def test_empty_cells_are_no_flow(log, capsys) -> None:
    answer = ask(log(steady(300) + "300,\n301,\n302,10\n"), capsys)
    assert answer["clear"] is False


@pytest.mark.parametrize("interval_s", [0.2, 1, 5, 10])
def test_the_interval_of_the_log_matters_little(log, capsys, interval_s: float) -> None:
    count = int(400 / interval_s)
    answer = ask(log("".join(f"{i * interval_s},10\n" for i in range(count))), capsys)
    assert answer["clear"] is True
    assert answer["clear_at_s"]["p50"] == pytest.approx(180, abs=6 + interval_s)


def test_text_a_welder_reads(log, capsys) -> None:
    path = log(steady(60))
    assert main(["purge", path, "--volume-l", "2.4", "--limit-ppm", "50"]) == 0
    text = capsys.readouterr().out
    assert text.startswith("NOT CLEAR below 50 ppm yet")
    assert "Estimated from flow" in text
    assert "Argon used: 9.8 l." in text
    assert "Argon displaces the air" in text
    path = log(steady(400))
    assert main(["purge", path, "--volume-l", "2.4", "--limit-ppm", "50"]) == 0
    assert capsys.readouterr().out.startswith("CLEAR below 50 ppm since ")


def test_the_oxygen_sensor_becomes_the_basis(log, capsys) -> None:
    rows = "".join(f"{t},10,{209500 * 2.718 ** (-t / 16):.1f}\n" for t in range(300))
    answer = ask(log(rows, "t_s,flow_l_min,oxygen_ppm"), capsys)
    assert answer["basis"] == "oxygen sensor"
    path = log(rows, "t_s,flow_l_min,oxygen_ppm")
    assert main(["purge", path, "--volume-l", "2.4", "--limit-ppm", "50"]) == 0
    text = capsys.readouterr().out
    assert "By the oxygen sensor at the outlet" in text
    assert "The cavity behaved as 2." in text


@pytest.mark.parametrize(
    ("header", "rows", "said"),
    [
        ("t_s,flow_l_min", "0,1\n1,x\n", "row 3: flow_l_min 'x' is not a number"),
        ("t_s,flow_l_min", "0,1\n0,1\n", "row 3: t_s 0 is not after"),
        ("t_s,flow_l_min", "0,1\n-1,1\n", "row 3: t_s -1 is not after"),
        ("t_s,flow_l_min", "0,1\n,1\n", "row 3: t_s is empty"),
        ("t_s,flow_l_min", "0,nan\n", "row 2: flow_l_min nan is outside"),
        ("t_s,flow_l_min", "0,-5\n", "row 2: flow_l_min -5 is outside"),
        ("t_s,flow_l_min", "0,1,2\n", "row 2: 3 cells where the header has 2 columns"),
        ("t_s,flow_l_min", "", "no rows below the header"),
        ("t_s,flow", "0,1\n", "row 1: no column flow_l_min"),
        ("t_s,flow_l_min,oxygen_ppm", "0,1,-3\n", "row 2: oxygen_ppm -3 is outside"),
        ("t_s,flow_l_min,gas_temp_c", "0,1,9000\n", "row 2: gas_temp_c 9000 is outside"),
        ("t_s,flow_l_min,t_s", "0,1,0\n", "column t_s is there twice"),
    ],
)
def test_bad_files_are_refused_with_row_and_reason(
    log, capsys, header: str, rows: str, said: str
) -> None:
    path = log(rows, header)
    assert main(["purge", path, "--volume-l", "2.4", "--limit-ppm", "50"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert len(err.splitlines()) == 1


def test_a_column_that_is_not_used_is_named(log, capsys) -> None:
    path = log("0,10,x\n1,10,y\n", "t_s,flow_l_min,note")
    assert main(["purge", path, "--volume-l", "2.4", "--limit-ppm", "50", "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["clear"] is False
    assert "not used: column note" in err


def test_text_when_there_is_no_forecast(log, capsys) -> None:
    path = log(steady(10) + "10,0\n")
    assert main(["purge", path, "--volume-l", "2.4", "--limit-ppm", "50"]) == 0
    text = capsys.readouterr().out
    assert text.startswith("NOT CLEAR below 50 ppm: no argon is flowing")
    assert "Look: flow lost" in text


def test_a_missing_or_binary_file_is_refused(tmp_path: Path, capsys) -> None:
    options = ["--volume-l", "2.4", "--limit-ppm", "50"]
    assert main(["purge", str(tmp_path / "none.csv"), *options]) == 2
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"\xff\xfe\x00\x01")
    assert main(["purge", str(binary), *options]) == 2
    assert "UTF-8" in capsys.readouterr().err


@pytest.mark.parametrize(
    "options",
    [
        ["--volume-l", "-1", "--limit-ppm", "50"],
        ["--volume-l", "nan", "--limit-ppm", "50"],
        ["--volume-l", "2", "--limit-ppm", "0"],
        ["--volume-l", "2", "--limit-ppm", "300000"],
        ["--volume-l", "2", "--limit-ppm", "50", "--hose-volume-l", "-1"],
        ["--limit-ppm", "50"],
        ["--volume-l", "x", "--limit-ppm", "50"],
    ],
)
def test_wrong_options_are_refused(log, capsys, options: list[str]) -> None:
    assert main(["purge", log(steady(5)), *options]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_the_volume_may_be_given_by_pieces(log, capsys) -> None:
    path = log(steady(200))
    whole = ["--limit-ppm", "50", "--json"]
    assert main(["purge", path, "--volume-l", "2.355", *whole]) == 0
    stated = json.loads(capsys.readouterr().out)
    assert main(["purge", path, "--piece", "pipe 2 x 600", "--piece", "pipe 2 x 400", *whole]) == 0
    pieces = json.loads(capsys.readouterr().out)
    # 2.3551 against 2.355 l.
    assert pieces["clear_at_s"]["p95"] == pytest.approx(stated["clear_at_s"]["p95"], abs=0.5)


def test_a_meter_scaled_for_air_shows_more_than_flows(log, capsys) -> None:
    path = log(steady(400))
    plain = ask(path, capsys)["clear_at_s"]["p50"]
    scaled = ask(path, capsys, "--meter", "float", "--scale-gas", "air")["clear_at_s"]["p50"]
    # 0.8514 of what is shown: 1/0.8514 the time, to the row.
    assert scaled == pytest.approx(plain / 0.8514, abs=2.0)
    cold_litres = ask(path, capsys, "--litres-at", "0 °C, 1 atm")["clear_at_s"]["p50"]
    assert cold_litres == pytest.approx(plain / 1.0732, abs=2.0)


def test_litres_and_minutes_left_in_the_bottle(log, capsys) -> None:
    arguments = ["purge", log(steady(61)), "--volume-l", "2.4", "--limit-ppm", "50"]
    more = ["--bottle-l", "10", "--bottle-bar", "30", "--torch-l-min", "8"]
    assert main([*arguments, *more]) == 0
    text = capsys.readouterr().out
    assert "Argon used: 10.0 l." in text
    # 10 l at 30 bar over the atmosphere of 1.01325 bar; at 18 l/min.
    assert "Argon left in the bottle: 296 l, 16 min at 18.0 l/min for purge and torch." in text


@pytest.mark.parametrize(
    ("more", "text"),
    [
        (["--meter", "float"], "--meter float needs --scale-gas"),
        (["--scale-gas", "air"], "needs --meter float or --meter thermal"),
        (["--meter", "float", "--scale-gas", "air", "--gas-factor", "1.4"], "thermal meter"),
        (["--meter-bar", "2"], "belongs to --meter float"),
        (["--bottle-l", "10"], "go together"),
        (["--bottle-l", "10", "--bottle-bar", "900"], "outside 0 to 35 MPa"),
        (["--torch-l-min", "-1"], "must not be negative"),
        (["--bottle-bar", "nan"], "--bottle-bar nan is not a finite number"),
    ],
)
def test_options_that_do_not_go_together(log, capsys, more: list[str], text: str) -> None:
    path = log(steady(10))
    assert main(["purge", path, "--volume-l", "2.4", "--limit-ppm", "50", *more]) == 2
    assert text in capsys.readouterr().err
