"""Files of other loggers: mapped, previewed, taken in, given to ``forecast``."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest

from service.commands.main import main
from service.records.gather import gather
from service.records.local_time import utc_text, zone_named
from service.records.logger_csv import BadLoggerFile, Column, Mapping, cells, read_table
from service.store.database import Store

CONTINENTAL = """Logger 4711;;
Probe 1;Type K;
Datum;Zeit;Guss °F;Argon cfh
25.10.2026;02:58:00;662,0;20
25.10.2026;02:59:30;644,0;20
25.10.2026;02:01:00;626,0;---
25.10.2026;02:02:30;;20
"""
DATA = Path(__file__).resolve().parents[2] / "reference" / "data"


def read(path: Path, text: str, **given: object) -> list:
    path.write_text(text, encoding="utf-8")
    mapping = Mapping(**given)  # type: ignore[arg-type]
    return list(cells(path, read_table(path, mapping), mapping))


def test_clock_times_units_and_decimals_are_as_said(tmp_path: Path) -> None:
    """The hour that an autumn night has twice is told apart by the order of the rows."""
    found = read(
        tmp_path / "old.csv", CONTINENTAL, times=("Datum", "Zeit"), decimal=",",
        time_format="%d.%m.%Y %H:%M:%S", zone=zone_named("Europe/Berlin"),
        columns=(Column.parsed("tc=Guss °F:degF"), Column.parsed("flow=Argon cfh:cfh:gas flow")),
    )  # fmt: skip
    casting = [each for each in found if each.channel == "tc"]
    assert [round(each.value, 6) for each in casting] == [350, 340, 330]
    assert [utc_text(each.t_us)[11:19] for each in casting] == ["00:58:00", "00:59:30", "01:01:00"]
    flow = [each for each in found if each.channel == "flow"]
    assert flow[0].value == pytest.approx(20 * 28.316846592 / 60)  # l in a cubic foot, exact
    assert (flow[2].value, flow[2].reason) == (None, "the file says '---'")


@pytest.mark.parametrize(
    ("given", "text", "words"),
    [
        ({}, "t;x\n1;2\n", "has the columns 'time', 'temp'"),
        ({}, "time,temp\n1,2\n", "line 2: time '1' is counted from a start that was not said"),
        ({"start_us": 0}, "time,temp\n5,2\n4,3\n", "line 3: time '4' is before that of the row"),
        ({}, "time,temp\nnoon,2\n", "line 2: time 'noon' is not ISO 8601 or a number of seconds"),
        ({"encoding": "klingon"}, "time,temp\n", "encoding 'klingon' is not known"),
    ],
)
def test_what_cannot_be_read_is_said_with_its_line(tmp_path, given, text, words) -> None:
    columns = (Column.parsed("tc=temp"),)
    with pytest.raises(BadLoggerFile) as caught:
        read(tmp_path / "old.csv", text, times=("time",), columns=columns, **given)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tc", "is not NAME=COLUMN"),
        ("tc=Temp:furlong", "unit 'furlong' is not one of"),
        ("tc=Temp:degC:poker", "kind 'poker' is not one of thermocouple"),
        ("=1+1=Temp", "after a letter or digit"),
        ("t c=Temp", "after a letter or digit"),
    ],
)
def test_a_wrong_mapping_is_said(text: str, words: str) -> None:
    with pytest.raises(BadLoggerFile) as caught:
        Column.parsed(text)
    assert words in str(caught.value)


def test_an_old_log_is_previewed_kept_and_forecast(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The cooling oven of the open data, as another logger would have written it."""
    rows = (DATA / "oven_thermocouple_392c" / "natural_cooling.csv").read_text().splitlines()
    rows = [rows[0], *rows[1:1000:4]]  # eight minutes, a row every two seconds
    old = tmp_path / "=old.csv"
    old.write_text("Serial 1\n" + "\n".join(rows) + "\n")
    header = rows[0].split(",")
    how = ["--csv", "--time", header[0], "--channel", f"oven={header[1]}"]
    start = ["--start", "2026-01-31T08:00:00Z"]
    assert main(["import", str(old), "--csv", "--preview"]) == 0
    assert f"columns: '{header[0]}', '{header[1]}'" in capsys.readouterr().out
    assert main(["import", str(old), *how, *start, "--preview", "--timezone", "UTC"]) == 0
    shown = capsys.readouterr().out
    assert "from 2026-01-31 08:00:00 +00:00" in shown
    assert f"oven: {len(rows) - 1} numbers" in shown
    assert list(tmp_path.iterdir()) == [old]

    database, log = tmp_path / "old.db", tmp_path / "log.csv"
    assert main(["import", str(old), *how, *start, "--into", str(database), "--log", str(log)]) == 0
    assert main(["replay", str(database)]) == 0
    with sqlite3.connect(database) as connection:
        assert connection.execute("SELECT count(*) FROM reading").fetchone()[0] == len(rows) - 1
        assert connection.execute("SELECT name FROM part").fetchone()[0] == "=old"
    store = Store.open_to_read(f"sqlite:///{database}")
    try:
        record = gather(store, 1)
    finally:
        store.close()
    assert record.facts.name == "=old"
    assert record.channels[0].readings == len(rows) - 1
    capsys.readouterr()
    assert main(["forecast", str(log), "--until", "150", "--at", "400", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["time_left_s"]["p05"] > 0
    assert main(["import", str(old), *how, *start, "--into", str(database)]) == 1
    assert "is not empty" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ([], "say --time COLUMN and --channel"),
        (["--time", "t", "--channel", "tc=x"], "say --into DB"),
        (["--time", "t", "--channel", "tc=x", "--channel", "tc=y"], "mapped 2 times"),
        (["--time", "t", "--channel", "tc=x", "--start", "today"], "'today' is not like"),
        (
            ["--time", "t", "--channel", "tc=x", "--into", "o.db", "--preheat-min", "300",
             "--interpass-max", "200"],
            "must be above preheat_min_c",
        ),
    ],
)  # fmt: skip
def test_what_is_not_said_is_asked_for(tmp_path, capsys, monkeypatch, more, words) -> None:
    monkeypatch.chdir(tmp_path)
    Path("old.csv").write_text("t,x,y\n1,2,3\n")
    start = [] if "--start" in more else ["--start", "2026-01-31T08:00:00Z"]
    assert main(["import", "old.csv", "--csv", *start, *more]) == 2
    assert words in capsys.readouterr().err
