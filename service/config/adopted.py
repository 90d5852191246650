"""Serial ports taken in on the page or with ``check``: a small file beside the database.

It is written by the service and holds ``[[serial]]`` tables just as a config file does, so that it
can be read, checked and moved into one by hand. It is replaced as a whole, never half written.
"""

from __future__ import annotations

import json
import os
import tomllib
from pathlib import Path

from pydantic import Field, ValidationError
from sqlalchemy.engine import make_url

from service.config.faults import ConfigFault, ConfigRefused, faults_from
from service.config.fields import Table
from service.config.tables import SerialConfig

HEAD = "# Serial ports taken in on the page or with 'heatwindow check --adopt'.\n"


PORTS_MOST = 64


class AdoptedConfig(Table):
    """The whole file."""

    serial: list[SerialConfig] = Field(default_factory=list, max_length=PORTS_MOST)


class AdoptedPorts:
    """The file.

    Args:
        database_url: Of the shop; the file lies beside its database.
    """

    def __init__(self, database_url: str) -> None:
        database = Path(str(make_url(database_url).database))
        self.path = database.with_name(f"{database.stem}.ports.toml")

    def read(self) -> list[SerialConfig]:
        """Every port in it; none while there is no file.

        Raises:
            ConfigRefused: It cannot be read, or is no such file; with every fault.
        """
        file = str(self.path)
        try:
            table = tomllib.loads(self.path.read_bytes().decode("utf-8"))
        except (FileNotFoundError, NotADirectoryError):
            return []
        except OSError as error:
            rule = f"cannot be read: {error.strerror}"
            raise ConfigRefused([ConfigFault(file, "", None, rule)]) from error
        except ValueError as error:  # no UTF-8, no TOML
            raise ConfigRefused([ConfigFault(file, "", None, f"is not TOML: {error}")]) from error
        try:
            return AdoptedConfig.model_validate(table).serial
        except ValidationError as error:
            raise ConfigRefused(faults_from(error, file, AdoptedConfig)) from error

    def add(self, port: SerialConfig) -> None:
        """Take a port in; one of the same name is replaced.

        Raises:
            ConfigRefused: What is there already cannot be read, or is as much as may be.
            OSError: It cannot be written.
        """
        self._write([*(each for each in self.read() if each.port != port.port), port])

    def remove(self, name: str) -> bool:
        """Let a port go; whether it was there.

        Raises:
            ConfigRefused: What is there cannot be read.
            OSError: It cannot be written.
        """
        ports = self.read()
        left = [each for each in ports if each.port != name]
        if len(left) == len(ports):
            return False
        self._write(left)
        return True

    def _write(self, ports: list[SerialConfig]) -> None:
        if len(ports) > PORTS_MOST:
            rule = f"holds {PORTS_MOST} ports already: let one go first"
            raise ConfigRefused([ConfigFault(str(self.path), "", None, rule)])
        text = HEAD + "".join(_table(port) for port in ports)
        self.path.parent.mkdir(parents=True, exist_ok=True)
        fresh = self.path.with_name(f"{self.path.name}.new")
        with fresh.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self.path)


def _table(port: SerialConfig) -> str:
    given = port.model_dump(exclude_none=True)
    # A JSON text is a TOML basic string but for DEL, which JSON leaves as it is.
    lines = [
        f"{key} = {json.dumps(value, ensure_ascii=False)}".replace("\x7f", "\\u007f")
        for key, value in given.items()
    ]
    return "\n[[serial]]\n" + "\n".join(lines) + "\n"
