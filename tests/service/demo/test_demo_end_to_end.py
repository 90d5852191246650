"""``heatwindow demo`` as a person starts it: wires, service, page and end."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

FIRST = "Pump engine manifold"
SPEED = "30"

Demo = Callable[..., Any]


def first_line_is_the_address(process: Any) -> None:
    assert process.lines[0] == process.address
    with urllib.request.urlopen(process.address, timeout=10) as answer:
        assert answer.status == 200


@pytest.mark.parametrize("kind", [pytest.param("mosquitto", marks=pytest.mark.mosquitto), "amqtt"])
def test_a_part_becomes_ready_and_everything_ends_with_sigterm(
    kind: str, demo: Demo, process_exists: Callable[[int], bool], tmp_path: Path
) -> None:
    process = demo("--speed", SPEED, "--broker", kind, "--data", str(tmp_path / "shop"))
    first_line_is_the_address(process)
    assert f"MQTT by {kind}" in process.wait_for("MQTT by")
    ready = process.wait_for(f"{FIRST}: the page says ready")
    # 25 s at pace 10 are 250 s of the shop, from which the start of the programs is taken.
    assert process.story_s(ready) < 220
    process.wait_for(f"{FIRST}: pass 1, arc on")
    children = process.children()
    assert children
    code, errors = process.stop()
    assert (code, errors) == (0, "")
    assert not any(process_exists(pid) for pid in children)
    assert (tmp_path / "shop" / "shop.db").exists()
    assert not (tmp_path / "shop" / "bench-node").exists()


@pytest.mark.parametrize("sort", [signal.SIGINT, signal.SIGHUP])
def test_a_terminal_ends_it_as_cleanly(
    sort: signal.Signals, demo: Demo, process_exists: Callable[[int], bool]
) -> None:
    """Ctrl-C and a closed window go to every process of the terminal at once."""
    process = demo("--speed", SPEED)
    process.wait_for("in the oven")
    children = process.children()
    assert process.stop(sort, group=True) == (0, "")
    assert not any(process_exists(pid) for pid in children)


def test_the_same_folder_can_be_used_again(demo: Demo, tmp_path: Path) -> None:
    """Channels are known, old heats are ended, a new part is made: nothing is in the way."""
    for number in (1, 2):
        process = demo("--speed", SPEED, "--data", str(tmp_path))
        process.wait_for(f"{FIRST}: pass 1, arc on")  # left so, the next run finds it so
        running = [p for p in process.bench()["parts"] if p["name"] == FIRST and p["heat_id"]]
        assert len(running) == 1
        assert len({p["id"] for p in process.bench()["parts"] if p["name"] == FIRST}) == number
        code, errors = process.stop()
        assert (code, errors) == (0, "")


def test_a_recorded_heat_replays_to_the_letter(demo: Demo, tmp_path: Path) -> None:
    """The same readings and actions through a new judge give the same verdicts and alarms; a
    record that was changed does not."""
    process = demo("--speed", SPEED, "--data", str(tmp_path))
    process.wait_for(f"{FIRST}: pass 1, arc out")
    assert process.stop()[0] == 0
    database = tmp_path / "shop.db"
    same = heatwindow("replay", str(database))
    assert (same.returncode, same.stderr) == (0, ""), same.stdout
    assert "all the same" in same.stdout
    assert int(same.stdout.split(" recorded changes")[0].split()[-1]) > 8
    with sqlite3.connect(database) as connection:
        changed = connection.execute(
            "update verdict_change set verdict = 'ready' where id ="
            " (select min(id) from verdict_change where verdict = 'wait')"
        )
        assert changed.rowcount == 1
    connection.close()
    other = heatwindow("replay", str(database))
    assert other.returncode == 1
    assert "- recorded, not repeated" in other.stdout
    assert "+ repeated, not recorded" in other.stdout
    assert "2 differ" in other.stdout


def watch(process: Any, until: str, look: Callable[[dict[str, Any]], Any]) -> list[Any]:
    """What ``look`` finds on the bench, again and again, until the demo says something."""
    seen: list[Any] = []
    while process.said(until) is None:
        found = look(process.bench())
        if process.said(until) is None:
            seen.append(found)
        threading.Event().wait(0.02)
    return seen


def verdict(bench: dict[str, Any]) -> str:
    part = next(part for part in bench["parts"] if part["name"] == FIRST)
    return str(part["verdict"])


def test_no_part_is_ready_while_its_hose_is_kinked(demo: Demo) -> None:
    process = demo("--speed", SPEED, "--fault", "kinked-hose")
    kinked = process.wait_for("the hose is kinked")
    seen = watch(process, "the hose is free again", verdict)
    free = process.wait_for("the hose is free again")
    assert process.story_s(free) - process.story_s(kinked) >= 140
    assert len(seen) > 20
    assert "ready" not in seen
    alarms = {alarm["kind"]: alarm["state"] for alarm in process.bench()["alarms"]}
    assert "purge lost" in alarms
    ready = process.wait_for(f"{FIRST}: the page says ready")
    assert process.story_s(ready) > process.story_s(free) + 20
    assert process.stop()[0] == 0


@pytest.mark.parametrize(
    ("fault", "channel", "quality"),
    [
        ("open-thermocouple", "bench-node/joint", "bad"),
        ("unplugged-node", "bench-node/joint", "stale"),
        ("dead-broker", "oven-node/joint", "stale"),
    ],
)
def test_a_fault_is_seen_and_survived(
    fault: str, channel: str, quality: str, demo: Demo, wait_until: Callable[..., None]
) -> None:
    process = demo("--speed", SPEED, "--fault", fault)
    process.wait_for("FAULT begins")

    def state(bench: dict[str, Any]) -> tuple[str, str]:
        found = next(c for c in bench["channels"] if c["name"] == channel)
        part = next(p for p in bench["parts"] if p["id"] == found["part_id"])
        return str(found["quality"]), str(part["verdict"])

    seen = watch(process, "FAULT ends", state)
    assert quality in [shown for shown, _ in seen]
    assert "ready" not in [said for shown, said in seen if shown == quality]
    process.wait_for("FAULT ends")
    wait_until(lambda: state(process.bench())[0] == "good", f"{channel} good again")
    code, _ = process.stop()
    assert code == 0


def test_a_taken_port_is_one_sentence(demo: Demo) -> None:
    process = demo("--speed", SPEED)
    port = process.address.rstrip("/").rpartition(":")[2]
    second = demo_that_fails("--port", port)
    assert second.returncode == 1
    assert second.stdout == ""
    assert port in second.stderr
    assert "Traceback" not in second.stderr
    assert len(second.stderr.splitlines()) == 1
    assert process.stop()[0] == 0


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["--speed", "0"], "pace"),
        (["--speed", "nan"], "pace"),
        (["--port", "70000"], "port"),
        (["--fault", "rain"], "kinked-hose"),
        (["--data", "/dev/null/x"], "--data"),
    ],
)
def test_wrong_usage_is_exit_code_2(arguments: list[str], part: str) -> None:
    done = demo_that_fails(*arguments)
    assert done.returncode == 2
    assert part in done.stderr
    assert "Traceback" not in done.stderr


def demo_that_fails(*arguments: str) -> subprocess.CompletedProcess[str]:
    return heatwindow("demo", *arguments)


def heatwindow(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "service.commands.main", *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_the_config_it_writes_is_an_ordinary_one(tmp_path: Path) -> None:
    from service.clock import SystemClock
    from service.config import load
    from service.demo.rig import Rig

    rig = Rig(tmp_path, SystemClock(10.0))
    config = load(rig.write_config(0))
    assert [link.port for link in config.serial] == [str(tmp_path / "bench-node")]
    assert config.mqtt is not None
    assert config.mqtt.port == rig.broker.port
    assert config.dashboard.on_loopback
    assert json.dumps(config.notify.mqtt_topic) == '"heatwindow/alarms"'
