"""Steps of a trip in the tables: what holds, what was taken back, and what said so."""

from __future__ import annotations

import pytest

from service.judge import actions as act
from service.judge.events import Outcome, TripChange
from service.judge.judge import Judge
from service.store.entries import decode, encode


@pytest.fixture
def do(store, shop):
    """Do an action through a judge, and keep what it concludes; the action's UTC [µs]."""
    judge = Judge()

    def run(action):
        acted = shop.acted(action)
        outcome = judge.step(acted)
        store.write_side.keeper.keep([acted, outcome])
        store.write_side.keeper.keep([acted, outcome])  # a second time, as after a crash
        return acted.stamp.utc_us

    run(act.CreatePart(part_id=3, facts=act.PartFacts(name="pump engine manifold")))
    return run


PHASES = "SELECT number, phase, from_us, origin, void_us IS NULL FROM heat_phase ORDER BY id"
PASSES = "SELECT number, begun_us, ended_us, origin, void_us IS NULL FROM weld_pass ORDER BY id"


def test_a_heat_with_its_phases_passes_and_purges(do, rows):
    begun = do(act.BeginHeat(heat_id=8, part_id=3))
    moved = do(act.MovePart(heat_id=8, phase="bench"))
    gas_on = do(act.BeginPurge(heat_id=8))
    first = do(act.BeginPass(heat_id=8))
    out = do(act.EndPass(heat_id=8))
    second = do(act.BeginPass(heat_id=8))
    done = do(act.EndPass(heat_id=8))
    ended = do(act.EndHeat(heat_id=8))
    assert rows("SELECT id, part_id, begun_us, ended_us FROM heat") == [(8, 3, begun, ended)]
    assert rows(PHASES) == [(1, "oven", begun, "tap", 1), (2, "bench", moved, "tap", 1)]
    assert rows(PASSES) == [(1, first, out, "tap", 1), (2, second, done, "tap", 1)]
    assert rows("SELECT begun_us, ended_us FROM purge") == [(gas_on, ended)]
    assert rows("SELECT count(*) FROM trip_change") == [(6,)]


def test_a_corrected_pass_stands_beside_the_one_that_was_noted(do, rows):
    do(act.BeginHeat(heat_id=8, part_id=3, phase="bench"))
    first = do(act.BeginPass(heat_id=8))
    out = do(act.EndPass(heat_id=8))
    second = do(act.BeginPass(heat_id=8))
    done = do(act.EndPass(heat_id=8))
    do(act.CorrectPass(heat_id=8, number=1, ended_us=out + 5, by="the welder"))
    do(act.CorrectPass(heat_id=8, number=2, never=True))
    assert rows(PASSES) == [
        (1, first, out, "tap", 0),
        (2, second, done, "tap", 0),
        (1, first, out + 5, "tap", 1),
    ]
    do(act.EndHeat(heat_id=8))
    do(act.CorrectPass(heat_id=8, number=1, began_us=first + 1))
    assert rows(PASSES)[-2:] == [
        (1, first, out + 5, "tap", 0),
        (1, first + 1, out + 5, "tap", 1),
    ]


def test_what_is_taken_back_is_marked_and_stays(do, rows):
    begun = do(act.BeginHeat(heat_id=8, part_id=3, phase="bench"))
    first = do(act.BeginPass(heat_id=8))
    do(act.UndoStep(heat_id=8, number=1))
    again = do(act.BeginPass(heat_id=8))
    do(act.EndPass(heat_id=8))
    do(act.UndoStep(heat_id=8, number=3))
    assert rows(PASSES) == [(1, first, None, "tap", 0), (1, again, None, "tap", 1)]
    ended = do(act.EndPass(heat_id=8))
    covered = do(act.MovePart(heat_id=8, phase="slow cool"))
    do(act.UndoStep(heat_id=8, number=5))
    assert rows(PASSES)[1] == (1, again, ended, "tap", 1)
    assert rows(PHASES) == [(1, "bench", begun, "tap", 1), (2, "slow cool", covered, "tap", 0)]


def test_a_correction_is_a_new_row_beside_the_old_one(do, rows):
    begun = do(act.BeginHeat(heat_id=8, part_id=3))
    left = do(act.MovePart(heat_id=8, phase="carry"))
    landed = do(act.MovePart(heat_id=8, phase="bench"))
    do(act.CorrectPhase(heat_id=8, number=2, began_us=left - 400, by="the welder"))
    assert rows(PHASES) == [
        (1, "oven", begun, "tap", 1),
        (2, "carry", left, "tap", 0),
        (3, "bench", landed, "tap", 1),
        (2, "carry", left - 400, "tap", 1),
    ]
    assert rows("SELECT said_by FROM heat_phase WHERE said_by IS NOT NULL") == [("the welder",)]
    do(act.CorrectPhase(heat_id=8, number=3, never=True))
    assert [row[1] for row in rows(PHASES) if row[4]] == ["oven", "carry"]


def test_arc_time_is_summed_up_for_the_heat(do, store, rows):
    do(act.BeginHeat(heat_id=8, part_id=3, phase="bench"))
    for number, arc_us in ((1, 40_000_000), (2, 1_500_000)):
        for kind, since_us, burnt_us in (("begin pass", 10, None), ("end pass", 20, arc_us)):
            store.write_side.keeper.keep(
                [Outcome(trips=[change(kind, number, number * 100 + since_us, burnt_us)])]
            )
    assert rows("SELECT number, arc_us, origin FROM weld_pass") == [
        (1, 40_000_000, "readings"),
        (2, 1_500_000, "readings"),
    ]
    assert rows("SELECT arc_us FROM heat") == [(41_500_000,)]


def change(kind, number, since_us, arc_us=None):
    return TripChange(
        heat_id=8, number=number, kind=kind, undone=None, phase=None, origin="readings", by=None,
        since_us=since_us, arc_us=arc_us, at_us=since_us + 5, mono_us=since_us, text="x",
    )  # fmt: skip


def test_steps_survive_the_spool_and_come_back(store):
    outcome = Outcome(trips=[change("end pass", 2, 7, 3)])
    assert decode(encode(outcome)) == outcome
    assert decode(b'{"alarms":[],"verdicts":[]}') == Outcome()
    store.write_side.keeper.keep([outcome])
    assert store.changes().trips == outcome.trips
