"""``heatwindow forecast``: the log it reads, the JSON it promises, the words a welder reads."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest

from service.commands.forecast import in_words
from service.commands.main import main

AROUND_C, TAU_S = 20.0, 900.0


def temperature_c(t_s: float) -> float:
    return AROUND_C + 330.0 * math.exp(-t_s / TAU_S)


def log(tmp_path: Path, text: str | None = None, *, until_s: int = 400) -> str:
    path = tmp_path / "log.csv"
    if text is None:
        lines = [f"{t},{temperature_c(t):.2f}" for t in range(until_s + 1)]
        text = "t_s,temp_c\n" + "\n".join(lines) + "\n"
    path.write_text(text, encoding="utf-8")
    return str(path)


def asked(capsys: pytest.CaptureFixture[str], *arguments: str) -> object:
    assert main(["forecast", *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_json_is_what_the_design_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    answer = asked(capsys, log(tmp_path), "--until", "200", "--at", "300", "--ambient", "20")
    assert isinstance(answer, dict)
    assert list(answer) == [
        "at_s", "until_c", "temperature_c", "rate_c_per_h", "time_left_s", "reason",
    ]  # fmt: skip
    assert answer["at_s"] == 300
    assert answer["until_c"] == 200
    assert answer["temperature_c"] == pytest.approx(temperature_c(300), abs=0.5)
    true_rate = -3600 * (temperature_c(300) - AROUND_C) / TAU_S
    assert answer["rate_c_per_h"] == pytest.approx(true_rate, rel=0.05)
    left = TAU_S * math.log(330 / 180) - 300
    spread = answer["time_left_s"]
    assert set(spread) == {"p05", "p50", "p95"}
    assert spread["p05"] <= left <= spread["p95"]
    assert answer["reason"] is None


def test_many_moments_in_their_order_from_their_own_rows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = log(tmp_path)
    many = asked(capsys, path, "--until", "200", "--at", "300", "--at", "60", "--at", "150")
    assert isinstance(many, list)
    assert [a["at_s"] for a in many] == [300, 60, 150]
    for at, answer in zip((300, 60, 150), many, strict=True):
        short = log(tmp_path, until_s=at)
        assert asked(capsys, short, "--until", "200", "--at", str(at)) == answer


def test_without_a_moment_the_last_row_counts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = asked(capsys, log(tmp_path, until_s=120), "--until", "250")
    assert isinstance(answer, dict)
    assert answer["at_s"] == 120


def test_already_below_gives_zeros(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    answer = asked(capsys, log(tmp_path), "--until", "340", "--at", "300")
    assert isinstance(answer, dict)
    assert answer["time_left_s"] == {"p05": 0.0, "p50": 0.0, "p95": 0.0}
    assert answer["reason"] == "already below"


def test_before_the_first_row_nothing_is_known(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = log(tmp_path, "t_s,temp_c\n10,300\n11,299.6\n")
    answer = asked(capsys, path, "--until", "200", "--at", "5")
    assert answer == {
        "at_s": 5.0, "until_c": 200.0, "temperature_c": None, "rate_c_per_h": None,
        "time_left_s": None, "reason": "no reading yet",
    }  # fmt: skip


def test_channels_and_a_measured_ambient(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = ["t_s,channel,temp_c"]
    for t in range(301):
        rows += [f"{t},joint,{temperature_c(t):.2f}", f"{t},air,{AROUND_C}", f"{t},tube,"]
    path = log(tmp_path, "\n".join(rows))
    answer = asked(
        capsys,
        path,
        "--until",
        "200",
        "--at",
        "300",
        "--channel",
        "joint",
        "--ambient-channel",
        "air",
    )
    plain = asked(
        capsys, log(tmp_path, until_s=300), "--until", "200", "--at", "300", "--ambient", "20"
    )
    assert answer == plain
    nothing = asked(capsys, log(tmp_path, "\n".join(rows)), "--until", "200", "--channel", "tube")
    assert isinstance(nothing, dict)
    assert nothing["reason"] == "no reading yet"


def test_missing_readings_and_fault_marks_are_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = ["t_s,temp_c"]
    for t in range(301):
        value = {100: "", 101: "2046", 102: "-273"}.get(t, f"{temperature_c(t):.2f}")
        lines.append(f"{t},{value}")
    answer = asked(capsys, log(tmp_path, "\n".join(lines)), "--until", "200", "--at", "300")
    assert isinstance(answer, dict)
    left = TAU_S * math.log(330 / 180) - 300
    assert answer["time_left_s"]["p50"] == pytest.approx(left, rel=0.1)


BAD = {
    "": "row 1 must be t_s,temp_c",
    "time,temp\n1,2\n": "row 1 must be t_s,temp_c or t_s,channel,temp_c, not 'time,temp'",
    "t_s,temp_c\n": "no rows",
    "t_s,temp_c\n0,300\n1,hot\n": "row 3: temp_c 'hot' is not a number",
    "t_s,temp_c\n0,300\nx,299\n": "row 3: t_s 'x' is not a number",
    "t_s,temp_c\n0,300\n,299\n": "row 3: t_s '' is not a number",
    "t_s,temp_c\n0,300\n1,nan\n": "row 3: temp_c 'nan' must be a finite number",
    "t_s,temp_c\n0,300\ninf,299\n": "row 3: t_s 'inf' must be a finite number",
    "t_s,temp_c\n5,300\n4,299\n": "row 3: t_s 4 is before 5",
    "t_s,temp_c\n0,300,7\n": "row 2: 3 fields where the header has 2",
    "t_s,channel,temp_c\n0,,300\n": "row 2: channel is empty",
    "t_s,channel,temp_c\n0,a,300\n0,b,300\n": "say which channel with --channel",
}


@pytest.mark.parametrize(("text", "message"), BAD.items())
def test_bad_logs_are_refused_with_row_and_reason(
    text: str, message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["forecast", log(tmp_path, text), "--until", "200", "--at", "1"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert message in err
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == 1


def test_other_wrong_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = log(tmp_path, until_s=5)
    for arguments, message in (
        (["nowhere.csv", "--until", "200"], "nowhere.csv: cannot be read"),
        ([path, "--until", "200", "--channel", "x"], "no channel 'x'; it has no channel column"),
        ([path, "--until", "nan"], "--until"),
        ([path], "--until"),
        ([path, "--until", "200", "--ambient", "5000"], "--ambient 5000 must lie in"),
        ([path, "--until", "200", "--ambient", "20", "--ambient-channel", "x"], "not allowed"),
    ):
        assert main(["forecast", *arguments]) == 2
        assert message in capsys.readouterr().err
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"t_s,temp_c\n\xff\xfe")
    assert main(["forecast", str(binary), "--until", "200"]) == 2
    assert "not UTF-8" in capsys.readouterr().err


def test_words_lead_with_the_safe_number(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["forecast", log(tmp_path), "--until", "200", "--at", "300"]) == 0
    text = capsys.readouterr().out
    assert "Count on" in text
    assert "below 200 °C" in text
    assert "cooling" in text


@pytest.mark.parametrize(
    ("time_left_s", "reason", "words"),
    [
        ({"p05": 61.0, "p50": 130.0, "p95": 900.0}, None, "Count on 61 s"),
        ({"p05": 125.0, "p50": 130.0, "p95": None}, None, "no upper end can be given"),
        ({"p05": 0.0, "p50": 0.0, "p95": 0.0}, "already below", "It is already below 200 °C"),
        (None, "too few readings", "Cannot predict when it falls below 200 °C: too few readings"),
    ],
)
def test_words_for_every_kind_of_answer(
    time_left_s: dict[str, float | None] | None, reason: str | None, words: str
) -> None:
    text = in_words(
        {
            "at_s": 10.0, "until_c": 200.0, "temperature_c": 250.0, "rate_c_per_h": -900.0,
            "time_left_s": time_left_s, "reason": reason,
        }
    )  # fmt: skip
    assert words in text
    assert "cooling 900 °C/h" in text


def test_with_a_mass_it_says_where_the_heat_goes(tmp_path, capsys):
    """6 kg of iron at 0.35 K/s: m c dT/dt with c = 545 J/(kg K) at 300 °C (property table)."""
    log = tmp_path / "log.csv"
    rows = "".join(f"{t},{330.0 - 0.35 * t}\n" for t in range(90))
    log.write_text(f"t_s,temp_c\n{rows}")
    asked = ["forecast", str(log), "--until", "200", "--metal", "ductile iron", "--mass-kg", "6"]
    assert main([*asked, "--area-m2", "0.15"]) == 0
    text = capsys.readouterr().out
    found = re.search(r"It loses (\d+) W: air (\d+) %, radiation (\d+) %", text)
    assert found is not None, text
    assert float(found[1]) == pytest.approx(6 * 545 * 0.35, rel=0.08)
    assert main(asked) == 0
    assert "contact" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--metal", "butter"], "--metal 'butter' is not one of"),
        (["--mass-kg", "0"], "--mass-kg 0 must be above 0"),
        (["--area-m2", "51"], "--area-m2 51 must be above 0 and at most 50"),
    ],
)
def test_a_part_that_cannot_be_is_refused(tmp_path, capsys, more, says):
    log = tmp_path / "log.csv"
    log.write_text("t_s,temp_c\n0,300\n")
    assert main(["forecast", str(log), "--until", "200", *more]) == 2
    assert says in capsys.readouterr().err
