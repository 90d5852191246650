"""A start takes up the judge's newest checkpoint that can be believed, else judges it all again."""

from __future__ import annotations

import dataclasses
import logging
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from service import rebuild
from service.judge import actions as act
from service.judge.checkpoint import encode
from service.judge.events import Acted, Advance, Outcome
from service.judge.judge import Judge
from service.judge.state import JudgeState
from service.readings import Reading
from service.store.database import Store
from service.store.entries import Arrived, Checkpoint
from tests.service.judge.conftest import Stage

EVERY = 70
"""A checkpoint after so many events."""


@dataclass
class Recorded:
    """A shop with an open heat, recorded together with two checkpoints, and the judge that lived.

    Attributes:
        path: The database.
        judge: As it was at the end.
        seqs: Places of the checkpoints, in order.
        outcomes: What it concluded from each event; none of it was recorded.
    """

    path: Path
    judge: Judge
    seqs: list[int]
    outcomes: list[tuple[int, Outcome]]


def state_of(judge: Judge) -> bytes:
    """Without the gate, which is not replayed and forgets within half a minute, and without what
    a kill kept from being recorded."""
    return encode(dataclasses.replace(judge.state, owed=Outcome()), "any")


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    stage = Stage()
    stage.act(act.ServiceStarted(version="test", offset_us=0))
    stage.sources = {"tc1": lambda t_s: 320.0 - t_s / 3, "flow1": lambda t_s: 8.0 * (t_s > 20)}
    stage.part(
        1,
        {"tc1": "thermocouple", "flow1": "gas flow"},
        act.Limits(preheat_min_c=200, interpass_max_c=330),
        cavity_volume_l=1.0,
    )
    stage.act(act.BeginHeat(heat_id=1, part_id=1))
    stage.run(30)
    stage.act(act.MovePart(heat_id=1, phase="bench"))
    stage.act(act.BeginPurge(heat_id=1))
    stage.run(30)
    stage.act(act.BeginPass(heat_id=1))
    stage.run(8)
    stage.act(act.EndPass(heat_id=1))
    stage.run(10)
    stage.act(act.MovePart(heat_id=1, phase="slow cool"))
    stage.run(12)
    path = tmp_path_factory.mktemp("recorded") / "shop.db"
    store = Store.open(f"sqlite:///{path}")
    keeper, judge, seqs, outcomes = store.write_side.keeper, Judge(), [], []
    events = [event for event in stage.events if not isinstance(event, Advance)]
    for place, event in enumerate(events, 1):
        seq = event.seq if isinstance(event, Reading) else event.stamp.seq
        outcomes.append((seq, judge.step(event)))
        keeper.keep([Arrived((event,)) if isinstance(event, Reading) else event])
        if place % EVERY == 0:
            seqs.append(seq)
            state = encode((judge.state, judge.gate), rebuild.checkpoint_version())
            keeper.keep([Checkpoint(seqs[-1], state)])
    store.close()
    assert len(events) % EVERY > 10, "something must be left to judge again"
    return Recorded(path, judge, seqs[-2:], outcomes)


@pytest.fixture
def store(recorded: Recorded, tmp_path: Path) -> Iterator[Store]:
    path = Path(shutil.copy(recorded.path, tmp_path / "shop.db"))
    opened = Store.open(f"sqlite:///{path}")
    yield opened
    opened.close()


def change(store: Store, seq: int, state: bytes) -> None:
    with store.write_side.engine.begin() as connection:
        done = connection.exec_driver_sql(
            "UPDATE checkpoint SET state = ? WHERE seq = ?", (state, seq)
        )
        assert done.rowcount == 1


