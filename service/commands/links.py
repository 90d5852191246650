"""The ways in that a config names, made but not started."""

from __future__ import annotations

from service.clock import Clock
from service.config import Config
from service.sources.broker import Broker
from service.sources.link import Intake, Link
from service.sources.log_file import LogFileLink
from service.sources.mqtt import MqttLink
from service.sources.serial_port import SerialLink


def make_links(config: Config, intake: Intake, clock: Clock) -> list[Link]:
    """Every link of a config.

    Args:
        config: Checked.
        intake: Where packs go.
        clock: The shop's clocks.
    """
    links: list[Link] = [
        SerialLink(each.port, intake, clock, baud=each.baud, profile=each.line_profile())
        for each in config.serial
    ]
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
