"""Procedures in the database: every version kept, who said a limit, what cannot be deleted."""

from __future__ import annotations

import json
import sqlite3

import pytest

from service.judge import actions as act
from service.judge.procedure_actions import ProcedureFacts
from service.store.procedures import read_procedures

HOT = ProcedureFacts(name="hot", limits=act.Limits(preheat_min_c=260.0), steps=("tack", "weld out"))
HOTTER = HOT.model_copy(update={"name": "hotter", "limits": act.Limits(preheat_min_c=300.0)})


@pytest.fixture
def kept(store, writer, shop, eventually):
    actions = [
        act.CreatePart(part_id=1, facts=act.PartFacts(name="manifold")),
        act.WriteProcedure(procedure_id=1, facts=HOT, by="the welder"),
        act.UseProcedure(part_id=1, procedure_id=1, version=1, limits=HOT.limits, by="the welder"),
        act.BeginHeat(heat_id=1, part_id=1),
        act.WriteProcedure(procedure_id=1, after_version=1, facts=HOTTER),
        act.TickStep(heat_id=1, number=2, by="apprentice"),
        act.TakeBackTick(heat_id=1, number=2, by="the welder"),
        act.TickStep(heat_id=1, number=2),
        act.SetLimits(part_id=1, limits=act.Limits(preheat_min_c=250.0), by="the foreman"),
        act.EndHeat(heat_id=1),
        act.UseProcedure(part_id=1),
        act.BeginHeat(heat_id=2, part_id=1),
    ]
    acted = [shop.acted(action) for action in actions]
    for each in acted:
        writer.put_action(each)
    eventually(lambda: len(list(store.journal())) == len(actions))
    return [each.stamp.utc_us for each in acted]


def test_what_was_said_stands_in_the_tables(kept, store, rows):
    at_us = kept
    with store.connect() as connection:
        (found,) = read_procedures(connection)
    assert found["name"] == "hotter"
    told = [(each["version"], each["by"], each["heats"]) for each in found["versions"]]
    assert told == [(2, None, 0), (1, "the welder", 1)]
    assert found["versions"][1]["facts"] == json.loads(HOT.model_dump_json())
    # Each limit is dated and attributed.
    assert rows(
        "SELECT l.version, l.from_us, l.preheat_min_c, s.said_by, s.procedure_id, "
        "s.procedure_version FROM limits l JOIN limits_said s USING (part_id, version)"
    ) == [
        (1, at_us[0], None, None, None, None),
        (2, at_us[2], 260.0, "the welder", 1, 1),
        (3, at_us[8], 250.0, "the foreman", None, None),
    ]
    assert rows("SELECT heat_id, procedure_id, version FROM heat_procedure") == [(1, 1, 1)]
    assert rows("SELECT procedure_id, version, said_by FROM part_procedure ORDER BY id") == [
        (1, 1, "the welder"),
        (None, None, None),
    ]
    assert rows("SELECT number, ticked_us, said_by, back_us, back_by FROM heat_step") == [
        (2, at_us[5], "apprentice", at_us[6], "the welder"),
        (2, at_us[7], None, None, None),
    ]


def test_the_database_refuses_to_delete_what_a_record_rests_on(kept, path):
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA foreign_keys = ON")
        for sql in (
            "DELETE FROM procedure",
            "DELETE FROM procedure_version WHERE version = 1",
            "DELETE FROM part",
            "DELETE FROM heat",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
                connection.execute(sql)
    connection.close()
