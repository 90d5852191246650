"""The demo put together: broker, simulated shop, nodes, and the config of the service it feeds.

The service itself is started by the command with the config made here, exactly as ``run`` would.
"""

from __future__ import annotations

import secrets
from pathlib import Path

from service.clock import Clock
from service.demo.broker import BrokerChild, BrokerKind
from service.demo.engine import Engine
from service.demo.faults import FaultName, FaultScript
from service.demo.nodes import MqttNode, SerialNode
from service.demo.pacing import Pacing
from service.demo.page import Page
from service.demo.shop import SimulatedShop
from service.demo.story import Hands, Story, Tell

CONFIG = """\
# Written by the demo: an ordinary config of an ordinary shop, on this machine only.
[store]
url = "sqlite:///shop.db"

[[serial]]
port = "{serial}"

[mqtt]
host = "127.0.0.1"
port = {mqtt_port}
topics = ["heatwindow/readings/#"]

[dashboard]
host = "127.0.0.1"
port = {page_port}

[notify]
mqtt_topic = "heatwindow/alarms"
"""


class Rig:
    """Everything around the service.

    Args:
        folder: For the database, the config, the broker's files and the link to the terminal.
        clock: The clock the service will run on.
        broker_kind: Which broker; absent: mosquitto if installed.
    """

    def __init__(self, folder: Path, clock: Clock, broker_kind: BrokerKind | None = None) -> None:
        self.folder = folder
        self.clock = clock
        self.broker = BrokerChild(folder, broker_kind)
        self.shop = SimulatedShop(clock.monotonic_us() / 1e6)
        self.serial_node = SerialNode(self.shop, folder / "bench-node")
        self.mqtt_node = MqttNode(self.shop, self.broker.port, secrets.token_hex(4))
        self.engine = Engine(self.shop, [self.serial_node, self.mqtt_node], clock)

    def write_config(self, page_port: int) -> Path:
        """The config file of the service, in the folder."""
        path = self.folder / "shop.toml"
        text = CONFIG.format(
            serial=self.serial_node.link, mqtt_port=self.broker.port, page_port=page_port
        )
        path.write_text(text, encoding="utf-8")
        return path

    def start(self) -> None:
        """Broker up, nodes plugged in, time passing.

        Raises:
            BrokerFailed: The broker did not come up.
        """
        self.broker.start()
        self.serial_node.plug_in()
        self.mqtt_node.start()
        self.engine.start()

    def stop(self) -> None:
        """End all of it; safe after a start that failed half way."""
        self.engine.stop()
        self.mqtt_node.close()
        self.serial_node.close()
        self.broker.stop()

    def story(self, address: str, pacing: Pacing, fault: FaultName | None, tell: Tell) -> Story:
        """The welder's day at the page under ``address``."""
        faults = FaultScript(
            fault,
            shop=self.shop,
            node=self.serial_node,
            broker=self.broker,
            pacing=pacing,
            tell=tell,
        )
        return Story(self.shop, Page(address), pacing, faults, Hands(tell, self.serial_node.press))
