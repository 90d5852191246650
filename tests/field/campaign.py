"""Every fault of a shop, mixed at random, against the real service, over hours of the shop's time.

    .venv/bin/python tests/field/campaign.py --seed 1 --hours 72 --kills 100 --out campaign.json

The service runs as a process on a clock at ``--speed``, with a mosquitto in the shipped loopback
configuration and a serial line. A part with a heat and a purge lies on the bench, cools, and is
followed by the next one. In each step one to three faults begin, stay a while and end:

``sigkill`` (some before it has come up), ``stop`` (a proper one), ``frozen`` (the machine asleep:
all its time goes by at once), ``broker killed``, ``broker stopped``, ``broker frozen``,
``unplugged`` (the node's terminal gone, another one in its place), ``garbage``, ``disk full``,
``database locked``, ``clock set`` (a second to a day either way), ``node reset``, ``probe fault``,
``probe silent``, ``flow lost``, ``flow meter silent``, ``pages half dead``.

Checked all the time, and after each step (``campaign_checks``): the page answers; nothing is ready
or clear on data that is stale, bad or has no flow; the metal is within its limits when it is ready;
memory, threads, files, queue and log are bounded. Checked after each step and at the end: whatever
the broker took is stored, exactly once; each acknowledged action is in the journal.

It ends when ``--hours`` of the shop, ``--kills`` and ``--steps`` are all through, or after
``--real-s``. ``--only "broker killed"`` takes that fault alone (commas between several), and
``--pause-s 0.5`` hurries.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import math
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from service.sources.shipped_broker import config_text
from tests.field import campaign_checks as checks
from tests.field.bench_parts import Mosquitto, Publisher, ScriptedPort, wait_until
from tests.field.campaign_faults import FAULTS
from tests.field.campaign_world import FLOW, PROBES, SPENT_C, World
from tests.field.kill_campaign import broker_version, commit_here
from tests.field.service_process import ServiceProcess
from tests.field.shared_clock import SharedClock

SETTLE_S = 60.0
"""Everything must be delivered so long after the last fault of a step [s, real]."""
LIMITS = {
    "preheat_min_c": checks.PREHEAT_MIN_C,
    "interpass_max_c": checks.INTERPASS_MAX_C,
    "oxygen_max_ppm": 5000.0,
}


class Campaign:
    """One campaign in a folder of its own.

    Args:
        folder: For the broker, the database and the logs.
        seed: Of every choice.
        speed: Seconds of the shop in one.
        only: Names of faults; none: all of them.
        pause_s: How long the faults of a step stay at most [s, real].
    """

    def __init__(
        self, folder: Path, seed: int, speed: float, only: Sequence[str] = (), pause_s: float = 4.0
    ) -> None:
        self.chance = random.Random(seed)
        self._faults = sorted(set(only) & set(FAULTS) or FAULTS)
        self._pause_s = pause_s
        broker_folder, service_folder = folder / "broker", folder / "service"
        broker_folder.mkdir()
        service_folder.mkdir()
        clock_file = folder / "clock"
        self.clock = SharedClock.begin(clock_file, speed, time.time_ns() // 1000)
        self.broker = Mosquitto(broker_folder)
        self.broker.config = config_text("loopback", data=broker_folder, port=self.broker.port)
        self.port = ScriptedPort(folder / "usb-node")
        self.service = ServiceProcess(
            service_folder,
            f'[[serial]]\nport = "{self.port.path}"\n'
            f'[mqtt]\nhost = "127.0.0.1"\nport = {self.broker.port}\n',
            clock=clock_file,
        )
        self.report = checks.Report(
            commit_here(),
            datetime.now(UTC).isoformat("T", "seconds"),
            seed,
            speed,
            broker_version(),
        )
        self._acknowledged: set[str] = set()
        self._line_down: list[tuple[float, float]] = []
        self._broker_kills_s: list[float] = []
        self._part_id = self._heat_id = 0
        self._first_size_mb: float | None = None

    def run(
        self, hours: float, kills: int, steps: int = 0, real_s: float = math.inf
    ) -> checks.Report:
        """Go on until it is through; the report."""
        begun_s = time.monotonic()
        with ExitStack() as ends:
            self.broker.start()
            ends.callback(self.broker.kill)
            self.port.plug_in()
            ends.callback(self.port.unplug)
            ends.callback(self.service.end)
            publisher = Publisher(self.broker.port, "campaign-node")
            ends.callback(publisher.close)
            self.world = World(self.clock, self.port, publisher)
            self.watch = checks.Watch(self.service, self.world, self.clock)
            ends.callback(self.world.halt)
            ends.callback(self.watch.halt.set)
            self._start()
            # A session that the broker has never saved dies with it: the first seconds of a shop.
            wait_until((self.broker.folder / "heatwindow.db").exists, "the first save", 30)
            self.world.start()
            self.watch.thread.start()
            self._set_up()
            while not self._through(hours, kills, steps) and time.monotonic() - begun_s < real_s:
                self._step(kills)
                if len(self.report.faults) + len(self.watch.faults) > 20:
                    break
            self._finish()
        self.report.real_s = round(time.monotonic() - begun_s, 1)
        return self.report

    def _through(self, hours: float, kills: int, steps: int) -> bool:
        killed = self.report.did.get("sigkill", 0) >= kills
        return self._hours() >= hours and killed and self.report.steps >= steps

    def _hours(self) -> float:
        self.report.hours = round(
            (self.world.now_s() - self._begun_s) / 3600 - self.report.hours_asleep, 2
        )
        return self.report.hours

    # The shop -----------------------------------------------------------------------------

    def _start(self) -> None:
        self.service.launch()
        wait_until(self._up, "the page up", 90)
        if self.port.plugged_in:
            wait_until(self.line_open, "the serial line open", 60)
        self.watch.away = False
        self._first_size_mb = None

    def _up(self) -> bool:
        """It answers; if it has ended, it is started again, as its supervisor would."""
        assert self.service.process is not None
        if self.service.process.poll() is not None:
            self.report.started_again += 1
            self.service.launch()
        return self.answers()

    def answers(self) -> bool:
        """The page has an answer to give, whatever its links are like."""
        try:
            return self.service.ask("GET", "/api/v1/bench")[0] == 200
        except (OSError, http.client.HTTPException):
            return False

    def line_open(self) -> bool:
        links = self.service.ask("GET", "/healthz")[1]["links"]
        return any(link["kind"] == "serial" and link["state"].startswith("open") for link in links)

    def _set_up(self) -> None:
        self._begun_s = self.world.now_s()
        kinds = dict.fromkeys(PROBES, "thermocouple") | {FLOW: "gas flow"}
        for channel in kinds:
            wait_until(lambda: self.service.channel(channel), channel)  # noqa: B023 - waited for here
        facts = {"name": "manifold", "cavity_volume_l": 2.0}
        self._part_id = self._act("create part", facts=facts, limits=LIMITS)["part_id"]
        for channel, kind in kinds.items():
            self._act("adopt channel", channel=channel, channel_kind=kind)
            self._act("assign channel", channel=channel, part_id=self._part_id)
        self._another_heat()

    def _act(self, kind: str, **fields: object) -> dict[str, object]:
        """A tap that must be taken; when it is said to be recorded, it must stay."""
        asked = {"kind": kind, "token": f"tap {self.chance.random()}", **fields}
        for _ in range(20):
            status, done = self.service.ask("POST", "/api/v1/actions", asked)
            if status == 409 and "did not answer" in done["detail"] and self.watch.starved():
                continue  # as the refusal says: the same tap again, which is done once
            break
        assert status == 200, done
        if done["recorded"]:
            self._acknowledged.add(str(asked["token"]))
        return done

    def _another_heat(self) -> None:
        if self._heat_id:
            self._act("end heat", heat_id=self._heat_id)
        self.world.another_casting()
        self._heat_id = self._act("begin heat", part_id=self._part_id, phase="bench")["heat_id"]
        self._act("begin purge", heat_id=self._heat_id)
        self.report.heats += 1

    # One step -----------------------------------------------------------------------------

    def _step(self, kills: int) -> None:
        count = min(self.chance.choice([1, 1, 2, 3]), len(self._faults))
        names = self.chance.sample(self._faults, count)
        if "sigkill" not in names and self.chance.random() < self._kill_share(kills):
            names.append("sigkill")
        ends = []
        for name in names:
            begin = FAULTS[name]
            self.report.did[name] = self.report.did.get(name, 0) + 1
            ends.append(begin(self))
            time.sleep(self.chance.random() * 0.15 * self._pause_s)
        time.sleep(self.chance.random() * self._pause_s)
        for end in ends:
            if end is not None:
                end()
        self._settle(names)
        self.report.steps += 1

    def _kill_share(self, kills: int) -> float:
        return 0.5 if self.report.did.get("sigkill", 0) < kills else 0.0

    def _settle(self, names: list[str]) -> None:
        """Whatever the broker took so far is stored; all is healthy and of its size."""
        try:
            wait_until(self.service.healthy, "health after the step", SETTLE_S)
            wait_until(lambda: self.service.bench()["recording"], "recording again", SETTLE_S)
            wait_until(self.line_open, "the line open again", SETTLE_S)
            self._wait_for_rows()
            self._take_care_of_the_shop()
        except (AssertionError, OSError, http.client.HTTPException) as error:
            self.report.faults.append(f"after {names}: {error!r}"[:1500])
        self.report.faults += [f"after {names}: {each}" for each in self._sizes()]
        self.report.faults += [f"a node died: {each}" for each in self.world.errors]

    def _wait_for_rows(self) -> None:
        """The newest number of now, from both streams: what comes after it comes in order."""
        number = self.world.sent
        query = (
            "SELECT count(*) FROM reading JOIN channel ON channel.id = channel_id "
            "WHERE channel.name IN ('mqtt/timed', 'mqtt/marked') AND value >= ?"
        )
        wait_until(
            lambda: self.service.rows(query, number)[0][0] >= 2, f"number {number}", SETTLE_S
        )

    def _take_care_of_the_shop(self) -> None:
        for alarm in self.service.bench()["alarms"]:
            if alarm["state"] == "unacknowledged" and self.chance.random() < 0.5:
                with contextlib.suppress(AssertionError):  # it may have gone meanwhile
                    self._act("acknowledge alarm", alarm_id=alarm["id"])
        if self.world.temperature_c(self.world.now_s()) < SPENT_C:
            self._another_heat()

    def _sizes(self) -> list[str]:
        now = checks.Size(log_bytes=self.report.most.log_bytes)
        found = now.look(self.service)
        for name, value in asdict(now).items():
            setattr(self.report.most, name, max(getattr(self.report.most, name), value))
        if self._first_size_mb is None:
            self._first_size_mb = now.resident_mb
            self.report.resident_mb += [round(now.resident_mb, 1), round(now.resident_mb, 1)]
        else:
            self.report.resident_mb[-1] = round(now.resident_mb, 1)
        return found

    # The end ------------------------------------------------------------------------------

    def _finish(self) -> None:
        report, world, watch = self.report, self.world, self.watch
        self._hours()
        try:
            world.finish()
            wait_until(lambda: len(self.service.stored("mqtt/marked")) > 0, "rows")
            time.sleep(2.0)  # what is missing now stays missing
        except AssertionError as error:
            report.faults.append(repr(error))
        watch.halt.set()
        watch.thread.join(20)
        self._stop_service()
        maybe = {
            world.numbers[nth]
            for nth, at_s in world.confirmed_s.items()
            if any(at_s <= kill_s <= at_s + checks.SAVED_S for kill_s in self._broker_kills_s)
        }
        unheard = {
            number
            for number, at_s in enumerate(world.serial_sent_s)
            if any(a <= at_s <= b for a, b in self._line_down)
        }
        stored = self.service.stored
        report.streams = {
            "mqtt, own time": checks.count_stream(stored("mqtt/timed"), world.sent, maybe),
            "mqtt, marked": checks.count_stream(
                stored("mqtt/marked"), world.sent, maybe, timed=False
            ),
            "serial": checks.count_stream(
                stored("serial/count"), len(world.serial_sent_s), unheard
            ),
        }
        for name, counts in report.streams.items():
            report.faults += checks.stream_faults(name, counts)
        report.faults += checks.database_faults(self.service, self._acknowledged)
        report.faults += [f"{text} ({n} looks)" for text, n in Counter(watch.faults).items()][:20]
        report.actions_acknowledged = len(self._acknowledged)
        report.looks, report.looks_ready = watch.looks, watch.ready_looks
        report.looks_clear, report.looks_unknown = watch.clear_looks, watch.unknown_looks
        report.looks_starved = watch.starved_looks
        report.slowest_page_s = round(watch.slowest_s, 2)

    def _stop_service(self) -> None:
        self.watch.away = True
        begun_s = time.monotonic()
        try:
            code = self.service.stop()
        except subprocess.TimeoutExpired as error:
            self.report.faults.append(f"the service does not stop: {error!r}")
            self.service.end()
            return
        took_s = time.monotonic() - begun_s
        self.report.slowest_stop_s = max(self.report.slowest_stop_s, round(took_s, 2))
        if code != 0 and not self.watch.starved():
            self.report.faults.append(f"the service ended with {code}")

    # What the faults use ------------------------------------------------------------------

    def line_down(self, since_s: float) -> None:
        """Nobody listened to the line from then until now."""
        self._line_down.append((since_s - checks.GRACE_S, time.monotonic() + 0.5))

    def kill_service(self) -> None:
        killed_s = time.monotonic()
        self.watch.away = True
        self.service.kill()
        self.report.sigkills += 1
        while self.chance.random() < 0.25:
            self.service.launch()
            time.sleep(self.chance.random() * 1.5)
            self.service.kill()
            self.report.sigkills += 1
        time.sleep(self.chance.random() * 1.0)
        self._start()
        self.line_down(killed_s)

    def stop_service(self) -> None:
        stopped_s = time.monotonic()
        self._stop_service()
        time.sleep(self.chance.random() * 2.0)
        self._start()
        self.line_down(stopped_s)

    def kill_broker(self) -> None:
        self.world.broker_reachable = False
        self._broker_kills_s.append(time.monotonic())
        self.broker.kill()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--hours", type=float, default=1.0, help="of the shop")
    parser.add_argument("--kills", type=int, default=5, help="SIGKILLs of the service, at least")
    parser.add_argument("--speed", type=float, default=60.0, help="shop seconds a second")
    parser.add_argument("--real-s", type=float, default=math.inf, help="end after so long")
    parser.add_argument("--steps", type=int, default=0, help="at least")
    parser.add_argument("--only", default="", help="these faults alone, commas between")
    parser.add_argument(
        "--pause-s", type=float, default=4.0, help="longest stay of a step's faults"
    )
    parser.add_argument("--out", type=Path, help="JSON file for the report")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="campaign-", ignore_cleanup_errors=True) as name:
        only = [each.strip() for each in given.only.split(",") if each.strip()]
        if set(only) - set(FAULTS):
            parser.error(f"--only takes {', '.join(sorted(FAULTS))}")
        report = Campaign(Path(name), given.seed, given.speed, only, given.pause_s).run(
            given.hours, given.kills, given.steps, given.real_s
        )
        if given.out is not None:
            given.out.write_text(checks.as_json(report), encoding="utf-8")
        if report.faults and given.out is not None:
            # A name of its own: what an earlier run left is evidence too.
            kept = Path(tempfile.mkdtemp(prefix=f"{given.out.stem}.kept-", dir=given.out.parent))
            Path(name).rename(kept)
            sys.stderr.write(f"everything is kept in {kept}\n")
    sys.stdout.write(checks.as_json(report))
    return 1 if report.faults else 0


if __name__ == "__main__":
    sys.exit(main())
