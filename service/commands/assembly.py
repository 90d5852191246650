"""The service put together: store, judge, collector, links, notifier and pages, in that order.

Everything is opened before anything is read, and closed in the reverse order: the links first, so
that nothing more comes in, the store last, when everything in hand is on the disk.
"""

from __future__ import annotations

import logging
import math
import socket
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from functools import partial

from pydantic import ValidationError
from serial.tools import list_ports

from dashboard.app import create_app
from dashboard.server import PageServer
from dashboard.wiring import (
    AdoptedPort,
    Doors,
    History,
    HistoryPoint,
    Metric,
    Notice,
    UnusedPort,
    Wiring,
)
from service import __version__
from service.board import Board
from service.clock import Clock
from service.collector import Collector
from service.commands.date_doubt import DateDoubt
from service.commands.errors import BadInput, CommandError
from service.commands.figures import figures
from service.commands.links import Links
from service.commands.outlets import outlet_body, outlet_figures
from service.commands.teacher import Teacher
from service.commands.wellness import Wellness
from service.config import Config, ConfigRefused, SerialConfig
from service.config.pin import PinKeeper
from service.config.tables import DashboardConfig
from service.judge.actions import OperatorAction, ServiceStarted
from service.judge.events import Outcome, Refused
from service.notify.forms import TrialNotice
from service.notify.notifier import notifier_for
from service.rebuild import checkpoint_version, resume
from service.records.desk import Desk
from service.records.lessons_shelf import LessonsShelf
from service.records.procedures import procedures_of
from service.records.results import Results
from service.records.shelf import Shelf
from service.records.teaching import Teaching
from service.sources.link import Link
from service.sources.mqtt import MqttLink
from service.sources.ports import Lister
from service.store.database import Store, StoreDamaged, StoreError, UnknownChannel
from service.store.entries import PackMark
from service.store.writer import Writer
from service.tickets import ActResult

log = logging.getLogger(__name__)

STOP_S = 3.5
"""How long all workers together may take to end [s, real]."""

LEAST_STOP_S = 0.5
"""What is left to one all the same, when others took all [s, real]; three may come after them."""


