"""Whole trips through the real wires: no tap after the part has been put into the oven.

A pseudo-terminal and a broker carry what a casting, a clamp on the work lead and a foot button
would send; the service runs on a fast clock. Nothing waits for a time, only for what must come.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.field.bench_parts import Mosquitto, Publisher, ScriptedPort, wait_until
from tests.field.service_process import ServiceProcess

pytestmark = pytest.mark.timeout(600)

SPEED = 12.0
"""Shop seconds per real second."""
EVERY_S = 0.1
"""Between two packs [s, real]."""
PATIENCE_S = 150.0
"""How long anything may take before it counts as never [s, real]."""

TAPS = ("move part", "begin pass", "end pass", "next step", "undo step")


@dataclass
class Casting:
    """A lump that loses 24 K/min bare at 350 °C (own calculation) and a tenth of it covered."""

    temperature_c: float = 300.0
    place: str = "oven"
    plugged: bool = True
    arc_a: float = 0.4
    cold_c: float | None = None
    seconds: int = 0

    def pass_time(self, seconds: float) -> None:
        self.seconds += 1
        if self.place == "oven":
            self.temperature_c += (345.0 - self.temperature_c) * seconds / 60.0
        else:
            loss = 0.4 * (max(0.0, self.temperature_c - 20.0) / 330.0) ** 1.3
            self.temperature_c -= seconds * (0.1 * loss if self.place == "cover" else loss)
            self.temperature_c += 0.5 * seconds if self.arc_a > 10 else 0.0
        if self.cold_c is not None:
            self.cold_c += (self.temperature_c - self.cold_c) * min(1.0, seconds / 3.0)

    def records(self) -> list[dict[str, object]]:
        wobble = ((self.seconds * 7919) % 13 - 6) * 0.05
        return [
            probe("flange", self.temperature_c + wobble if self.plugged else None),
            probe("clamped", None if self.cold_c is None else self.cold_c + wobble),
            {"n": "arc", "u": "A", "v": round(self.arc_a, 1)},
        ]


def probe(name: str, value_c: float | None) -> dict[str, object]:
    if value_c is None:
        return {"n": name, "u": "Cel", "vs": "open-circuit"}
    return {"n": name, "u": "Cel", "v": round(value_c * 4) / 4}


@dataclass
class Node:
    """A node on the serial line that samples the casting until it is stopped."""

    port: ScriptedPort
    casting: Casting = field(default_factory=Casting)
    seq: int = 0

    def __post_init__(self) -> None:
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.wait(EVERY_S):
            self.casting.pass_time(EVERY_S * SPEED)
            first, *others = self.casting.records()
            marked = {"bn": "bench/", "boot": "b1", "seq": self.seq, **first}
            self.port.write_what_fits(json.dumps([marked, *others]).encode() + b"\n")
            self.seq += 1

    def stop(self) -> None:
        self._stop.set()
        self._thread.join(10)


@pytest.fixture
def wired(service_folder: Path, scripted_port: ScriptedPort) -> Iterator[ServiceProcess]:
    links = f'[[serial]]\nport = "{scripted_port.path}"\n'
    service = ServiceProcess(service_folder, links, speed=SPEED)
    service.start()
    yield service
    service.end()


@pytest.fixture
def node(wired: ServiceProcess, scripted_port: ScriptedPort) -> Iterator[Node]:
    node = Node(scripted_port)
    yield node
    node.stop()


def put_in_oven(service: ServiceProcess) -> int:
    """The only taps: what there is, and that it is in the oven."""
    kinds = {"flange": "thermocouple", "clamped": "thermocouple", "arc": "arc"}
    wait_until(lambda: service.channel("bench/arc"), "the channels")
    limits = {"preheat_min_c": 150, "interpass_max_c": 390, "carry_max_s": 900}
    part = service.act("create part", facts={"name": "manifold", "mass_kg": 6}, limits=limits)
    for name, kind in kinds.items():
        service.act("adopt channel", channel=f"bench/{name}", channel_kind=kind)
        if kind == "thermocouple":
            service.act("assign channel", channel=f"bench/{name}", part_id=part["part_id"])
    return int(service.act("begin heat", part_id=part["part_id"])["heat_id"])


def manifold(service: ServiceProcess) -> dict:
    return service.bench()["parts"][0]


def comes(service: ServiceProcess, what: str, holds: Callable[[dict], object]) -> None:
    wait_until(lambda: holds(manifold(service)), f"{what}: {manifold(service)}", PATIENCE_S)


def test_a_clean_heat_by_the_wires_alone(wired: ServiceProcess, node: Node) -> None:
    """Unplugged in the oven, a cold second probe at the bench, two passes and a tack by the clamp,
    a blanket: every step is found, and a repeat of the record finds the same."""
    casting = node.casting
    put_in_oven(wired)
    comes(wired, "hot enough", lambda part: "carry it" in part["next"])
    assert manifold(wired)["heat"]["temperature_c"] > 150, "the spare probe is not on the part yet"

    casting.plugged, casting.place = False, "bench"
    comes(wired, "the carry", lambda part: part["phase"] == "carry")
    assert manifold(wired)["verdict"] == "unknown"
    casting.cold_c = 20.0
    comes(wired, "the landing", lambda part: part["phase"] == "bench")
    comes(wired, "ready", lambda part: part["verdict"] == "ready")
    landed_c = casting.temperature_c
    wait_until(lambda: casting.temperature_c < landed_c - 30, "fit-up and brushing", PATIENCE_S)

    for number, kelvin in ((1, 0.3), (2, 8.0), (3, 8.0)):
        casting.arc_a, struck_c = 95.0, casting.temperature_c
        comes(wired, f"pass {number}", lambda part: part["pass_running"])
        wait_until(lambda c=struck_c + kelvin: casting.temperature_c > c, "the bead", PATIENCE_S)
        casting.arc_a = 0.4
        comes(wired, f"the end of pass {number}", lambda part: not part["pass_running"])
    part = manifold(wired)
    assert part["passes"] == 3
    assert part["trip"]["last_arc_s"] >= 5
    casting.place = "cover"
    comes(wired, "the cover", lambda part: part["phase"] == "slow cool")

    part = manifold(wired)
    assert [p["origin"] for p in part["trip"]["phases"]] == ["tap", *["readings"] * 3]
    assert {p["origin"] for p in part["pass_times"]} == {"readings"}
    assert part["trip"]["covered_after_s"] >= 0
    assert not [a for a in wired.bench()["alarms"] if a["kind"] in ("sensor fault", "no data")]

    assert wired.stop() == 0
    tapped = {kind for (kind,) in wired.rows("SELECT DISTINCT kind FROM journal")}
    assert not tapped & set(TAPS)
    passes = wired.rows("SELECT arc_us, ended_us - begun_us, origin FROM weld_pass ORDER BY number")
    assert len(passes) == 3
    for arc_us, lasted_us, origin in passes:
        assert 0 < arc_us <= lasted_us
        assert origin == "readings"
    assert wired.rows("SELECT arc_us FROM heat") == [(sum(row[0] for row in passes),)]
    answer = subprocess.run(
        [sys.executable, "-m", "service.commands.main", "replay", str(wired.database)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert answer.returncode == 0, answer.stdout + answer.stderr
    assert "all the same" in answer.stdout


@pytest.mark.mosquitto
def test_next_and_back_by_a_button_on_the_broker(
    service_folder: Path, mosquitto: Mosquitto, publisher: Publisher
) -> None:
    """The arc only says on and off here, and the button does the rest."""
    links = f'[mqtt]\nhost = "127.0.0.1"\nport = {mosquitto.port}\ntopics = ["shop/#"]\n'
    service = ServiceProcess(service_folder, links)
    service.start()
    try:
        _by_button(service, publisher)
    finally:
        service.end()


def _by_button(service: ServiceProcess, publisher: Publisher) -> None:
    def say(*records: dict[str, object]) -> None:
        publisher.publish("shop/foot", json.dumps(list(records)).encode())

    def press(held_s: float = 0.2) -> None:
        say({"n": "next", "t": -held_s, "vb": True}, {"n": "next", "vb": False})

    say({"n": "next", "vb": False})
    wait_until(lambda: service.channel("next"), "the button")
    service.act("adopt channel", channel="next", channel_kind="button")
    part = service.act("create part", facts={"name": "manifold"}, limits={"preheat_min_c": 150})
    service.act("begin heat", part_id=part["part_id"])
    press()
    comes(service, "out of the oven", lambda part: part["phase"] == "carry")
    wait_until(lambda: service.channel("next")["age_s"] > 1, "the hand off the button")
    press()
    comes(service, "on the bench", lambda part: part["phase"] == "bench")
    wait_until(lambda: service.channel("next")["age_s"] > 2, "the hand off the button")
    press(1.6)
    comes(service, "taken back", lambda part: part["phase"] == "carry")
    wait_until(lambda: service.channel("next")["age_s"] > 1, "the hand off the button")
    press()
    comes(service, "on the bench again", lambda part: part["phase"] == "bench")
    wait_until(lambda: service.channel("next")["age_s"] > 1, "the hand off the button")
    press()
    comes(service, "a pass", lambda part: part["pass_running"])
    origins = {p["origin"] for p in manifold(service)["trip"]["phases"][1:]}
    assert origins == {"button"}
    wait_until(
        lambda: service.rows("SELECT count(*) FROM heat_phase WHERE void_us IS NOT NULL") == [(1,)],
        "what was taken back marked, not deleted",
    )
