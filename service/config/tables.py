"""The tables of the config file, but ``[notify]``, and the rules each keeps by itself."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from service.config import topics
from service.config.fields import FilePath, Table, Text, fault, this_machine
from service.config.identity import default_database_url, derived_client_id, machine_id
from service.config.notify import NotifyConfig
from service.wire.profiles import LineProfile, make_profile

Port = Annotated[int, Field(ge=0, le=65535)]


def _topic_filter(text: str) -> str:
    wrong = topics.filter_fault(text)
    if wrong is not None:
        raise fault(f"{wrong} (MQTT 3.1.1, section 4.7)")
    return text


TopicFilter = Annotated[Text, AfterValidator(_topic_filter)]


class StoreConfig(Table):
    """Where readings are kept.

    Attributes:
        url: SQLAlchemy database URL; absent: ``shop.db`` in the user's data directory.
        commit_window_ms: Collect readings this long before a commit [ms]; 0 commits whatever is
            queued at once. For worn memory cards only.
        spool_readings: How many readings are kept in memory while commits fail.
    """

    url: Text | None = None
    commit_window_ms: Annotated[int, Field(ge=0, le=5000)] = 0
    spool_readings: Annotated[int, Field(ge=1000, le=10_000_000)] = 200_000


def _profile(text: str) -> str:
    try:
        # Whether a channel and a unit are needed is known only with the rest of the table.
        make_profile(text, "channel", "Cel")
    except ValueError as error:
        raise fault(str(error)) from None
    return text


class _Lines(Table):
    """What any link of text lines has.

    Attributes:
        profile: What the lines carry: ``senml`` (SenML JSON, one pack to a line),
            ``name=value``, ``csv``, ``csv:`` and a header, ``regex:`` and an expression; see
            ``service.wire.profiles``.
        channel: Channel name, for an expression without a group ``name``.
        unit: Unit of the numbers, for an expression without a group ``unit``.
    """

    profile: Annotated[Text, AfterValidator(_profile)] = "senml"
    channel: Text | None = None
    unit: Text | None = None

    @model_validator(mode="after")
    def _fits_the_profile(self) -> Self:
        if not self.profile.startswith("regex:"):
            if self.channel is not None or self.unit is not None:
                raise fault("channel and unit belong to a profile regex:… only")
            return self
        try:
            self.line_profile()
        except ValueError as error:
            raise fault(str(error)) from None
        return self

    def line_profile(self) -> LineProfile:
        """A decoder of its own for the link."""
        return make_profile(self.profile, self.channel, self.unit)


class SerialConfig(_Lines):
    """One serial link.

    Attributes:
        port: ``usb:VID:PID:SERIAL``, or a device path; on Linux one below ``/dev/serial``
            survives renumbering.
        baud: Line speed [bit/s].
    """

    port: Text
    baud: Annotated[int, Field(ge=300, le=4_000_000)] = 115_200


class LogFileConfig(_Lines):
    """A log that another program writes, followed as it grows.

    Attributes:
        path: The file; it may come later.
        from_start: Read what is in it already. For lines that carry their own times: those are
            kept once however often the file is read.
    """

    path: FilePath
    profile: Annotated[Text, AfterValidator(_profile)] = "csv"
    from_start: bool = False


class MqttConfig(Table):
    """The broker readings come from.

    Attributes:
        host: Name or address.
        port: TCP port; 1883 plain and 8883 with TLS are the registered ones.
        topics: Topic filters to subscribe to (MQTT 3.1.1, section 4.7).
        client_id: Fixed session name; absent: derived, see ``Config.client_id``.
        username: User name, if the broker asks for one.
        password_file: File holding the password; a line end after it is dropped.
        tls_ca_file: Certificate authority (PEM); its presence switches TLS on.
        tls_cert_file: Own certificate (PEM), with ``tls_key_file``.
        tls_key_file: Own key (PEM), with ``tls_cert_file``.
    """

    host: Text
    port: Annotated[int, Field(ge=1, le=65535)] = 1883
    topics: Annotated[list[TopicFilter], Field(min_length=1, max_length=100)] = Field(
        default_factory=lambda: ["heatwindow/readings/#"]
    )
    client_id: Annotated[str, Field(min_length=1, max_length=64)] | None = None
    username: Text | None = None
    password_file: FilePath | None = None
    tls_ca_file: FilePath | None = None
    tls_cert_file: FilePath | None = None
    tls_key_file: FilePath | None = None

    @model_validator(mode="after")
    def _belongs_together(self) -> MqttConfig:
        if self.password_file is not None and self.username is None:
            raise fault("password_file needs a username (MQTT 3.1.1, section 3.1.2.9)")
        if (self.tls_cert_file is None) != (self.tls_key_file is None):
            raise fault("tls_cert_file and tls_key_file go together")
        if self.tls_cert_file is not None and self.tls_ca_file is None:
            raise fault("tls_cert_file needs tls_ca_file, which switches TLS on")
        return self

    def password(self) -> str | None:
        """The password from ``password_file``, without its line end.

        Raises:
            OSError: The file cannot be read any more (it could when the config was loaded).
        """
        if self.password_file is None:
            return None
        return self.password_file.read_text(encoding="utf-8").rstrip("\r\n")


class DashboardConfig(Table):
    """Where the page is served; port 0 takes any free port.

    Attributes:
        host: Address or name to listen on.
        port: TCP port.
        names: More names that browsers may ask for: that of a proxy in front of it.
    """

    host: Text = "127.0.0.1"
    port: Port = 8080
    names: Annotated[list[Text], Field(max_length=20)] = Field(default_factory=list)

    @property
    def on_loopback(self) -> bool:
        """Whether only this machine can reach the page."""
        return this_machine(self.host)


class Config(Table):
    """The whole file."""

    store: StoreConfig = StoreConfig()
    serial: list[SerialConfig] = Field(default_factory=list, max_length=64)
    log_file: list[LogFileConfig] = Field(default_factory=list, max_length=64)
    mqtt: MqttConfig | None = None
    dashboard: DashboardConfig = DashboardConfig()
    notify: NotifyConfig = NotifyConfig()

    @property
    def database_url(self) -> str:
        """The store's URL, with the default in place."""
        return self.store.url or default_database_url()

    @property
    def client_id(self) -> str:
        """The MQTT client id: as configured, else the same at every start of this shop."""
        if self.mqtt is not None and self.mqtt.client_id is not None:
            return self.mqtt.client_id
        return derived_client_id(machine_id(), self.database_url)
