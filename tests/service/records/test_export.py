"""A heat out of one database and into another, through files and the command line."""

from __future__ import annotations

import csv
import hashlib
import json
import sqlite3
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.commands.main import main
from service.judge import actions as act
from service.records.csv_out import COLUMNS, FORMULA_STARTS, inert, plain
from service.records.package import NotAPackage, decode, encode
from service.store.database import Store
from tests.field.recorded_heat import Recorder


def exported(database: Path, path: Path, *more: str) -> Path:
    assert main(["export", "1", "-o", str(path), "--database", str(database), *more]) == 0
    return path


@pytest.fixture(scope="session")
def whole(recorded: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return exported(recorded, tmp_path_factory.mktemp("whole") / "heat.json", "--unchecked")


def resealed(text: str) -> bytes:
    """The same file with a checksum that fits: somebody who knows what he does."""
    body = text[text.index('"body":') + 7 : -2]
    seal = hashlib.sha256(body.encode()).hexdigest()
    old = text[text.index('"sha256":"') + 10 :][:64]
    return text.replace(old, seal, 1).encode()


def test_out_and_in_and_out_again_is_the_same_to_the_byte(
    whole: Path, recorded: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.db"
    assert main(["import", str(whole), "--into", str(copy)]) == 0
    assert "changes judged again: all the same" in capsys.readouterr().out
    again = exported(copy, tmp_path / "again.json", "--unchecked")
    assert again.read_bytes() == whole.read_bytes()
    one, other = (
        exported(each, tmp_path / f"{place}.csv", "--timezone", "UTC").read_bytes()
        for place, each in enumerate((recorded, copy))
    )
    assert one == other
    with sqlite3.connect(copy) as connection:
        for table in (
            "heat_phase",
            "weld_pass",
            "purge",
            "verdict_change",
            "limits",
            "calibration",
        ):
            rows = connection.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()
            with sqlite3.connect(recorded) as first:
                assert rows == first.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()
    assert main(["replay", str(copy)]) == 0
    # A second time into the same database is refused.
    assert main(["import", str(whole), "--into", str(copy)]) == 1
    assert "is not empty" in capsys.readouterr().err


def test_what_was_said_after_the_end_goes_along(whole: Path) -> None:
    package = decode(whole.read_bytes())
    assert [each.action.kind for each in package.after] == ["write note", "correct pass"]
    assert all(each.stamp.seq > package.last_seq for each in package.after)


def test_a_changed_digit_is_caught(
    whole: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = whole.read_text()
    place = text.index("250.")
    changed = tmp_path / "changed.json"
    changed.write_text(text[:place] + "251." + text[place + 4 :])
    assert main(["import", str(changed), "--into", str(tmp_path / "copy.db")]) == 2
    assert "does not fit its sha256" in capsys.readouterr().err
    assert not (tmp_path / "copy.db").exists()


def test_readings_changed_with_their_checksum_change_the_verdicts(
    whole: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Somebody makes the second pass look as if it had been welded cold."""
    package = decode(whole.read_bytes())
    rows = [
        reading._replace(value=150.0)
        if reading.channel == "tc1" and reading.value is not None and 255 < reading.value < 270
        else reading
        for reading in package.readings
    ]
    forged = tmp_path / "forged.json"
    fields = {name: getattr(package, name) for name in package.__slots__}
    forged.write_bytes(encode(type(package)(**{**fields, "readings": tuple(rows)})))
    assert main(["import", str(forged), "--into", str(tmp_path / "copy.db")]) == 1
    assert "do not follow from its readings" in capsys.readouterr().err
    assert not (tmp_path / "copy.db").exists()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"format":"heatwindow heat 1"', '"format":"other"', "format is 'other'; allowed is"),
        ('"heat":1,', '"heat":"1",', "heat is '1'; allowed is a whole number"),
        ('"heat":1,', '"heat":1,"more":2,', "allowed are exactly body, format, heat, sha256"),
        ('"first_seq":1', '"first_seq":1.5', "body.first_seq is not a whole number"),
        ('"kind":"end pass"', '"kind":"no pass"', "body.journal, row"),
        ('"verdict":"ready"', '"verdict":"ready","x":1', "body.verdicts, row"),
        ('"Cel",21.5', '"Cel","21.5"', "body.readings, row"),
        ('"Cel",21.5', '"Cel",NaN', "NaN is no number"),
        ('"body":', '"body":[', "it is not JSON"),
    ],
)
def test_what_is_wrong_is_said_with_its_place(whole: Path, old: str, new: str, words: str) -> None:
    text = whole.read_text()
    assert old in text
    with pytest.raises(NotAPackage) as caught:
        decode(resealed(text.replace(old, new, 1)))
    assert words in str(caught.value)


def test_the_csv_holds_every_reading_with_three_times(recorded: Path, tmp_path: Path) -> None:
    path = exported(recorded, tmp_path / "heat.csv", "--timezone", "UTC")
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    assert tuple(rows[0]) == COLUMNS
    with sqlite3.connect(recorded) as connection:
        begun_us, ended_us = connection.execute("SELECT begun_us, ended_us FROM heat").fetchone()
        kept = connection.execute(
            "SELECT count(*) FROM reading WHERE t_us BETWEEN ? AND ?", (begun_us, ended_us)
        ).fetchone()[0]
    assert len(rows) == kept
    runs = [float(row["run_s"]) for row in rows]
    assert runs == sorted(runs)
    for row in rows[:: len(rows) // 50]:
        at = datetime.fromisoformat(row["utc"])
        assert float(row["run_s"]) == pytest.approx(at.timestamp() - begun_us / 1e6, abs=1e-5)
        assert datetime.fromisoformat(row["local"]) == at
    probe = next(row for row in rows if row["channel"] == "tc1")
    # Checked at 0.5 for 0 and 100.5 for 99.5: beyond the last check one degree too much.
    assert float(probe["corrected"]) == float(probe["raw"]) - 1
    bad = next(row for row in rows if row["quality"] == "bad")
    assert (bad["raw"], bad["corrected"]) == ("", "")
    assert bad["reason"] == "open circuit: probe unplugged or broken"


def test_the_csv_of_a_heat_with_everything_odd(odd: Path, tmp_path: Path) -> None:
    path = exported(odd, tmp_path / "heat.csv", "--timezone", "Europe/Dublin")
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    assert {row["channel"] for row in rows} == {"'=1+tc", "tc2", "flow1", "oxygen1", "room1"}
    for row in rows:
        for text in (row["channel"], row["measures"], row["reason"], row["raw_unit"]):
            assert not text.startswith(FORMULA_STARTS[:-1])
        assert datetime.fromisoformat(row["local"]) == datetime.fromisoformat(row["utc"])
    # The wall clock went back by 90 s: the stamps do, the run seconds do not, and none is missing.
    probe = [row for row in rows if row["channel"] == "tc2"]
    runs = [float(row["run_s"]) for row in probe]
    assert {round(after - before) for before, after in pairwise(runs)} == {1}
    stamps = [row["utc"] for row in probe]
    assert stamps != sorted(stamps)
    # In the hour that comes twice, the same time of day, told apart by the offset.
    days = [row["local"] for row in probe]
    first = next(day for day in days if day.startswith("2026-10-25T01:55:00"))
    assert first.endswith("+01:00")
    assert next(day for day in days if day.startswith("2026-10-25T01:00:30")).endswith("+00:00")


def test_the_json_of_a_heat_with_everything_odd(odd: Path, tmp_path: Path) -> None:
    first = exported(odd, tmp_path / "odd.json", "--unchecked")
    text = first.read_text(encoding="ascii")
    assert json.loads(text)["body"]["readings"][0][1] == "=1+tc"
    assert main(["import", str(first), "--into", str(tmp_path / "copy.db")]) == 0
    again = exported(tmp_path / "copy.db", tmp_path / "again.json", "--unchecked")
    assert again.read_bytes() == first.read_bytes()


@given(st.text())
def test_no_text_is_run_by_a_spreadsheet_and_each_comes_back(text: str) -> None:
    cell = inert(text)
    assert not cell.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert plain(cell) == text


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["export", "9", "-o", "x.json"], 2, "there is no heat 9"),
        (["export", "9", "-o", "x.csv"], 2, "there is no heat 9"),
        (["export", "1", "-o", "x.xls"], 2, "ends in '.xls'; allowed are .csv and .json"),
        (["export", "1", "-o", "absent/x.csv"], 1, "No such file or directory"),
    ],
)
def test_what_cannot_be_exported_is_one_sentence(
    recorded: Path, tmp_path: Path, capsys, monkeypatch, arguments, code, words
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([*arguments, "--database", str(recorded)]) == code
    assert words in capsys.readouterr().err


def test_a_heat_long_after_the_start_takes_along_what_it_needs_and_no_more(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An hour before it, its own part and channels; of another part's old heat not even a name."""
    database = tmp_path / "shop.db"
    store = Store.open(f"sqlite:///{database}")
    shop = Recorder(store)
    shop.act(act.ServiceStarted(version="0.1", offset_us=0))
    for part_id, name in ((1, "secret pump"), (2, "saw mill")):
        shop.act(act.CreatePart(part_id=part_id, facts=act.PartFacts(name=name)))
    shop.act(act.AdoptChannel(channel="tc1", channel_kind="thermocouple"))
    shop.act(act.AssignChannel(channel="tc1", part_id=1))
    shop.act(act.BeginHeat(heat_id=1, part_id=1))
    shop.sources = {"tc1": lambda second: 300.0 - second / 4}
    shop.run(20)
    shop.act(act.EndHeat(heat_id=1))
    shop.now_us += 8 * 3_600_000_000
    shop.act(act.AssignChannel(channel="tc1", part_id=2))
    shop.run(700)  # so that there is a milestone in the order before the heat
    shop.act(act.SetLimits(part_id=2, limits=act.Limits(preheat_min_c=100)))
    shop.act(act.BeginHeat(heat_id=2, part_id=2, phase="bench"))
    shop.run(30)
    shop.act(act.EndHeat(heat_id=2))
    shop.write()
    store.close()
    first = tmp_path / "heat.json"
    assert main(["export", "2", "-o", str(first), "--database", str(database)]) == 0
    assert "judged again: all" in capsys.readouterr().out
    text = first.read_text()
    assert "saw mill" in text
    assert "secret pump" not in text
    package = decode(first.read_bytes())
    assert package.first_seq > 20
    assert package.before
    copy, again = tmp_path / "copy.db", tmp_path / "again.json"
    assert main(["import", str(first), "--into", str(copy)]) == 0
    assert main(["export", "2", "-o", str(again), "--database", str(copy)]) == 0
    assert again.read_bytes() == first.read_bytes()
    assert main(["replay", str(copy)]) == 0
