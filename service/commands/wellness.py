"""How the service itself is doing, for ``GET /healthz``."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Mapping

from service import __version__
from service.clock import Clock
from service.collector import Collector
from service.commands.links import Links
from service.commands.outlets import outlet_body
from service.notify.notifier import Notifier
from service.sources.link import Link, LinkStatus
from service.sources.mqtt import MqttLink
from service.store.database import Store, StoreError
from service.store.retention import space
from service.store.writer import Writer
from service.wire.pack import RejectCause

log = logging.getLogger(__name__)

PROGRESS_S = 5.0
"""A worker that has not come round for so long is not healthy [s, real]."""


SPACE_EVERY_S = 600.0
"""How often the room on the disk is looked at [s, real]: the sums of a year take a moment."""


class SpaceLeft:
    """How long the disk lasts at this rate, looked at every few minutes."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._again_s = 0.0
        self._body: dict[str, object] | None = None

    def body(self) -> Mapping[str, object] | None:
        """For the answer; ``None``: it cannot be told now."""
        now_s = time.monotonic()
        if now_s >= self._again_s:
            self._again_s = now_s + SPACE_EVERY_S
            self._body = self._look()
        return self._body

    def _look(self) -> dict[str, object] | None:
        try:
            with self._store.connect() as connection:
                found = space(connection, str(self._store.path.parent))
        except (StoreError, OSError) as error:
            log.warning("the room on the disk cannot be told: %s", error)
            return None
        return {
            "used_bytes": found.used_bytes,
            "free_bytes": found.free_bytes,
            "readings_a_day": found.readings_a_day,
            "years_left": found.years_left,
            "text": found.text,
        }


class Wellness:
    """Answers whether every worker makes progress, and tells of every link.

    Args:
        store: Told of by its notices.
        writer: A worker.
        collector: Whose judge is a worker.
        links: Workers, all of them.
        clock: The clock the links count by.
        notifier: Whose outlets are told of; one that has ended is a stuck worker.
        date_doubt: Why the machine's date cannot be right; ``None``: it can.
    """

    def __init__(
        self,
        store: Store,
        writer: Writer,
        collector: Collector,
        *,
        links: Links,
        clock: Clock,
        notifier: Notifier,
        date_doubt: Callable[[], str | None],
    ) -> None:
        self._store = store
        self._writer = writer
        self._collector = collector
        self._links = links
        self._clock = clock
        self._notifier = notifier
        self._date_doubt = date_doubt
        self._space = SpaceLeft(store)

    def stuck(self) -> list[str]:
        """Workers that have not come round within ``PROGRESS_S``."""
        return self._stuck([link.status() for link in self._links.current()])

    def _stuck(self, links: list[LinkStatus]) -> list[str]:
        now_s, now_us = time.monotonic(), self._clock.monotonic_us()
        workers = {
            "judge": now_s - self._collector.judge_progress_s,
            "writer": now_s - self._writer.status().last_progress,
        }
        for each in links:
            age_s = (now_us - each.progress_us) / 1e6 / self._clock.speed
            workers[each.name] = age_s if each.running else float("inf")
        ended = [each.name for each in self._notifier.status() if not each.running]
        return [name for name, age_s in workers.items() if age_s > PROGRESS_S] + ended

    def health(self) -> tuple[bool, Mapping[str, object]]:
        """Whether every worker has come round within ``PROGRESS_S`` and every subscription has
        been granted since the start; data age is told, and changes nothing."""
        now_us = self._clock.monotonic_us()
        status = self._writer.status()
        ways_in = self._links.current()
        links = [link.status() for link in ways_in]
        stuck = self._stuck(links)
        unsubscribed = [each.name for each in links if each.kind == "mqtt" and not each.openings]
        healthy = not stuck and not unsubscribed
        return healthy, {
            "healthy": healthy,
            "version": __version__,
            "store": "open",
            "recording": status.recording,
            "not_recording_because": status.detail or None,
            "readings_lost": status.lost,
            "stuck_workers": stuck,
            "not_subscribed": unsubscribed,
            "date_doubt": self._date_doubt(),
            "links": [
                _link_body(link, each, now_us) for link, each in zip(ways_in, links, strict=True)
            ],
            "outlets": [outlet_body(each) for each in self._notifier.status()],
            "notices": self._notices(),
            "space": self._space.body(),
            "unused_ports": [
                {"name": port.name, "device": port.device, "description": port.description}
                for port in self._links.unused()
            ],
        }

    def _notices(self) -> list[str]:
        """What somebody must be told about the store (a damaged file set aside, say)."""
        try:
            return [notice.text for notice in self._store.notices()]
        except StoreError as error:
            return [str(error)]


def _link_body(link: Link, status: LinkStatus, now_us: int) -> dict[str, object]:
    body: dict[str, object] = {
        "name": status.name,
        "kind": status.kind,
        "state": status.state,
        "data_age_s": _age_s(now_us, status.last_valid_us),
        "byte_age_s": _age_s(now_us, status.last_byte_us),
        "measurements": status.measurements,
        "sums_ignored": status.sums_ignored,
        "rejected": {cause.value: status.rejects.get(cause, 0) for cause in RejectCause},
        "last_reject": status.last_reject,
        "last_bytes": status.last_raw.decode("ascii", "backslashreplace"),
        "openings": status.openings,
        "resets": status.resets,
        "errors": status.errors,
    }
    if isinstance(link, MqttLink):
        body["late_acknowledgements"] = link.late_acks
        body["nodes"] = [
            {
                "topic": topic,
                "says": node.text,
                "age_s": _age_s(now_us, node.at_us),
                "kept_by_broker": node.retained,
            }
            for topic, node in link.nodes().items()
        ]
    return body


def _age_s(now_us: int, then_us: int | None) -> float | None:
    return None if then_us is None else round((now_us - then_us) / 1e6, 3)
