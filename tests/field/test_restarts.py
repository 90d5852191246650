"""Restarts: the judge goes on from its checkpoint, and a repeat of the record agrees."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.field.bench_parts import ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

pytestmark = pytest.mark.timeout(300)


@pytest.fixture
def wired(service_folder: Path, scripted_port: ScriptedPort) -> Iterator[ServiceProcess]:
    service = ServiceProcess(service_folder, f'[[serial]]\nport = "{scripted_port.path}"\n')
    service.start()
    yield service
    service.end()


def begin(service: ServiceProcess, port: ScriptedPort) -> None:
    """A part on the bench with a probe that speaks."""
    port.write(b'[{"n":"bench/flange","u":"Cel","v":300}]\n')
    wait_until(lambda: service.channel("bench/flange"), "the channel")
    service.act("adopt channel", channel="bench/flange", channel_kind="thermocouple")
    part = service.act("create part", facts={"name": "manifold"}, limits={"preheat_min_c": 250})
    service.act("assign channel", channel="bench/flange", part_id=part["part_id"])
    heat = service.act("begin heat", part_id=part["part_id"])
    service.act("move part", heat_id=heat["heat_id"], phase="bench")


def speak(service: ServiceProcess, port: ScriptedPort, numbers: range) -> None:
    wanted = len(service.stored("bench/flange")) + len(numbers)
    for number in numbers:
        port.write(f'[{{"n":"bench/flange","u":"Cel","v":{290 - number / 10}}}]\n'.encode())
        time.sleep(0.05)  # a pace: the judge is to see them at different times
    wait_until(lambda: len(service.stored("bench/flange")) >= wanted, "the rows")


def replayed(service: ServiceProcess) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "service.commands.main", "replay", str(service.database)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_after_a_stop_the_judge_goes_on_from_its_checkpoint(
    wired: ServiceProcess, scripted_port: ScriptedPort
) -> None:
    begin(wired, scripted_port)
    speak(wired, scripted_port, range(60))
    assert wired.stop() == 0
    (kept,) = wired.rows("SELECT max(seq) FROM checkpoint")
    (last,) = wired.rows(
        "SELECT max(seq) FROM (SELECT seq FROM reading UNION SELECT seq FROM journal)"
    )
    assert kept == last, "a proper stop keeps the judge as it was last"
    wired.start()
    assert "resumed from a checkpoint and 0 readings and actions" in wired.log()
    (part,) = wired.bench()["parts"]
    assert part["phase"] == "bench"
    speak(wired, scripted_port, range(60, 90))
    assert wired.stop() == 0
    answer = replayed(wired)
    assert answer.returncode == 0, answer.stdout + answer.stderr
    assert "in 2 runs" in answer.stdout


def test_after_kills_it_goes_on_from_the_last_checkpoint_and_a_repeat_agrees(
    wired: ServiceProcess, scripted_port: ScriptedPort
) -> None:
    begin(wired, scripted_port)
    speak(wired, scripted_port, range(20))
    wait_until(lambda: wired.rows("SELECT seq FROM checkpoint"), "the first checkpoint")
    speak(wired, scripted_port, range(20, 50))
    wired.kill()
    wired.start()
    assert "resumed from a checkpoint and " in wired.log()
    speak(wired, scripted_port, range(50, 70))
    wired.kill()
    wired.start()
    speak(wired, scripted_port, range(70, 90))
    assert wired.stop() == 0
    answer = replayed(wired)
    assert answer.returncode == 0, answer.stdout + answer.stderr
    assert "in 3 runs" in answer.stdout


def test_a_damaged_checkpoint_is_said_and_everything_judged_again(
    wired: ServiceProcess, scripted_port: ScriptedPort
) -> None:
    begin(wired, scripted_port)
    speak(wired, scripted_port, range(20))
    assert wired.stop() == 0
    connection = sqlite3.connect(wired.database)
    with connection:
        connection.execute("UPDATE checkpoint SET state = x'00'")
    connection.close()
    wired.start()
    assert "is not used: not a checkpoint" in wired.log()
    assert "resumed the open heats from" in wired.log()
    assert wired.bench()["parts"][0]["phase"] == "bench"
    assert wired.stop() == 0