def test_the_newest_is_taken_up_and_the_rest_judged_again(
    recorded: Recorded, store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    judge, seq = rebuild.resume(store)
    assert seq == recorded.seqs[-1]
    assert state_of(judge) == state_of(recorded.judge)
    assert "resumed from a checkpoint" in caplog.text


def test_what_a_kill_kept_from_being_recorded_is_owed(recorded: Recorded, store: Store) -> None:
    tail = [outcome for seq, outcome in recorded.outcomes if seq > recorded.seqs[0]]
    verdicts = [verdict for outcome in tail for verdict in outcome.verdicts]
    alarms = [alarm for outcome in tail for alarm in outcome.alarms]
    assert len(verdicts) >= 2, "else this would prove nothing"
    change(store, recorded.seqs[1], b"")  # judged again from the earlier one on
    owed = rebuild.resume(store)[0].state.owed
    assert (owed.verdicts, owed.alarms) == (verdicts, alarms)
    # Once recorded, it is not told again.
    store.write_side.keeper.keep([Outcome(verdicts=verdicts[:1])])
    owed = rebuild.resume(store)[0].state.owed
    assert owed.verdicts == [each for each in verdicts if each.mono_us > verdicts[0].mono_us]
    store.write_side.keeper.keep([Outcome(verdicts=verdicts, alarms=alarms)])
    assert rebuild.resume(store)[0].state.owed == Outcome()


def test_rebuilt_without_one_it_is_the_same_judge(recorded: Recorded, store: Store) -> None:
    """Here everything was said within the open heat but its parts, so both ways must agree."""
    with sqlite3.connect(store.path) as connection:
        connection.execute("DELETE FROM checkpoint")
    connection.close()
    judge, seq = rebuild.resume(store)
    assert seq is None
    assert judge.bench()["parts"] == recorded.judge.bench()["parts"]


def test_a_damaged_one_gives_way_to_the_one_before(
    recorded: Recorded, store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    before, newest = recorded.seqs
    good = dict(store.load_checkpoints())[newest]
    change(store, newest, good[:-20] + b"\0" * 20)
    judge, seq = rebuild.resume(store)
    assert seq == before
    assert state_of(judge) == state_of(recorded.judge)
    assert f"checkpoint after event {newest} is not used: not a checkpoint" in caplog.text


def broken_state() -> bytes:
    """Readable, of this version, and nothing a judge can work with."""
    state = JudgeState()
    state.channels = None  # type: ignore[assignment]
    return encode((state, Judge().gate), rebuild.checkpoint_version())


@pytest.mark.parametrize(
    ("state", "says"),
    [
        (b"", "not a checkpoint"),
        (encode((JudgeState(), Judge().gate), "0.0.1 other"), "version 0.0.1 other"),
        (encode([1, 2], rebuild.checkpoint_version()), "it holds no judge"),
        (broken_state(), "is not used"),
    ],
    ids=["empty", "of another version", "of something else", "of a broken judge"],
)
def test_with_none_to_believe_everything_is_judged_again_and_said(
    recorded: Recorded,
    store: Store,
    caplog: pytest.LogCaptureFixture,
    state: bytes,
    says: str,
) -> None:
    for seq in recorded.seqs:
        change(store, seq, state)
    judge, taken = rebuild.resume(store)
    assert taken is None
    assert state_of(judge) == state_of(rebuild.rebuild(store))
    assert judge.bench()["parts"] == recorded.judge.bench()["parts"]
    lines = [each.getMessage() for each in caplog.records]
    for seq in recorded.seqs:
        (line,) = [each for each in lines if f"after event {seq} is not used" in each]
        assert says in line


def test_an_event_that_breaks_the_judge_does_not_stop_the_start(
    store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    plain_step = Judge.step

    def step(judge: Judge, event: Reading | Acted | Advance) -> object:
        if isinstance(event, Reading) and event.seq == 40:
            raise ZeroDivisionError("a fault of ours")
        return plain_step(judge, event)

    monkeypatch.setattr(Judge, "step", step)
    judge = rebuild.rebuild(store)
    assert "the judge failed on event 40" in caplog.text
    assert judge.state.heats


def test_a_place_in_the_order_that_only_a_checkpoint_knows_is_not_given_again(store: Store) -> None:
    store.write_side.keeper.keep([Checkpoint(10**9, b"")])
    assert store.next_seq() == 10**9 + 1


def test_any_change_of_the_code_that_decides_makes_another_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = Path(rebuild.__file__).parent
    copy = tmp_path / "service"
    for room in ("judge", "physics", "procedure"):
        shutil.copytree(here / room, copy / room)
    for module in ("readings.py", "units.py"):
        shutil.copy(here / module, copy / module)
    monkeypatch.setattr(rebuild.resources, "files", lambda _package: copy)
    try:
        rebuild.checkpoint_version.cache_clear()
        whole = rebuild.checkpoint_version()
        rebuild.checkpoint_version.cache_clear()
        assert rebuild.checkpoint_version() == whole
        for changed in ("physics/cooldown.py", "judge/judge.py", "readings.py"):
            with (copy / changed).open("a") as file:
                file.write("# changed\n")
            rebuild.checkpoint_version.cache_clear()
            assert rebuild.checkpoint_version() != whole
            whole = rebuild.checkpoint_version()
    finally:
        monkeypatch.undo()
        rebuild.checkpoint_version.cache_clear()
