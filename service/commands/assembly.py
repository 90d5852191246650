"""The service put together: store, judge, collector, links, notifier and pages, in that order.

Everything is opened before anything is read, and closed in the reverse order: the links first, so
that nothing more comes in, the store last, when everything in hand is on the disk.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Mapping
from contextlib import ExitStack

from dashboard.app import create_app
from dashboard.server import PageServer
from dashboard.wiring import Doors, History, HistoryPoint, Metric, Wiring
from service import __version__
from service.board import Board
from service.clock import Clock
from service.collector import Collector
from service.commands.errors import CommandError
from service.commands.figures import figures
from service.config import Config
from service.judge.actions import ServiceStarted
from service.notify.notifier import notifier_for
from service.rebuild import rebuild
from service.sources.broker import Broker
from service.sources.link import Link
from service.sources.mqtt import MqttLink
from service.sources.serial_port import SerialLink
from service.store.database import Store, StoreError, UnknownChannel
from service.store.writer import Writer

log = logging.getLogger(__name__)

PROGRESS_S = 5.0
"""A worker that has not come round for so long is not healthy [s, real]."""

STOP_S = 4.0
"""How long each worker may take to end [s, real]."""


class RunningService:
    """A started service."""

    def __init__(self, config: Config, clock: Clock) -> None:
        self._clock = clock
        self._steps = ExitStack()
        self._clean = True
        try:
            self._open(config)
        except BaseException:
            self.stop()
            raise

    # Start --------------------------------------------------------------------------------

    def _open(self, config: Config) -> None:
        self.store = Store.open(config.database_url)
        self._steps.callback(self.store.close)
        self.board = Board()
        judge = rebuild(self.store)
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
            mono_floor_us=self.store.last_mono_us(),
            listeners=[self.notifier.hear],
        )
        self.links = self._make_links(config)
        self.pages = self._make_pages(config)
        self.notifier.start()
        self._steps.callback(self._end, "the notifier", self.notifier.stop)
        self.writer.start()
        self._steps.callback(self._end, "the writer", self.writer.stop)
        self.collector.start(
            ServiceStarted(version=__version__, offset_us=self.collector.offset_us)
        )
        self._steps.callback(self._end, "the judge", self.collector.stop)
        for link in self.links:
            link.start()
            self._steps.callback(self._end, link.name, link.stop)
        self.pages.start()
        self._steps.callback(self._end, "the pages", self.pages.stop)

    def _make_links(self, config: Config) -> list[Link]:
        links: list[Link] = [
            SerialLink(each.port, self.collector.intake, self._clock, baud=each.baud)
            for each in config.serial
        ]
        mqtt = config.mqtt
        if mqtt is not None:
            broker = Broker(
                host=mqtt.host,
                port=mqtt.port,
                client_id=config.client_id,
                username=mqtt.username,
                password_file=mqtt.password_file,
                tls_ca_file=mqtt.tls_ca_file,
                tls_cert_file=mqtt.tls_cert_file,
                tls_key_file=mqtt.tls_key_file,
            )
            links.append(MqttLink(broker, mqtt.topics, self.collector.intake, self._clock))
        return links

    def _publish(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        """The broker link's ``publish``; the link is made after the notifier."""
        return any(
            link.publish(topic, payload, qos, retain)
            for link in self.links
            if isinstance(link, MqttLink)
        )

    def _make_pages(self, config: Config) -> PageServer:
        wiring = Wiring(
            latest=self.board.latest,
            act=self.collector.act,
            history=self._history,
            health=self.health,
            metrics=self._metrics,
            now_us=self.collector.utc_us,
        )
        page = config.dashboard
        doors = Doors() if page.on_loopback else Doors(Doors().hosts | {page.host})
        try:
            return PageServer(create_app(wiring, doors), page.host, page.port)
        except OSError as error:
            raise CommandError(
                f"the page cannot be served at {page.host} port {page.port}: {error.strerror}"
            ) from error

    # While it runs ------------------------------------------------------------------------

    @property
    def address(self) -> str:
        """Where a browser finds the page."""
        return self.pages.address

    def health(self) -> tuple[bool, Mapping[str, object]]:
        """Whether every worker has come round within ``PROGRESS_S`` and every subscription has
        been granted since the start; data age is told, and changes nothing."""
        now_s = time.monotonic()
        now_us = self._clock.monotonic_us()
        status = self.writer.status()
        links = [link.status() for link in self.links]
        workers = {
            "judge": now_s - self.collector.judge_progress_s,
            "writer": now_s - status.last_progress,
        }
        for each in links:
            age_s = (now_us - each.progress_us) / 1e6 / self._clock.speed
            workers[each.name] = age_s if each.running else float("inf")
        stuck = [name for name, age_s in workers.items() if age_s > PROGRESS_S]
        unsubscribed = [each.name for each in links if each.kind == "mqtt" and not each.openings]
        healthy = not stuck and not unsubscribed
        return healthy, {
            "healthy": healthy,
            "version": __version__,
            "store": "open",
            "recording": status.recording,
            "stuck_workers": stuck,
            "not_subscribed": unsubscribed,
            "links": [
                {
                    "name": each.name,
                    "kind": each.kind,
                    "state": each.state,
                    "data_age_s": None
                    if each.last_valid_us is None
                    else round((now_us - each.last_valid_us) / 1e6, 3),
                }
                for each in links
            ],
        }

    def _history(self, channel: str, start_us: int, end_us: int, points: int) -> History | None:
        try:
            found = self.store.history(channel, start_us, end_us, points)
        except UnknownChannel:
            return None
        return History(
            unit=found.unit,
            points=[HistoryPoint(step.t_us, step.low, step.high) for step in found.steps],
        )

    def _metrics(self) -> list[Metric]:
        return figures(
            self.writer.status(), [link.status() for link in self.links], self.collector.failures
        )

    def _recording_changed(self, recording: bool, detail: str) -> None:
        self.collector.recording_changed(recording, detail)

    # Stop ---------------------------------------------------------------------------------

    def _end(self, name: str, stop: Callable[[float], bool]) -> None:
        if not stop(STOP_S):
            log.error("%s did not end within %g s", name, STOP_S)
            self._clean = False

    def stop(self) -> bool:
        """End everything; ``True`` when it ended in time and all readings are on a disk."""
        self._steps.close()
        return self._clean


def start_service(config: Config, clock: Clock) -> RunningService:
    """Start the service of one shop.

    Raises:
        CommandError: The database or the page cannot be had; one sentence.
    """
    try:
        return RunningService(config, clock)
    except StoreError as error:
        raise CommandError(str(error)) from error
