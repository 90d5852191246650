"""The configuration of the mosquitto broker that goes with this service, as text to be printed.

Two variants: ``loopback`` for nodes wired to this machine, ``lan`` for nodes on the network with
passwords, rights for each node and TLS. Both share one part about what is kept. Written for
mosquitto 2.0 and whole: it replaces ``/etc/mosquitto/mosquitto.conf``.
"""

from __future__ import annotations

from importlib import resources
from pathlib import PurePath
from string import Template
from typing import Literal, get_args

Variant = Literal["loopback", "lan"]
VARIANTS: tuple[str, ...] = get_args(Variant)

FOLDER = PurePath("/etc/mosquitto/heatwindow")
DATA = PurePath("/var/lib/mosquitto")
PLAIN_PORT = 1883
TLS_PORT = 8883
"""Registered with IANA for MQTT, plain and over TLS."""
SAVE_EVERY_S = 10
"""How much can be lost when the broker is killed [s of readings]: see the text's own comment."""


def config_text(
    variant: Variant,
    *,
    folder: PurePath = FOLDER,
    data: PurePath = DATA,
    port: int = PLAIN_PORT,
    tls_port: int = TLS_PORT,
    save_every_s: int = SAVE_EVERY_S,
) -> str:
    """The whole ``mosquitto.conf`` of a variant.

    Args:
        variant: ``loopback`` or ``lan``.
        folder: Where the ``lan`` variant finds passwords, rights and certificates.
        data: Where the broker saves what it keeps; it must exist and be writable for it.
        port: Port without TLS.
        tls_port: Port with TLS, ``lan`` only.
        save_every_s: Seconds between two saves.

    Raises:
        ValueError: No such variant.
    """
    if variant not in VARIANTS:
        raise ValueError(f"broker variant {variant!r} is not one of {', '.join(VARIANTS)}")
    text = _shipped(f"{variant}.conf") + _shipped("durable.conf")
    return Template(text).substitute(
        folder=folder, data=data, port=port, tls_port=tls_port, save_every_s=save_every_s
    )


def rights_text() -> str:
    """The ``rights.acl`` of the ``lan`` variant."""
    return _shipped("rights.acl")


def _shipped(name: str) -> str:
    return (resources.files("service.sources") / "mosquitto" / name).read_text(encoding="utf-8")
