"""The ways in: those a config names, and the serial ports taken in while the service runs."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from serial.tools import list_ports

from service.clock import Clock
from service.config import AdoptedPorts, Config, ConfigRefused, SerialConfig
from service.judge.events import Refused
from service.sources.broker import Broker
from service.sources.link import Intake, Link
from service.sources.log_file import LogFileLink
from service.sources.mqtt import MqttLink
from service.sources.ports import Lister, PortIdentity, list_candidates, unclaimed
from service.sources.serial_port import SerialLink

log = logging.getLogger(__name__)

PORTS_EVERY_S = 10.0
"""How often the machine's serial ports are looked at again, at most [s, real]."""


def make_links(config: Config, intake: Intake, clock: Clock) -> list[Link]:
    """Every link of a config, made but not started.

    Args:
        config: Checked.
        intake: Where packs go.
        clock: The shop's clocks.
    """
    links: list[Link] = [_serial_link(each, intake, clock) for each in config.serial]
    links += [
        LogFileLink(each.path, each.line_profile(), intake, clock, from_start=each.from_start)
        for each in config.log_file
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
        links.append(MqttLink(broker, mqtt.topics, intake, clock))
    return links


def _serial_link(port: SerialConfig, intake: Intake, clock: Clock) -> SerialLink:
    return SerialLink(port.port, intake, clock, baud=port.baud, profile=port.line_profile())


class Links:
    """All links of a running service. Everything may be called from any thread.

    Args:
        config: Checked.
        intake: Where packs go.
        clock: The shop's clocks.
        prepare: Called with each link before it starts (its packs of the last run, say).
        lister: What lists the machine's serial ports; passed in for tests.
    """

    def __init__(
        self,
        config: Config,
        intake: Intake,
        clock: Clock,
        *,
        prepare: Callable[[Link], None],
        lister: Lister = list_ports.comports,
    ) -> None:
        self._intake = intake
        self._clock = clock
        self._prepare = prepare
        self._lister = lister
        self._file = AdoptedPorts(config.database_url)
        self._configured = make_links(config, intake, clock)
        self._named = [each.port for each in config.serial]
        if config.notify.serial_port is not None:
            self._named.append(config.notify.serial_port)
        self._adopted: dict[str, tuple[SerialConfig, Link]] = {}
        self._changing = threading.RLock()
        self._running = False
        self._read_at_ns: int | None = None
        self._unused: list[PortIdentity] = []
        self._look_at_s = 0.0

    def current(self) -> list[Link]:
        """Every link, in the order of the config, then as they were taken in."""
        with self._changing:
            return [*self._configured, *(link for _, link in self._adopted.values())]

    def adopted(self) -> list[SerialConfig]:
        """The ports taken in."""
        with self._changing:
            return [port for port, _ in self._adopted.values()]

    def start(self) -> None:
        """Start all of them.

        Raises:
            ConfigRefused: The file of adopted ports is none.
        """
        with self._changing:
            self._running = True
            for link in self._configured:
                self._prepare(link)
                link.start()
            self._take_up(self._file.read())

    def stop(self, timeout_s: float) -> bool:
        """Stop all of them within the time; whether all have ended."""
        end_s = time.monotonic() + timeout_s
        with self._changing:
            self._running = False
            links = self.current()
        ended = [link.stop(max(0.1, end_s - time.monotonic())) for link in links]
        for link, over in zip(links, ended, strict=True):
            if not over:
                log.error("%s did not end within %g s", link.name, timeout_s)
        return all(ended)

    # Ports taken in while it runs -----------------------------------------------------------

    def unused(self) -> list[PortIdentity]:
        """Serial ports of this machine that nobody reads; looked at now and then."""
        now_s = time.monotonic()
        with self._changing:
            if now_s >= self._look_at_s:
                self._look_at_s = now_s + PORTS_EVERY_S
                self._unused = self._unclaimed()
            return list(self._unused)

    def _unclaimed(self) -> list[PortIdentity]:
        taken = [*self._named, *self._adopted]
        return unclaimed(list_candidates(self._lister), taken)

    def adopt(self, wanted: SerialConfig) -> None:
        """Read a port from now on, after restarts too.

        Raises:
            Refused: It is none of the unused ports of this machine, or cannot be written down.
        """
        with self._changing:
            offered = [port.name for port in self._unclaimed()]
            if wanted.port not in offered:
                listed = ", ".join(offered) or "none"
                raise Refused(f"{wanted.port} is no unused serial port here; unused: {listed}.")
            self._written(lambda: self._file.add(wanted))

    def release(self, name: str) -> None:
        """Read an adopted port no more.

        Raises:
            Refused: It is not adopted, or that cannot be written down.
        """
        with self._changing:
            if name not in self._adopted:
                raise Refused(
                    f"{name} was not taken in here; what the configuration file names stays there."
                )
            self._written(lambda: self._file.remove(name))

    def _written(self, write: Callable[[], object]) -> None:
        try:
            write()
            self._take_up(self._file.read())
        except (OSError, ConfigRefused) as error:
            raise Refused(f"The file of adopted ports cannot be changed: {error}") from error

    def look(self) -> None:
        """Take up what another program (``check``) has written into the file since."""
        try:
            changed_ns = self._file.path.stat().st_mtime_ns
        except OSError:
            changed_ns = None
        with self._changing:
            if not self._running or changed_ns == self._read_at_ns:
                return
            try:
                self._take_up(self._file.read())
            except ConfigRefused as error:
                self._read_at_ns = changed_ns
                log.error("adopted ports stay as they are: %s", error)

    def _take_up(self, wanted: list[SerialConfig]) -> None:
        """Start and stop links until they are those of the file."""
        try:
            self._read_at_ns = self._file.path.stat().st_mtime_ns
        except OSError:
            self._read_at_ns = None
        self._look_at_s = 0.0
        fresh = {port.port: port for port in wanted if port.port not in self._named}
        for name, (port, link) in list(self._adopted.items()):
            if fresh.get(name) != port:
                del self._adopted[name]
                if not link.stop():
                    log.error("%s did not end in time", link.name)
        for name, port in fresh.items():
            if name not in self._adopted and self._running:
                link = _serial_link(port, self._intake, self._clock)
                self._adopted[name] = port, link
                self._prepare(link)
                link.start()
                log.info("reading adopted port %s", name)
