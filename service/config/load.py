"""Reading the file: every fault at once, relative paths settled, relations between tables."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from service.config import topics
from service.config.faults import ConfigFault, ConfigRefused, faults_from
from service.config.notify import EmailConfig, NotifyConfig, WebhookConfig
from service.config.tables import Config, MqttConfig

FILES = ("password_file", "tls_ca_file", "tls_cert_file", "tls_key_file")
"""Keys of files that must be there when the config is loaded."""


def load(path: Path | None) -> Config:
    """Read and check a config file.

    Args:
        path: The TOML file, or ``None`` for the defaults.

    Raises:
        ConfigRefused: With every fault found.
    """
    if path is None:
        return Config()
    file = str(path)
    try:
        table = tomllib.loads(path.read_bytes().decode("utf-8"))
    except OSError as error:
        raise ConfigRefused(
            [ConfigFault(file, "", None, f"cannot be read: {error.strerror}")]
        ) from error
    except UnicodeDecodeError as error:
        rule = f"is not UTF-8 text (byte {error.start})"
        raise ConfigRefused([ConfigFault(file, "", None, rule)]) from error
    except tomllib.TOMLDecodeError as error:
        raise ConfigRefused([ConfigFault(file, "", None, f"is not TOML: {error}")]) from error
    try:
        config = Config.model_validate(table)
    except ValidationError as error:
        raise ConfigRefused(faults_from(error, file, Config)) from error
    return _settle(config, path)


def _settle(config: Config, path: Path) -> Config:
    """Resolve relative paths and check what needs the file system or several tables."""
    folder = path.resolve().parent
    faults: list[ConfigFault] = []
    store, mqtt = config.store, config.mqtt
    if store.url is not None:
        store = store.model_copy(update={"url": _settle_url(store.url, folder, str(path), faults)})
    if mqtt is not None:
        mqtt = _settle_files(mqtt, "mqtt", folder, str(path), faults)
    notify = _settle_notify(config.notify, folder, str(path), faults)
    logs = [each.model_copy(update={"path": folder / each.path}) for each in config.log_file]
    config = config.model_copy(
        update={"store": store, "mqtt": mqtt, "log_file": logs, "notify": notify}
    )
    faults += [ConfigFault(str(path), *rest) for rest in _relations(config)]
    if faults:
        raise ConfigRefused(faults)
    return config


def _settle_url(url: str, folder: Path, file: str, faults: list[ConfigFault]) -> str:
    """Make the path in a SQLite URL absolute."""
    try:
        parsed = make_url(url)
    except (ArgumentError, ValueError):  # the text is not shown: there may be a password in it
        rule = "must be a URL such as sqlite:///shop.db"
        faults.append(ConfigFault(file, "store.url", None, rule))
        return url
    database = parsed.database or ""
    rule = ""
    if parsed.get_backend_name() != "sqlite":
        rule = "must be a SQLite URL (sqlite:///shop.db)"
    elif database in ("", ":memory:") or database.startswith("file:"):
        rule = "must name a database file"
    elif parsed.query:
        rule = "must not carry options after '?'"
    if rule:
        faults.append(ConfigFault(file, "store.url", parsed.render_as_string(), rule))
        return url
    return f"sqlite:///{folder / database}"


_T = TypeVar("_T", MqttConfig, WebhookConfig, EmailConfig)


def _settle_files(table: _T, name: str, folder: Path, file: str, faults: list[ConfigFault]) -> _T:
    """Make the files that a table names absolute and make sure they can be read."""
    settled: dict[str, Path] = {}
    for key in FILES:
        given: Path | None = getattr(table, key, None)
        if given is None:
            continue
        settled[key] = folder / given
        try:
            content = settled[key].read_bytes()
            if key == "password_file":
                content.decode("utf-8")
        except OSError as error:
            rule = f"cannot be read: {error.strerror}"
            faults.append(ConfigFault(file, f"{name}.{key}", str(given), rule))
        except UnicodeDecodeError:
            faults.append(ConfigFault(file, f"{name}.{key}", str(given), "is not UTF-8 text"))
        else:
            if not content.strip():
                faults.append(ConfigFault(file, f"{name}.{key}", str(given), "is empty"))
    return table.model_copy(update=settled)


def _settle_notify(
    notify: NotifyConfig, folder: Path, file: str, faults: list[ConfigFault]
) -> NotifyConfig:
    """The same for the tables in ``[notify]``; a token is also held against its form."""
    webhook, email = notify.webhook, notify.email
    if webhook is not None:
        webhook = _settle_files(webhook, "notify.webhook", folder, file, faults)
        if webhook.token_fault():
            rule = "does not hold a bearer token (RFC 6750, section 2.1); with a username it may"
            given = str(webhook.password_file)
            faults.append(ConfigFault(file, "notify.webhook.password_file", given, rule))
    if email is not None:
        email = _settle_files(email, "notify.email", folder, file, faults)
    return notify.model_copy(update={"webhook": webhook, "email": email})


def _relations(config: Config) -> list[tuple[str, object, str]]:
    """Rules between keys, as (key, value, rule)."""
    ports = {f"serial[{place}]": each.port for place, each in enumerate(config.serial)}
    logs = {f"log_file[{place}]": str(each.path) for place, each in enumerate(config.log_file)}
    broken = _repeats("port", ports, "port") + _repeats("path", logs, "file")
    used = {os.path.realpath(port): table for table, port in reversed(ports.items())}
    port = config.notify.serial_port
    if port is not None and os.path.realpath(port) in used:
        taken = used[os.path.realpath(port)]
        broken.append(("notify.serial_port", port, f"is already read by {taken}"))
    topic = config.notify.mqtt_topic
    rule = None if topic is None else _notify_topic_fault(topic, config.mqtt)
    if rule is not None:
        broken.append(("notify.mqtt_topic", topic, rule))
    return broken


def _repeats(key: str, paths: dict[str, str], what: str) -> list[tuple[str, object, str]]:
    """Tables that name what another one names already."""
    first: dict[str, str] = {}
    broken: list[tuple[str, object, str]] = []
    for table, path in paths.items():
        other = first.setdefault(os.path.realpath(path), table)
        if other != table:
            broken.append((f"{table}.{key}", path, f"is the same {what} as {other}"))
    return broken


def _notify_topic_fault(topic: str, mqtt: MqttConfig | None) -> str | None:
    if any(sign in topic for sign in "+#\0"):
        return "must be a plain topic without '+' or '#'"
    if mqtt is None:
        return "needs an [mqtt] table with the broker"
    own = (f"{topic}/state", f"{topic}/change", f"{topic}/verdict/1")
    for listened in mqtt.topics:
        if any(topics.matches(listened, each) for each in own):
            return f"would be read back as readings by mqtt.topics {listened!r}"
    return None