class RunningService:
    """A started service."""

    def __init__(self, config: Config, clock: Clock, lister: Lister) -> None:
        self._clock = clock
        self._marks: dict[str, list[PackMark]] | None = None
        self._steps = ExitStack()
        self._clean = True
        self._stop_by_s = math.inf
        try:
            self._open(config, lister)
        except BaseException:
            self.stop()
            raise

    # Start --------------------------------------------------------------------------------

    def _open(self, config: Config, lister: Lister) -> None:
        self.store = Store.open(config.database_url)
        self._steps.callback(self.store.close)
        self.board = Board()
        judge, checkpoint_seq = resume(self.store)
        self.writer = Writer(
            self.store,
            commit_window_ms=config.store.commit_window_ms,
            spool_readings=config.store.spool_readings,
            on_recording=self._recording_changed,
        )
        self.notifier = notifier_for(config.notify, None if config.mqtt is None else self._publish)
        self.collector = Collector(
            judge,
            self.writer,
            self.board,
            self._clock,
            next_seq=self.store.next_seq(),
            mono_floor_us=max(self.store.last_mono_us(), judge.state.now_us),
            checkpoint_version=checkpoint_version(),
            listeners=[self.notifier.hear, self._over],
        )
        self.teaching = Teaching(self.store)
        self.teacher = Teacher(self.teaching, judge, self.collector.tell, self._committed)
        self._doubt = DateDoubt(
            self.collector.offset_us,
            self.collector.utc_us(),
            self._newest_us(judge.state.shop.offset_us),
        )
        self.links = Links(
            config, self.collector.intake, self._clock, prepare=self._remind, lister=lister
        )
        self.wellness = Wellness(
            self.store,
            self.writer,
            self.collector,
            links=self.links,
            clock=self._clock,
            notifier=self.notifier,
            date_doubt=self._date_doubt,
        )
        self.pages = self._make_pages(config)
        self.notifier.resume(judge.bench()["alarms"])
        self.notifier.start()
        self._steps.callback(self._end, "the notifier", self.notifier.stop)
        self.writer.start()
        self._steps.callback(self._end, "the writer", self.writer.stop)
        self.collector.start(
            ServiceStarted(
                version=__version__,
                offset_us=self.collector.offset_us,
                checkpoint_seq=checkpoint_seq,
            )
        )
        self._steps.callback(self._end, "the judge", self.collector.stop)
        self._steps.callback(self._end, "a link", self.links.stop)
        self.teacher.start()
        self._steps.callback(self._end, "the teacher", self.teacher.stop)
        self.links.start()
        self.pages.start()
        self._steps.callback(self._end, "the pages", self.pages.stop)

    def _newest_us(self, offset_us: int) -> int:
        """The newest time of anything recorded, by the wall clock of then [µs]; 0: nothing is."""
        newest_us = self.store.last_mono_us()
        return newest_us + offset_us if newest_us else 0

    def _date_doubt(self) -> str | None:
        return self._doubt.text(self.collector.offset_us, self.collector.utc_us())

    def _remind(self, link: Link) -> None:
        """What was committed before the last end, and perhaps not acknowledged any more."""
        if self._marks is None:
            self._marks = self.store.pack_marks()
        for mark in self._marks.get(link.name, ()):
            link.remember(mark.boot, mark.number)

    def _publish(
        self,
        topic: str,
        payload: bytes,
        qos: int = 1,
        retain: bool = False,
        confirm_s: float = 0.0,
    ) -> bool:
        """The broker link's ``publish``; the link is made after the notifier."""
        return any(
            link.publish(topic, payload, qos, retain, confirm_s)
            for link in self.links.current()
            if isinstance(link, MqttLink)
        )

    def _make_pages(self, config: Config) -> PageServer:
        shelf = Shelf(self.store, self.collector.utc_us)
        desk = Desk(self._act, self.store)
        wiring = Wiring(
            latest=self.board.latest,
            act=desk.act,
            history=self._history,
            health=self.wellness.health,
            metrics=self._metrics,
            notices=self._notices,
            notice_seen=self._notice_seen,
            now_us=self.collector.utc_us,
            outlets=self._outlets,
            try_outlet=self._try_outlet,
            unused_ports=self._unused_ports,
            adopted_ports=self._adopted_ports,
            adopt_port=self._adopt_port,
            release_port=self.links.release,
            hands=PinKeeper(config.database_url),
            shelf=shelf,
            desk=desk,
            results=Results(self.store),
            lessons=LessonsShelf(self.teaching, shelf.said),
            procedures=partial(procedures_of, self.store),
        )
        page = config.dashboard
        try:
            return PageServer(create_app(wiring, doors_of(page)), page.host, page.port)
        except OSError as error:
            raise CommandError(
                f"the page cannot be served at {page.host} port {page.port}: {error.strerror}"
            ) from error

    def _over(self, outcome: Outcome) -> None:
        self.teacher.hear(outcome)

    def _committed(self) -> bool:
        return self.writer.status().queued == 0

    def _act(self, action: OperatorAction) -> ActResult:
        result = self.collector.act(action)
        self.teacher.done(action)
        return result

    # While it runs ------------------------------------------------------------------------

    @property
    def address(self) -> str:
        """Where a browser finds the page."""
        return self.pages.address

    def _history(self, channel: str, start_us: int, end_us: int, points: int) -> History | None:
        try:
            found = self.store.history(channel, start_us, end_us, points)
        except UnknownChannel:
            return None
        return History(
            unit=found.unit,
            points=[HistoryPoint(step.t_us, step.low, step.high) for step in found.steps],
        )

    def _notices(self) -> list[Notice]:
        now_us, doubt = self.collector.utc_us(), self._date_doubt()
        stays = [] if doubt is None else [Notice(0, now_us, doubt)]
        try:
            found = self.store.notices()
        except StoreError as error:
            return [*stays, Notice(0, now_us, str(error))]
        return stays + [Notice(each.id, each.at_us, each.text) for each in found]

    def _notice_seen(self, notice_id: int) -> bool:
        try:
            if all(each.id != notice_id for each in self.store.notices()):
                return False
            self.store.notice_seen(notice_id)
        except StoreError as error:
            raise Refused(str(error)) from error
        return True

    def _metrics(self) -> list[Metric]:
        links = [link.status() for link in self.links.current()]
        found = figures(self.writer.status(), links, self.collector)
        return found + outlet_figures(self.notifier.status())

    def _outlets(self) -> list[dict[str, object]]:
        return [outlet_body(each) for each in self.notifier.status()]

    def _try_outlet(self, key: str) -> bool:
        return self.notifier.try_out(key, TrialNotice(self.collector.utc_us()))

    def _unused_ports(self) -> list[UnusedPort]:
        return [
            UnusedPort(port.name, port.device, port.description) for port in self.links.unused()
        ]

    def _adopted_ports(self) -> list[AdoptedPort]:
        return [AdoptedPort(each.port, each.baud, each.profile) for each in self.links.adopted()]

    def _adopt_port(self, port: AdoptedPort) -> None:
        try:
            wanted = SerialConfig(port=port.port, baud=port.baud, profile=port.profile)
        except ValidationError as error:
            raise Refused(
                "; ".join(f"{each['loc'][0]}: {each['msg']}" for each in error.errors())
            ) from error
        self.links.adopt(wanted)

    def _recording_changed(self, recording: bool, detail: str) -> None:
        self.collector.recording_changed(recording, detail)

    # Stop ---------------------------------------------------------------------------------

    def _end(self, name: str, stop: Callable[[float], bool]) -> None:
        left_s = max(LEAST_STOP_S, self._stop_by_s - time.monotonic())
        if not stop(left_s):
            log.error("%s did not end within %.2g s", name, left_s)
            self._clean = False

    def stop(self) -> bool:
        """End everything; ``True`` when it ended in time and all readings are on a disk."""
        self._stop_by_s = time.monotonic() + STOP_S
        self._steps.close()
        return self._clean


def doors_of(page: DashboardConfig) -> Doors:
    """The names the page answers to."""
    doors = Doors() if page.on_loopback else network_doors(page.host)
    return replace(doors, hosts=doors.hosts | {name.lower() for name in page.names})


def network_doors(host: str) -> Doors:
    """The names of a machine that is looked at from the network."""
    own = socket.gethostname().lower()
    return Doors(Doors().hosts | {host.lower(), own, f"{own}.local"}, any_address=True)


def start_service(
    config: Config, clock: Clock, lister: Lister = list_ports.comports
) -> RunningService:
    """Start the service of one shop.

    Args:
        config: Checked.
        clock: The shop's clocks.
        lister: What lists the machine's serial ports; passed in for tests.

    Raises:
        BadInput: The file of adopted ports is none; every fault.
        CommandError: The database or the page cannot be had; one sentence.
    """
    try:
        try:
            return RunningService(config, clock, lister)
        except StoreDamaged:
            # Found while the past was read. It is marked: this opening sets it aside.
            return RunningService(config, clock, lister)
    except StoreError as error:
        raise CommandError(str(error)) from error
    except ConfigRefused as error:
        raise BadInput(str(error)) from error
