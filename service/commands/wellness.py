"""How the service itself is doing, for ``GET /healthz``."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence

from service import __version__
from service.clock import Clock
from service.collector import Collector
from service.config import Config
from service.sources.link import Link, LinkStatus
from service.sources.mqtt import MqttLink
from service.sources.ports import list_candidates, unclaimed
from service.store.database import Store, StoreError
from service.store.writer import Writer
from service.wire.pack import RejectCause

PROGRESS_S = 5.0
"""A worker that has not come round for so long is not healthy [s, real]."""

PORTS_EVERY_S = 10.0
"""How often the machine's serial ports are looked at again, at most [s, real]."""


class Wellness:
    """Answers whether every worker makes progress, and tells of every link.

    Args:
        store: Told of by its notices.
        writer: A worker.
        collector: Whose judge is a worker.
        links: Workers, all of them.
        clock: The clock the links count by.
        config: Names the ports that are taken.
    """

    def __init__(
        self,
        store: Store,
        writer: Writer,
        collector: Collector,
        *,
        links: Sequence[Link],
        clock: Clock,
        config: Config,
    ) -> None:
        self._store = store
        self._writer = writer
        self._collector = collector
        self._links = links
        self._clock = clock
        self._taken_ports = [each.port for each in config.serial]
        if config.notify.serial_port is not None:
            self._taken_ports.append(config.notify.serial_port)
        self._unused: list[dict[str, str]] = []
        self._look_at_s = 0.0

    def health(self) -> tuple[bool, Mapping[str, object]]:
        """Whether every worker has come round within ``PROGRESS_S`` and every subscription has
        been granted since the start; data age is told, and changes nothing."""
        now_s = time.monotonic()
        now_us = self._clock.monotonic_us()
        status = self._writer.status()
        links = [link.status() for link in self._links]
        workers = {
            "judge": now_s - self._collector.judge_progress_s,
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
            "not_recording_because": status.detail or None,
            "readings_lost": status.lost,
            "stuck_workers": stuck,
            "not_subscribed": unsubscribed,
            "links": [
                _link_body(link, each, now_us)
                for link, each in zip(self._links, links, strict=True)
            ],
            "notices": self._notices(),
            "unused_ports": self._unused_ports(now_s),
        }

    def _notices(self) -> list[str]:
        """What somebody must be told about the store (a damaged file set aside, say)."""
        try:
            return [notice.text for notice in self._store.notices()]
        except StoreError as error:
            return [str(error)]

    def _unused_ports(self, now_s: float) -> list[dict[str, str]]:
        """Serial ports of this machine that no table of the config names."""
        if now_s >= self._look_at_s:
            self._look_at_s = now_s + PORTS_EVERY_S
            self._unused = [
                {"name": port.name, "device": port.device, "description": port.description}
                for port in unclaimed(list_candidates(), self._taken_ports)
            ]
        return self._unused


def _link_body(link: Link, status: LinkStatus, now_us: int) -> dict[str, object]:
    body: dict[str, object] = {
        "name": status.name,
        "kind": status.kind,
        "state": status.state,
        "data_age_s": _age_s(now_us, status.last_valid_us),
        "byte_age_s": _age_s(now_us, status.last_byte_us),
        "measurements": status.measurements,
        "rejected": {cause.value: status.rejects.get(cause, 0) for cause in RejectCause},
        "last_reject": status.last_reject,
        "last_bytes": status.last_raw.decode("ascii", "backslashreplace"),
        "openings": status.openings,
        "resets": status.resets,
        "errors": status.errors,
    }
    if isinstance(link, MqttLink):
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
