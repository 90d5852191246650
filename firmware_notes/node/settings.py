"""The config file: read whole, checked whole, every fault told with its place and its rule."""

import json

PIN = (int, 0, 99)
PERIOD = (int, 100, 60_000, 1000)
TYPES = ("B", "E", "J", "K", "N", "R", "S", "T")
SLOPE_TYPES = ("E", "J", "K", "N", "R", "S", "T")

KINDS = {
    "max31855": {
        "name": (str, 1, 40),
        "select": PIN,
        "type": (SLOPE_TYPES, 0, 0, "K"),
        "emf": (bool, 0, 1, False),
        "cold_junction": (str, 0, 40, ""),
        "every_ms": PERIOD,
    },
    "max31856": {
        "name": (str, 1, 40),
        "select": PIN,
        "type": (TYPES, 0, 0, "K"),
        "mains_hz": ((50, 60), 0, 0, 50),
        "cold_junction": (str, 0, 40, ""),
        "every_ms": PERIOD,
    },
    "pulse flow": {
        "name": (str, 1, 40),
        "pin": PIN,
        "pulses_per_l": ((int, float), 0.001, 1e6),
        "every_ms": PERIOD,
    },
    "analog": {
        "name": (str, 1, 40),
        "pin": PIN,
        "unit": (("l/s", "ppm", "%", "A", "Pa", "Cel"), 0, 0),
        "zero_v": ((int, float), -10, 10),
        "per_v": ((int, float), -1e6, 1e6),
        "full_scale_v": ((int, float), 0.1, 10, 3.3),
        "valid_v": (list, 2, 2, (-1, 11)),
        "step": ((int, float), 0, 1e6, 0),
        "every_ms": PERIOD,
    },
    "switch": {
        "name": (str, 1, 40),
        "pin": PIN,
        "on": ((0, 1), 0, 0, 0),
        "every_ms": PERIOD,
    },
}
"""Keys of each kind of input: type or choices, least, most and, if it may be left out, default."""

SPI = {"id": (int, -1, 9), "sck": PIN, "mosi": PIN, "miso": PIN}
WIFI = {"name": (str, 1, 32), "password": (str, 0, 64)}
MQTT = {
    "host": (str, 1, 100),
    "port": (int, 1, 65_535, 1883),
    "user": (str, 0, 100, ""),
    "password": (str, 0, 100, ""),
    "tls_ca_file": (str, 0, 100, ""),
    "alarm_topic": (str, 0, 200, "heatwindow/alarms"),
}
LINES = {"uart": (int, 0, 9), "rx": PIN, "tx": PIN, "baud": (int, 300, 4_000_000, 9600)}
TOP = {
    "node": (str, 1, 40),
    "inputs": (list, 1, 32),
    "spi": (dict, 0, 0, None),
    "wifi": (dict, 0, 0, None),
    "mqtt": (dict, 0, 0, None),
    "time_host": (str, 0, 100, ""),
    "alarm_lines": (dict, 0, 0, None),
    "lamp": (int, 0, 99, None),
    "sounder": (int, 0, 99, None),
    "stay_out": (int, 0, 99, None),
    "buffer_samples": (int, 100, 20_000, 6000),
    "watchdog_ms": (int, 0, 8_300, 8_000),
}
TABLES = {"spi": SPI, "wifi": WIFI, "mqtt": MQTT, "alarm_lines": LINES}
NAME_CHARS = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._/"


class BadSettings(ValueError):
    """The file cannot be used; the message lists every fault."""


def load(path: str) -> dict:
    """Read and check a config file.

    Raises:
        BadSettings: It is missing, no JSON, or breaks a rule.
    """
    try:
        with open(path) as file:
            given = json.load(file)
    except OSError:
        raise BadSettings(f"{path}: there is no such file") from None
    except ValueError:
        raise BadSettings(f"{path}: this is no JSON") from None
    return check(given, path)


