"""Scripted stories through a real serial line, taps and store: what is said, and its repetition.

The arc's own stories are in ``test_trips.py``, the oven and the carry too.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from service.commands.replay import compare
from service.judge.events import Acted, Outcome, Refused
from service.judge.judge import Judge
from service.readings import Quality, Reading
from service.rebuild import rebuild
from service.store.database import Store
from service.store.entries import Arrived
from tests.field.bench_parts import ScriptedPort
from tests.field.story_bench import Bench, Story

pytestmark = pytest.mark.timeout(300)

Play = Callable[[Story], None]


@pytest.fixture
def story(service_folder: Path, scripted_port: ScriptedPort) -> Iterator[Story]:
    told = Story(service_folder, scripted_port)
    told.start()
    yield told
    told.stop()


def kinked_mid_bead(story: Story) -> None:
    """The hose is stepped on under the arc: a stop within seconds; heat goes its own way."""
    story.run(15)
    story.part()
    story.run(15)
    story.purged()
    story.arc(True)
    story.run(6)
    assert story.bench()["verdict"] == "ready"
    story.castings[0].flow_l_min = 0.0
    story.run(1)
    part = story.bench()
    assert (part["verdict"], part["purge"]["verdict"], part["purge"]["clear"]) == (
        "stop", "stop", False,
    )  # fmt: skip
    assert part["heat"]["verdict"] == "ready"
    assert part["next"] == "Purge lost: stop, the root is open to air."
    story.run(4)
    story.arc(False)
    story.castings[0].flow_l_min = 12.0
    story.run(3)
    assert not story.bench()["purge"]["clear"], "air has come in: it must clear anew"
    assert story.alarms()[0] == ("purge lost", "unacknowledged")
    story.run(90)
    assert story.bench()["purge"]["clear"]
    assert {kind for kind, _ in story.alarms()} == {"purge lost"}
    assert story.alarms()[-1] == ("purge lost", "returned")


def below_preheat_mid_bead(story: Story) -> None:
    """The part falls below preheat under the arc: never a stop, but what to do."""
    story.castings[0].temperature_c = story.castings[0].shown_c = 225.0
    story.run(15)
    story.part(oxygen_max_ppm=None)
    story.run(15)
    assert story.bench()["verdict"] == "ready"
    story.tap("begin pass", heat_id=1)  # a weak arc: the casting cools all the same
    while story.bench()["heat"]["verdict"] == "ready":
        story.run(1)
    for _ in range(10):
        part = story.bench()
        assert part["verdict"] == "wait"
        assert "finish the bead, fill the crater, then re-heat" in part["next"]
        story.run(1)
    story.tap("end pass", heat_id=1)
    story.run(2)
    assert story.bench()["verdict"] == "stop"
    assert "back into the oven" in story.bench()["next"]
    assert story.alarms() == [("below preheat", "unacknowledged")]


def two_parts(story: Story) -> None:
    """Each part has its own verdicts: one too cold to weld, one ready, one line for both."""
    story.castings.append(Bench(temperature_c=204.0, shown_c=204.0))
    story.run(15)
    story.part(1)
    story.part(2, oxygen_max_ppm=None)
    story.run(15)
    story.purged(1)
    while story.bench(2)["heat"]["verdict"] == "ready":
        story.run(1)
    story.run(7)
    assert story.bench(1)["verdict"] == "ready"
    assert story.bench(2)["verdict"] == "stop"
    assert story.alarms() == [("below preheat", "unacknowledged")]
    story.castings[0].flow_l_min = 0.0
    story.run(5)
    assert story.bench(1)["verdict"] == "wait"
    assert story.alarms()[1:] == [("purge lost", "unacknowledged")]


def probe_falls_off(story: Story) -> None:
    """A probe that drops off the part reads colder and colder: unknown, not 'back to the oven'."""
    story.run(15)
    story.part(oxygen_max_ppm=None)
    story.run(15)
    assert story.bench()["verdict"] == "ready"
    story.castings[0].probe = "off"
    story.run(8)
    part = story.bench()
    assert part["verdict"] == part["heat"]["verdict"] == "unknown"
    assert part["heat"]["temperature_c"] is None
    story.run(40)
    assert story.bench()["verdict"] == "unknown"
    assert ("sensor fault", "unacknowledged") in story.alarms()
    story.castings[0].probe = "on"
    story.run(40)
    assert story.bench()["verdict"] == "ready"
    assert story.alarms()[-1] == ("sensor fault", "returned")
    assert {kind for kind, _ in story.alarms()} == {"sensor fault"}


def node_reset(story: Story) -> None:
    """Four seconds without the node, then its first conversion is nonsense: no alarm, no ready."""
    story.run(15)
    story.part(oxygen_max_ppm=None)
    story.run(15)
    assert story.bench()["verdict"] == "ready"
    story.silent = True
    story.run(4)
    assert story.bench()["verdict"] == "unknown"
    story.silent = False
    story.clock.pass_us(500_000)
    first = {"boot": "7f3a", "seq": 0, "n": "tc1", "u": "Cel", "v": 0.0}
    story.say([first, {"n": "argon1", "u": "l/s", "v": 0.0}])
    assert story.bench()["verdict"] == "unknown"
    story.run(5)
    assert story.bench()["verdict"] == "ready"
    assert story.alarms() == []


def power_cut(story: Story) -> None:
    """The power fails in the middle of a clear purge: the part goes on, its purge is unproven."""
    story.run(15)
    story.part()
    story.run(15)
    story.purged()
    story.arc(True)
    story.run(5)
    story.cut_the_power(away_s=90)
    part = story.bench()
    assert part["phase"] == "bench"
    assert part["pass_running"]
    assert part["verdict"] in ("unknown", "stop", "wait")
    assert not part["purge"]["clear"]
    story.run(3)
    part = story.bench()
    assert not part["purge"]["clear"]
    assert part["verdict"] != "ready"
    assert "counted anew: the service was restarted" in " ".join(part["purge"]["reasons"])
    story.arc(False)
    story.run(90)
    assert story.bench()["purge"]["clear"]


def clock_stepped(story: Story) -> None:
    """The date is set forward an hour and back two: no verdict, no alarm, no duration changes."""
    story.run(15)
    story.part()
    story.run(15)
    story.purged()
    story.run(30)
    said = story.told()
    for by_s in (3600.0, -7200.0):
        before = story.bench()["heat"]["window"]["closes_in_s"]["p50"]
        story.set_the_date(by_s)
        story.run(5)
        part = story.bench()
        assert part["verdict"] == "ready"
        after = part["heat"]["window"]["closes_in_s"]["p50"]
        assert abs(before - after) < 60, "the window went on, by seconds"
    assert story.told() == said
    assert story.alarms() == []
    steps = story.outside.rows("SELECT count(*) FROM journal WHERE kind = 'clock stepped'")
    assert steps == [(2,)]


PLAYS: list[Play] = [
    kinked_mid_bead,
    below_preheat_mid_bead,
    two_parts,
    probe_falls_off,
    node_reset,
    power_cut,
    clock_stepped,
]


def changes(outcome: Outcome) -> list[object]:
    return [*outcome.alarms, *outcome.verdicts]


def judged(events: list[Reading | Acted]) -> list[object]:
    """What a fresh judge says to the events."""
    judge, said = Judge(), []
    for event in events:
        try:
            said += changes(judge.step(event))
        except Refused as refusal:
            said.append(str(refusal))
    return said


TABLES = (
    "part", "limits", "heat", "heat_phase", "purge", "weld_pass", "assignment", "alarm_change",
    "verdict_change", "journal",
)  # fmt: skip


def contents(path: Path) -> dict[str, list[tuple[object, ...]]]:
    connection = sqlite3.connect(path)
    found = {
        table: sorted(connection.execute(f"SELECT * FROM {table}").fetchall(), key=repr)
        for table in TABLES
    }
    connection.close()
    return found


def said_again(store: Store, fresh: Store) -> None:
    """Journal and readings into an empty database, judged on the way, run by run."""
    judge = Judge()
    for event in store.events(1):
        outcome = judge.step(event)
        entry = event if isinstance(event, Acted) else Arrived((event,))
        fresh.write_side.keeper.keep([entry, outcome])


@pytest.mark.parametrize("play", PLAYS, ids=lambda play: play.__name__)
def test_a_story_and_its_repetition(story: Story, play: Play, tmp_path: Path) -> None:
    play(story)
    story.stop()
    store = Store.open_to_read(f"sqlite:///{story.outside.database}")
    found = compare(store)
    assert found.same, (found.missing[:3], found.extra[:3])
    assert found.compared > 3

    events = list(store.events(1))
    said = judged(events)
    assert judged(events) == said
    ready = [
        place
        for place, event in enumerate(events)
        if isinstance(event, Reading) and event.channel == "tc1" and event.quality is Quality.GOOD
    ]
    place = ready[len(ready) // 2]
    spoilt = [*events]
    spoilt[place] = events[place]._replace(quality=Quality.BAD, value=None, reason="spoilt")
    assert judged(spoilt) != said, "one reading changed changes what is said"

    if play is not power_cut:  # there the judge itself went on from what was on the disk
        fresh = Store.open(f"sqlite:///{tmp_path / 'fresh.db'}")
        said_again(store, fresh)
        bench = rebuild(fresh).bench()
        fresh.close()
        assert contents(tmp_path / "fresh.db") == contents(story.outside.database)
        assert bench == rebuild(store).bench()
    store.close()
