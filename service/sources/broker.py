"""Which broker, and how to show who we are."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from service.sources.gathering import GatheringClient

KEEPALIVE_S = 10
CONNECT_WITHIN_S = 3.0
RECONNECT_MOST_S = 8
MAX_OUTGOING = 1000
"""Messages for the broker kept while there is no connection."""


@dataclass(frozen=True, slots=True)
class Broker:
    """A broker and our session there.

    Attributes:
        host: Name or address.
        port: TCP port.
        client_id: Fixed name of the session, unique at the broker.
        username: User name, if the broker asks for one.
        password_file: File with the password; a line end after it is dropped.
        tls_ca_file: Certificate authority (PEM); its presence switches TLS on.
        tls_cert_file: Own certificate (PEM), with ``tls_key_file``.
        tls_key_file: Own key (PEM).
        keepalive_s: Longest silence before the broker is asked whether it is there [s].
    """

    host: str
    port: int
    client_id: str
    username: str | None = None
    password_file: Path | None = None
    tls_ca_file: Path | None = None
    tls_cert_file: Path | None = None
    tls_key_file: Path | None = None
    keepalive_s: int = KEEPALIVE_S


def make_client(broker: Broker) -> paho.Client:
    """A client with a persistent session, not connected yet.

    MQTT 3.1.1, which every broker speaks. Acknowledgements are ours to send.

    Raises:
        OSError: A file of the broker's cannot be read (``ssl.SSLError`` is one: not a
            certificate).
        ValueError: The files do not belong together.
    """
    client = GatheringClient(
        CallbackAPIVersion.VERSION2,
        client_id=broker.client_id,
        clean_session=False,
        protocol=MQTTProtocolVersion.MQTTv311,
        manual_ack=True,
    )
    client.connect_timeout = CONNECT_WITHIN_S
    client.reconnect_delay_set(1, RECONNECT_MOST_S)
    client.max_queued_messages_set(MAX_OUTGOING)
    if broker.username is not None:
        password = None
        if broker.password_file is not None:
            password = broker.password_file.read_text(encoding="utf-8").rstrip("\r\n")
        client.username_pw_set(broker.username, password)
    if broker.tls_ca_file is not None:
        client.tls_set(
            ca_certs=str(broker.tls_ca_file),
            certfile=None if broker.tls_cert_file is None else str(broker.tls_cert_file),
            keyfile=None if broker.tls_key_file is None else str(broker.tls_key_file),
        )
    return client
