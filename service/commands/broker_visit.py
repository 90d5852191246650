"""A short visit to the configured broker, under a client id of its own.

A broker ends the older session of the same name, so a running service keeps its own.
"""

from __future__ import annotations

import threading
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from service.config import MqttConfig

WAIT_S = 5.0
"""How long the broker may take to answer [s]."""


class NoBroker(RuntimeError):
    """It cannot be visited; one sentence."""


@contextmanager
def visit(mqtt: MqttConfig, purpose: str) -> Iterator[paho.Client]:
    """Connected with the configured credentials, while the block runs.

    Args:
        mqtt: Which broker.
        purpose: One word for the client id.

    Raises:
        NoBroker: It is not there, gives no answer or refuses.
    """
    where = f"{mqtt.host}:{mqtt.port}"
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"hw-{purpose}-{uuid.uuid4().hex[:12]}",
        protocol=paho.MQTTv311,
    )
    answered, answer = threading.Event(), []

    def on_connect(_client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        answer.append(reason)
        answered.set()

    client.on_connect = on_connect
    client.connect_timeout = WAIT_S
    try:
        if mqtt.username is not None:
            client.username_pw_set(mqtt.username, mqtt.password())
        if mqtt.tls_ca_file is not None:
            client.tls_set(
                ca_certs=str(mqtt.tls_ca_file),
                certfile=None if mqtt.tls_cert_file is None else str(mqtt.tls_cert_file),
                keyfile=None if mqtt.tls_key_file is None else str(mqtt.tls_key_file),
            )
        client.connect(mqtt.host, mqtt.port, keepalive=10)
    except (OSError, ValueError) as error:
        raise NoBroker(f"{where} cannot be reached: {error}") from error
    client.loop_start()
    try:
        if not answered.wait(WAIT_S):
            raise NoBroker(f"{where} is connected but gives no MQTT answer")
        if answer[0].is_failure:
            raise NoBroker(f"{where} refuses: {str(answer[0]).lower()}")
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


def confirmed(client: paho.Client, topic: str, payload: bytes, within_s: float) -> bool:
    """Publish one message at QoS 1; whether the broker confirmed it in time."""
    info = client.publish(topic, payload, qos=1)
    if info.rc != MQTTErrorCode.MQTT_ERR_SUCCESS:
        return False
    info.wait_for_publish(within_s)
    return info.is_published()
