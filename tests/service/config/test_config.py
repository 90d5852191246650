"""The config: all faults at once, unknown keys refused, relations between tables."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.config import Config, ConfigFault, ConfigRefused, derived_client_id, load
from service.config.topics import filter_fault, matches

EMAIL = "[notify.email]\nhost = 'h'\nsender = 'a@b.c'\nrecipients = ['d@e.f']\n"


def refused(tmp_path: Path, text: str) -> dict[str, str]:
    """Load a config that must be refused; its faults by key."""
    file = tmp_path / "shop.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigRefused) as caught:
        load(file)
    assert all(fault.file == str(file) for fault in caught.value.faults)
    assert str(caught.value).count("\n") == len(caught.value.faults) - 1
    return {fault.key: str(fault) for fault in caught.value.faults}


def accepted(tmp_path: Path, text: str) -> Config:
    file = tmp_path / "shop.toml"
    file.write_text(text, encoding="utf-8")
    return load(file)


def test_no_file_is_a_shop_on_loopback_without_links(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", "/somewhere")
    config = load(None)
    assert config.serial == []
    assert config.mqtt is None
    assert config.dashboard.on_loopback
    assert config.database_url == "sqlite:////somewhere/heatwindow/shop.db"


def test_an_empty_file_is_the_defaults(tmp_path: Path) -> None:
    assert accepted(tmp_path, "") == Config()


def test_a_full_file_is_read_with_paths_from_its_own_folder(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("two words \n", encoding="utf-8")
    config = accepted(
        tmp_path,
        """
        [store]
        url = "sqlite:///data/shop.db"
        commit_window_ms = 250
        [[serial]]
        port = "/dev/serial/by-id/bench-node"
        [[serial]]
        port = "/dev/serial/by-id/oven-node"
        baud = 9600
        [mqtt]
        host = "broker.shop"
        topics = ["heatwindow/readings/#", "nodes/+/out"]
        username = "bench"
        password_file = "secret"
        [dashboard]
        port = 0
        [notify]
        sounder = ["play", "bell.wav"]
        mqtt_topic = "heatwindow/alarms"
        """,
    )
    assert config.database_url == f"sqlite:///{tmp_path.resolve()}/data/shop.db"
    assert [link.baud for link in config.serial] == [115_200, 9600]
    assert config.mqtt is not None
    assert config.mqtt.password() == "two words "
    assert config.notify.sounder == ["play", "bell.wav"]


def test_every_line_profile_can_be_named(tmp_path: Path) -> None:
    config = accepted(
        tmp_path,
        r"""
        [[serial]]
        port = "usb:1a86:7523"
        profile = "name=value"
        [[serial]]
        port = "/dev/serial/by-path/front-left"
        profile = 'regex:T=(?P<value>[-+.\d]+)'
        channel = "bench/flange"
        unit = "degF"
        [[serial]]
        port = "/dev/ttyUSB4"
        profile = "csv:time,port2 [Cel]"
        [[log_file]]
        path = "logs/oven.csv"
        from_start = true
        """,
    )
    assert config.serial[0].line_profile().decode(b"oven=310 Cel")[0].measurements[0].value == 310
    (pack,) = config.serial[1].line_profile().decode(b"T=212")
    assert pack.measurements[0].name == "bench/flange"
    assert pack.measurements[0].value == pytest.approx(100.0)
    (pack,) = config.serial[2].line_profile().decode(b",25.5")
    assert [(each.name, each.value) for each in pack.measurements] == [("port2", 25.5)]
    (log,) = config.log_file
    assert log.path == tmp_path.resolve() / "logs/oven.csv"
    assert log.profile == "csv"
    assert log.line_profile() is not log.line_profile(), "a header belongs to one file"


def test_every_fault_is_listed_at_once(tmp_path: Path) -> None:
    faults = refused(
        tmp_path,
        """
        dashbord = 1
        [store]
        spool_readings = 3
        [[serial]]
        port = "/dev/ttyUSB0"
        baud = 12
        profile = "morse"
        [mqtt]
        topics = ["a/#/b"]
        [dashboard]
        port = "8080"
        """,
    )
    assert set(faults) == {
        "dashbord",
        "store.spool_readings",
        "serial[0].baud",
        "serial[0].profile",
        "mqtt.host",
        "mqtt.topics[0]",
        "dashboard.port",
    }
    assert "perhaps 'dashboard' was meant" in faults["dashbord"]
    assert "= 12:" in faults["serial[0].baud"]
    assert "300" in faults["serial[0].baud"]
    assert "is missing" in faults["mqtt.host"]
    assert "'morse' is not one of senml, name=value, csv" in faults["serial[0].profile"]


@pytest.mark.parametrize(
    ("text", "key", "rule"),
    [
        ("[store]\nurl = 'postgresql://u:hush@h/x'", "store.url", "SQLite"),
        ("[store]\nurl = 'sqlite://'", "store.url", "must name a database file"),
        ("[store]\nurl = 'sqlite:///a.db?mode=ro'", "store.url", "options"),
        ("[store]\nurl = 'shop.db'", "store.url", "must be a URL"),
        ("[mqtt]\nhost = 'h'\npassword_file = 'p'", "mqtt", "needs a username"),
        ("[mqtt]\nhost = 'h'\ntls_cert_file = 'c'", "mqtt", "go together"),
        ("[mqtt]\nhost = 'h'\ntls_ca_file = 'absent'", "mqtt.tls_ca_file", "cannot be read"),
        ("[notify]\nsounder_every_s = nan", "notify.sounder_every_s", "finite"),
        ("[notify]\nsounder = []", "notify.sounder", "at least 1"),
        ("[notify.webhook]\nverdicts = true", "notify.webhook.url", "is missing"),
        ("[notify.webhook]\nurl = 'ftp://h/'", "notify.webhook.url", "must begin with http"),
        ("[notify.webhook]\nurl = 'https:///x'", "notify.webhook.url", "name a host"),
        ("[notify.webhook]\nurl = 'https://h:x/'", "notify.webhook.url", "is not an address"),
        ("[notify.webhook]\nurl = 'https://h/a b'", "notify.webhook.url", "without blanks"),
        ("[notify.webhook]\nurl = 'https://h/#a'", "notify.webhook.url", "fragment"),
        ("[notify.webhook]\nurl = 'https://me@h/'", "notify.webhook.url", "use username"),
        ("[notify.webhook]\nurl = 'https://h'\nusername = 'me'", "notify.webhook", "password_file"),
        (
            "[notify.webhook]\nurl = 'https://h'\npassword_file = 'none'",
            "notify.webhook.password_file",
            "cannot be read",
        ),
        (
            "[notify.webhook]\nurl = 'http://h'\npassword_file = 'none'",
            "notify.webhook",
            "needs an https address",
        ),
        (
            "[notify.webhook]\nurl = 'http://h'\ntls_ca_file = 'none'",
            "notify.webhook",
            "needs an https address",
        ),
        ("[notify.webhook]\nurl = 'https://h'\ntoken = 'x'", "notify.webhook.token", "unknown key"),
        (f"{EMAIL}security = 'ssl'", "notify.email.security", "'starttls', 'tls' or 'none'"),
        (f"{EMAIL}port = 0", "notify.email.port", "greater than or equal to 1"),
        (f"{EMAIL}every_s = 0", "notify.email.every_s", "greater than or equal to 1"),
        (f"{EMAIL}username = 'me'", "notify.email", "go together"),
        (f"{EMAIL}username = 'me'\npassword_file = 'none'", "notify.email.password_file", "read"),
        (
            f"{EMAIL}security = 'none'\nusername = 'me'\npassword_file = 'none'",
            "notify.email",
            "needs security",
        ),
        (f"{EMAIL}security = 'none'\ntls_ca_file = 'none'", "notify.email", "needs security"),
        (EMAIL.replace("a@b.c", "a"), "notify.email.sender", "plain address"),
        (EMAIL.replace("a@b.c", "A <a@b.c>"), "notify.email.sender", "plain address"),
        (EMAIL.replace("['d@e.f']", "[]"), "notify.email.recipients", "at least 1"),
        (
            EMAIL.replace("d@e.f", "d@e.f\\r\\nBcc: x@y.z").replace("'", '"'),
            "notify.email.recipients[0]",
            "plain address",
        ),
        ("[notify]\nmqtt_topic = 'a'", "notify.mqtt_topic", "[mqtt]"),
        (
            "[mqtt]\nhost = 'h'\n[notify]\nmqtt_topic = 'heatwindow/readings/alarm'",
            "notify.mqtt_topic",
            "read back as readings",
        ),
        (
            "[mqtt]\nhost = 'h'\n[notify]\nmqtt_topic = 'a/#'",
            "notify.mqtt_topic",
            "without '+' or '#'",
        ),
        (
            "[[serial]]\nport = '/dev/null'\n[[serial]]\nport = '/dev/../dev/null'",
            "serial[1].port",
            "same port as serial[0]",
        ),
        (
            "[[log_file]]\npath = 'a.csv'\n[[log_file]]\npath = './a.csv'",
            "log_file[1].path",
            "same file as log_file[0]",
        ),
        ('[[serial]]\nport = "a\\u0000b"', "serial[0].port", "NUL"),
        ('[[log_file]]\npath = "a\\u0000b"', "log_file[0].path", "NUL"),
        ("[[log_file]]\nprofile = 'csv'", "log_file[0].path", "is missing"),
        (
            "[[serial]]\nport = 'p'\nprofile = 'regex:(?P<value>['",
            "serial[0].profile",
            "unterminated character set",
        ),
        (
            "[[serial]]\nport = 'p'\nprofile = 'regex:(?P<value>.+)'",
            "serial[0]",
            "needs a group (?P<name>…) or a fixed name",
        ),
        (
            "[[serial]]\nport = 'p'\nprofile = 'regex:(?P<value>.+)'\nchannel='a b'",
            "serial[0]",
            "'a b' is not letters",
        ),
        (
            "[[serial]]\nport = 'p'\nprofile='regex:(?P<value>.)'\nchannel='a'\nunit='furlong'",
            "serial[0]",
            "'furlong' is not one of",
        ),
        ("[[serial]]\nport = 'p'\nunit = 'Cel'", "serial[0]", "regex:… only"),
        ("[[log_file]]\npath = 'p'\nprofile = 'csv:1,2'", "log_file[0].profile", "header"),
        (
            "[[serial]]\nport = '/dev/null'\n[notify]\nserial_port = '/dev/null'",
            "notify.serial_port",
            "already read by serial[0]",
        ),
    ],
)
def test_rules(tmp_path: Path, text: str, key: str, rule: str) -> None:
    faults = refused(tmp_path, text)
    assert rule in faults[key]
    assert "hush" not in faults[key]


def test_a_password_under_a_mistyped_key_is_not_shown(tmp_path: Path) -> None:
    faults = refused(tmp_path, "[mqtt]\nhost = 'h'\npasword = 'hunter2'\n[mqqt]\nx = 'hunter2'")
    assert "hunter2" not in "".join(faults.values())
    assert "password_file" in faults["mqtt.pasword"]


@pytest.mark.parametrize(
    ("content", "rule"),
    [
        (b"a = [", "is not TOML"),
        (b"a = 1\na = 2", "is not TOML"),
        (b"# \xff", "is not UTF-8"),
    ],
)
def test_what_is_not_toml_is_named(tmp_path: Path, content: bytes, rule: str) -> None:
    file = tmp_path / "shop.toml"
    file.write_bytes(content)
    with pytest.raises(ConfigRefused, match=rule):
        load(file)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(ConfigRefused, match=r"absent.toml: cannot be read: No such file"):
        load(tmp_path / "absent.toml")


def test_the_derived_client_id_suits_every_broker_and_stays() -> None:
    """1 to 23 characters of 0-9a-zA-Z must be accepted: MQTT 3.1.1, section 3.1.3.1."""
    one = derived_client_id("machine", "sqlite:////a/shop.db")
    assert one == derived_client_id("machine", "sqlite:////a/shop.db")
    assert len(one) == 23
    assert (
        len(
            {one, derived_client_id("m", "sqlite:////a/shop.db"), derived_client_id("machine", "b")}
        )
        == 3
    )


@pytest.mark.parametrize(
    ("topic_filter", "topic", "answer"),
    [
        # The examples of MQTT 3.1.1, sections 4.7.1.2, 4.7.1.3 and 4.7.2.
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
        ("sport/#", "sport", True),
        ("#", "anything/at/all", True),
        ("sport/tennis/+", "sport/tennis/player1", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
        ("+/+", "/finance", True),
        ("/+", "/finance", True),
        ("+", "/finance", False),
        ("#", "$SYS/uptime", False),
        ("+/monitor/Clients", "$SYS/monitor/Clients", False),
        ("$SYS/#", "$SYS/uptime", True),
    ],
)
def test_topic_filters_match_as_the_standard_says(
    topic_filter: str, topic: str, answer: bool
) -> None:
    assert filter_fault(topic_filter) is None
    assert matches(topic_filter, topic) is answer


@pytest.mark.parametrize("bad", ["sport/tennis#", "sport/tennis/#/ranking", "sport+", "a\0b"])
def test_bad_topic_filters_are_refused(bad: str) -> None:
    """The invalid examples of MQTT 3.1.1, sections 4.7.1.2, 4.7.1.3 and 4.7.3."""
    assert filter_fault(bad) is not None


_KEYS = st.sampled_from(
    [
        "store",
        "serial",
        "log_file",
        "path",
        "profile",
        "mqtt",
        "dashboard",
        "notify",
        "url",
        "port",
        "host",
        "topics",
        "nonsense",
    ]
)
_LEAVES = st.one_of(
    st.integers(-10, 10**7),
    st.booleans(),
    st.floats(),
    st.text(alphabet="ab/#+\0 é", max_size=8),
)
_TREES = st.recursive(
    _LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=4)
)


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(inner) for inner in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        escaped = value.replace("\0", "\\u0000")
        return f'"{escaped}"'
    return repr(value)


@settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.dictionaries(_KEYS, _TREES, max_size=4))
def test_any_toml_is_accepted_or_refused_with_its_keys_named(
    tmp_path: Path, tree: dict[str, object]
) -> None:
    text = "\n".join(f"{key} = {_toml(value)}" for key, value in tree.items())
    assert set(tomllib.loads(text)) == set(tree)
    file = tmp_path / "any.toml"
    file.write_text(text, encoding="utf-8")
    faults: list[ConfigFault] = []
    config = None
    try:
        config = load(file)
    except ConfigRefused as refusal:
        faults = refusal.faults
    assert bool(faults) is (config is None)
    for fault in faults:
        assert fault.key.split(".")[0].split("[")[0] in tree
        assert fault.rule
    if config is not None:
        assert set(tree) <= set(Config.model_fields)
        assert config.database_url.startswith("sqlite:////")


@given(
    st.sampled_from(["", "store", "serial[0]", "log_file[0]", "mqtt", "dashboard", "notify"]),
    st.text("xyz", min_size=4, max_size=9),
)
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_an_unknown_key_is_refused_in_every_table(tmp_path: Path, table: str, key: str) -> None:
    head = {
        "": "",
        "serial[0]": "[[serial]]\nport='p'\n",
        "log_file[0]": "[[log_file]]\npath='p'\n",
        "mqtt": "[mqtt]\nhost='h'\n",
    }
    file = tmp_path / "any.toml"
    file.write_text(head.get(table, f"[{table}]\n") + f"{key} = 1\n", encoding="utf-8")
    with pytest.raises(ConfigRefused) as caught:
        load(file)
    assert [fault.key for fault in caught.value.faults] == [f"{table}.{key}" if table else key]
    assert "unknown key" in caught.value.faults[0].rule


def test_a_webhook_and_a_mail_server_with_their_secrets_elsewhere(tmp_path: Path) -> None:
    (tmp_path / "token").write_text("mF_9.B5f-4.1JqM\n", encoding="utf-8")
    (tmp_path / "password").write_text("open sesame\n", encoding="utf-8")
    config = accepted(
        tmp_path,
        """
        [notify.webhook]
        url = "https://relay.mill.example/hooks/9?x=1"
        password_file = "token"
        [notify.email]
        host = "mail.mill.example"
        username = "bench"
        password_file = "password"
        sender = "bench@mill.example"
        recipients = ["night@mill.example"]
        """,
    )
    webhook, email = config.notify.webhook, config.notify.email
    assert webhook is not None
    assert email is not None
    assert webhook.server == ("relay.mill.example", 443)
    assert webhook.password_file == tmp_path.resolve() / "token"
    assert not webhook.verdicts
    assert (email.server_port, email.every_s) == (587, 60.0)
    assert email.password_file == tmp_path.resolve() / "password"
    assert "sesame" not in repr(config)


@pytest.mark.parametrize(("security", "port"), [("starttls", 587), ("tls", 465), ("none", 25)])
def test_the_usual_mail_ports(tmp_path: Path, security: str, port: int) -> None:
    """RFC 6409, RFC 8314, RFC 5321."""
    config = accepted(tmp_path, f"{EMAIL}security = '{security}'")
    assert config.notify.email is not None
    assert config.notify.email.server_port == port


def test_this_machine_needs_no_secure_line(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("mF_9", encoding="utf-8")
    text = "[notify.webhook]\nurl = 'http://127.0.0.1:8123/'\npassword_file = 'secret'\n"
    mail = EMAIL.replace("'h'", "'localhost'")
    mail += "security = 'none'\nusername = 'me'\npassword_file = 'secret'"
    config = accepted(tmp_path, text + mail)
    assert config.notify.webhook is not None
    assert config.notify.webhook.server == ("127.0.0.1", 8123)


def test_what_may_be_a_secret_is_not_shown_in_a_fault(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("T0P SECRET", encoding="utf-8")
    for text in (
        "[notify.webhook]\nurl = 'https://me:T0P@h/SECRET'",
        "[notify.webhook]\nurl = 'h/SECRET'",
        "[notify.webhook]\nurl = 'https://h'\npassword = 'T0P SECRET'",
        "[notify.webhook]\nurl = 'https://h'\npassword_file = 'secret'",
        f"{EMAIL}password = 'T0P SECRET'",
    ):
        (fault,) = refused(tmp_path, text).values()
        assert "T0P" not in fault
        assert "SECRET" not in fault


def test_a_url_that_the_library_stumbles_over_is_a_fault_too(tmp_path):
    """Found by the fuzzer: an empty port is no number, and the library says so in its own way."""
    file = tmp_path / "shop.toml"
    file.write_text('[store]\nurl = "sqlite://:///shop.db"\n')
    with pytest.raises(ConfigRefused, match=r"store\.url: must be a URL such as"):
        load(file)