def check(given: object, path: str) -> dict:
    """Settings with their defaults.

    Raises:
        BadSettings: A rule is broken.
    """
    faults = []
    settings = _table(given, TOP, path, faults)
    for key, rules in TABLES.items():
        if settings.get(key) is not None:
            settings[key] = _table(settings[key], rules, f"{path}: {key}", faults)
    inputs = []
    for place, each in enumerate(settings.get("inputs") or [], 1):
        inputs.append(_input(each, f"{path}: input {place}", faults))
    settings["inputs"] = inputs
    if not faults:
        _together(settings, path, faults)
    if faults:
        raise BadSettings("\n".join(faults))
    return settings


def _input(given: object, where: str, faults: list) -> dict:
    kind = given.get("kind") if isinstance(given, dict) else None
    if kind not in KINDS:
        faults.append(f"{where}: kind {kind!r} must be one of {', '.join(sorted(KINDS))}")
        return {}
    rest = {key: value for key, value in given.items() if key != "kind"}
    found = _table(rest, KINDS[kind], f"{where} ({kind})", faults)
    found["kind"] = kind
    return found


def _together(settings: dict, path: str, faults: list) -> None:
    """Rules about more than one key."""
    inputs = settings["inputs"]
    names = [each["name"] for each in inputs]
    for each in inputs:
        if "valid_v" in each and not all(isinstance(v, (int, float)) for v in each["valid_v"]):
            faults.append(f"{path}: valid_v {each['valid_v']!r} must be two numbers")
    names += [each["cold_junction"] for each in inputs if each.get("cold_junction")]
    for name in [settings["node"]] + names:
        if not all(char in NAME_CHARS for char in name) or not (
            name[0].isalpha() or name[0].isdigit()
        ):
            faults.append(f"{path}: name {name!r} must be letters, digits and - . _ /")
        if names.count(name) > 1:
            faults.append(f"{path}: name {name!r} stands more than once")
    for each in inputs:
        if each.get("emf") and not each["cold_junction"]:
            faults.append(f"{path}: {each['name']} sends emf and needs a cold_junction name")
    if settings["spi"] is None and any("select" in each for each in inputs):
        faults.append(f"{path}: thermocouples need a table spi")
    if settings["mqtt"] is not None and settings["wifi"] is None:
        faults.append(f"{path}: mqtt needs a table wifi")
    if any(char in settings["node"] for char in "/+#"):
        faults.append(f"{path}: node {settings['node']!r} becomes a topic level: no / + #")


def _table(given: object, rules: dict, where: str, faults: list) -> dict:
    if not isinstance(given, dict):
        faults.append(f"{where}: {given!r} must be a table in curly brackets")
        return {}
    for key in given:
        if key not in rules:
            faults.append(f"{where}: unknown key {key!r}; known are {', '.join(sorted(rules))}")
    found = {}
    for key, rule in rules.items():
        if key not in given and len(rule) > 3:
            found[key] = rule[3]
        elif key not in given:
            faults.append(f"{where}: {key!r} is missing")
        elif given[key] is None and len(rule) > 3 and rule[3] is None:
            found[key] = None
        else:
            fault = _fault(given[key], rule)
            if fault:
                faults.append(f"{where}: {key} {given[key]!r} {fault}")
            found[key] = given[key]
    return found


def _fault(value: object, rule: tuple) -> str | None:
    """What is wrong with one value."""
    kind, least, most = rule[:3]
    if isinstance(kind, tuple) and not isinstance(kind[0], type):
        if value in kind and not isinstance(value, bool):
            return None
        return f"must be one of {', '.join([str(each) for each in kind])}"
    if isinstance(value, bool) and kind is not bool:
        return "must not be true or false"
    if not isinstance(value, kind):
        return "has the wrong type"
    size = value if not isinstance(value, (str, list, dict)) else len(value)
    if kind is not dict and not least <= size <= most:
        what = "must be" if size is value else "must have a length"
        return f"{what} from {least} to {most}"
    return None
