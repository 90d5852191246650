"""Serial ports taken in or let go by ``heatwindow check``."""

from __future__ import annotations

import os

from pydantic import ValidationError

from service.commands.errors import BadInput, CommandError
from service.config import AdoptedPorts, Config, ConfigRefused, SerialConfig


def adopted(config: Config) -> list[SerialConfig]:
    """The ports taken in beside the config's.

    Raises:
        BadInput: Their file is none; every fault.
    """
    try:
        return AdoptedPorts(config.database_url).read()
    except ConfigRefused as error:
        raise BadInput(str(error)) from error


def adopt(config: Config, name: str, baud: int | None, profile: str | None) -> None:
    """Write a port down, to be read from now on.

    Args:
        config: Of the shop.
        name: As under ``[[serial]] port``.
        baud: Line speed [bit/s]; ``None``: the usual one.
        profile: What its lines carry; ``None``: SenML JSON.

    Raises:
        BadInput: It is not there, is named by the config already, or the rest cannot be.
        CommandError: The file cannot be written.
    """
    given = {"port": name, "baud": baud, "profile": profile}
    try:
        port = SerialConfig.model_validate({k: v for k, v in given.items() if v is not None})
    except ValidationError as error:
        faults = [f"{each['loc'][0]} {each['input']!r}: {each['msg']}" for each in error.errors()]
        raise BadInput("; ".join(faults)) from error
    # Imported here: what probes ports is not needed to read a config.
    from service.commands import probes  # noqa: PLC0415

    fault = probes.missing_port(name)
    if fault is not None:
        raise BadInput(f"not adopted: {fault}")
    others = [each.port for each in config.serial]
    if config.notify.serial_port is not None:
        others.append(config.notify.serial_port)
    if os.path.realpath(name) in map(os.path.realpath, others) or name in others:
        raise BadInput(f"not adopted: {name} is named by the configuration already")
    _changed(config, port, None)


def release(config: Config, name: str) -> None:
    """Take a port out again.

    Raises:
        BadInput: It was not taken in.
        CommandError: The file cannot be written.
    """
    _changed(config, None, name)


def _changed(config: Config, fresh: SerialConfig | None, gone: str | None) -> None:
    file = AdoptedPorts(config.database_url)
    try:
        if fresh is not None:
            file.add(fresh)
        if gone is not None and not file.remove(gone):
            listed = ", ".join(each.port for each in file.read()) or "none"
            raise BadInput(f"{gone} was not adopted; adopted: {listed}")
    except ConfigRefused as error:
        raise BadInput(str(error)) from error
    except OSError as error:
        raise CommandError(f"{file.path} cannot be written: {error.strerror}") from error
