"""A short campaign of made-up readings through the judge on every run; the long is a command."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from service.judge.events import AlarmChange
from service.readings import Quality
from tests.field import judge_campaign
from tests.field.judge_campaign import Episode, campaign
from tests.field.judge_rules import Arrived, Watcher

pytestmark = pytest.mark.timeout(300)


def test_nothing_promised_is_broken() -> None:
    tally = campaign(seed=8, hours=1.0, episode_s=1800)
    assert tally.broken == {}, tally.examples
    assert tally.episodes == 2
    assert tally.readings > 3000
    assert tally.calibrated > 0
    assert tally.replayed == 1
    assert sum(tally.faults.values()) > 8
    assert tally.seconds_of_verdict["ready"] > 100, "a campaign without a ready part shows nothing"
    assert sum(tally.alarms_raised.values()) > 5


def test_the_command_writes_commit_seed_and_counts(tmp_path: Path) -> None:
    out = tmp_path / "report.json"
    done = subprocess.run(
        [sys.executable, judge_campaign.__file__, "--seed=7", "--hours=0.05", f"--out={out}"],
        capture_output=True,
        text=True,
        timeout=200,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    report = json.loads(out.read_text())
    assert json.loads(done.stdout) == report
    assert (report["seed"], report["hours"], report["broken"]) == (7, 0.05, {})
    assert report["commit"]
    assert report["readings"] > 0


@pytest.fixture
def shown() -> Episode:
    """A shop whose last answer can be spoilt."""
    episode = Episode(3, 1)
    for _ in range(5):
        episode.t_s += 1.0
        episode._second()
    return episode


def broken(episode: Episode, **part: object) -> set[str]:
    job, bench = episode.jobs[0], episode.bench["parts"][0]
    channels = {channel["name"]: channel for channel in episode.bench["channels"]}
    return set(episode.watcher.part(job, {**bench, **part}, channels, episode.t_s))


def test_the_rules_can_be_broken(shown: Episode) -> None:
    """Each rule finds an answer that a faulty judge would give."""
    assert broken(shown) == set()
    heat, purge = shown.bench["parts"][0]["heat"], shown.bench["parts"][0]["purge"]
    ready, stop = {**heat, "verdict": "ready"}, {**heat, "verdict": "stop"}
    assert "a bead broken off for its temperature" in broken(shown, heat=stop, pass_running=True)
    assert "ready off the bench" in broken(shown, heat=ready, phase="oven")
    assert "clear without a purge or a limit" in broken(shown, purge={**purge, "clear": True})
    for probe in shown.jobs[0].of("probe"):
        shown.watcher.arrived[probe.name] = Arrived(shown.t_s - 60, 300.0, Quality.GOOD)
    assert "ready on stale, suspect, bad or settling data" in broken(shown, heat=ready)
    limits = {"in_force": {"preheat_min_c": 1000.0}, "oxygen_max_ppm": 1.0}
    assert "ready with the metal below preheat" in broken(shown, heat=ready, limits=limits)
    judged = {**purge, "clear": False, "basis": "flow"}
    unready = broken(shown, verdict="ready", heat=ready, purge=judged)
    assert "part ready without heat and purge" in unready
    clear = {**purge, "clear": True, "running": True}
    found = broken(shown, purge=clear, limits=limits)
    assert "clear with air in the cavity" in found


def test_an_alarm_step_that_is_not_in_the_table_is_found() -> None:
    watcher = Watcher()

    def step(state: str, speak: bool = False) -> list[str]:
        change = AlarmChange(1, "no data", 1, "tc", state, 0, 0, 0, "", speak)  # type: ignore[arg-type]
        return list(watcher.alarm(change))

    assert step("acknowledged") == ["alarm step normal -> acknowledged"]
    assert step("unacknowledged") == ["alarm silent on acknowledged -> unacknowledged"]
    assert step("returned", speak=True) == ["alarm spoken on unacknowledged -> returned"]
    assert watcher.cells["normal -> acknowledged"] == 1
