"""``[notify]``: who is told of alarms beside the page.

Secrets stand in files of their own, never in the config: they are named by ``password_file`` and
read whenever they are needed.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field, model_validator

from service.config.fields import FilePath, Table, Text, fault, this_machine

SMTP_PORTS = {"starttls": 587, "tls": 465, "none": 25}
"""RFC 6409, RFC 8314 and RFC 5321."""
ADDRESS = re.compile(r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~.-]{1,64}@[A-Za-z0-9.\[\]:-]{1,255}")
"""A plain address (RFC 5321, section 4.1.2), without quotes, names and other alphabets."""
BEARER = re.compile(r"[A-Za-z0-9\-._~+/]+=*")
"""A token (RFC 6750, section 2.1)."""


def _url(text: str) -> str:
    if not re.fullmatch(r"[!-~]+", text):
        raise fault("must be ASCII without blanks; other signs are written as %XX (RFC 3986)")
    try:
        parts = urlsplit(text)
        host, _ = parts.hostname, parts.port
    except ValueError:
        raise fault("is not an address such as https://host/path") from None
    if parts.scheme not in ("http", "https") or not host:
        raise fault("must begin with http:// or https:// and name a host")
    if "@" in parts.netloc:
        raise fault("must not hold a user name: use username and password_file")
    if parts.fragment:
        raise fault("must not hold a fragment (#...)")
    return text


def _address(text: str) -> str:
    if not ADDRESS.fullmatch(text):
        raise fault("must be a plain address such as name@host.example")
    return text


Url = Annotated[Text, AfterValidator(_url)]
Address = Annotated[Text, AfterValidator(_address)]


class WebhookConfig(Table):
    """One address that gets JSON by HTTP POST.

    Attributes:
        url: ``http`` or ``https``. Shown by its host only: the rest may be a secret.
        username: For basic authentication.
        password_file: File with the password; without ``username`` it holds a bearer token.
        tls_ca_file: Authority to trust (PEM) instead of the system's.
        verdicts: Tell of verdicts too, not only of alarms.
    """

    url: Url
    username: Text | None = None
    password_file: FilePath | None = None
    tls_ca_file: FilePath | None = None
    verdicts: bool = False

    @model_validator(mode="after")
    def _belongs_together(self) -> WebhookConfig:
        parts = urlsplit(self.url)
        if self.username is not None and self.password_file is None:
            raise fault("username needs a password_file")
        if self.username is not None and ":" in self.username:
            raise fault("username must not hold a colon (RFC 7617, section 2)")
        if parts.scheme == "http" and self.tls_ca_file is not None:
            raise fault("tls_ca_file needs an https address")
        away = parts.scheme == "http" and not this_machine(parts.hostname or "")
        if away and self.password_file is not None:
            raise fault("password_file needs an https address: http would show it to the network")
        return self

    @property
    def server(self) -> tuple[str, int]:
        """Host and port of the address."""
        parts = urlsplit(self.url)
        return parts.hostname or "", parts.port or (443 if parts.scheme == "https" else 80)

    def token_fault(self) -> bool:
        """Whether the password file is readable and holds something that is no token."""
        if self.password_file is None or self.username is not None:
            return False
        try:
            text = self.password_file.read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError):
            return False  # told already
        return bool(text.strip()) and BEARER.fullmatch(text) is None


class EmailConfig(Table):
    """A mail server and who gets mail.

    Attributes:
        host: Name or address of the server that takes our mail.
        port: TCP port; absent: 587, 465 or 25 after ``security``.
        security: ``starttls``, ``tls`` from the start, or ``none``.
        username: Name to log in with.
        password_file: File with its password.
        tls_ca_file: Authority to trust (PEM) instead of the system's.
        sender: Our address.
        recipients: Who gets the mail.
        every_s: At most one mail in so long [s]; what comes meanwhile stands in the next.
    """

    host: Text
    port: Annotated[int, Field(ge=1, le=65535)] | None = None
    security: Literal["starttls", "tls", "none"] = "starttls"
    username: Text | None = None
    password_file: FilePath | None = None
    tls_ca_file: FilePath | None = None
    sender: Address
    recipients: Annotated[list[Address], Field(min_length=1, max_length=20)]
    every_s: Annotated[float, Field(ge=1, le=86_400, allow_inf_nan=False)] = 60.0

    @model_validator(mode="after")
    def _belongs_together(self) -> EmailConfig:
        if (self.username is None) != (self.password_file is None):
            raise fault("username and password_file go together")
        if self.security == "none" and self.tls_ca_file is not None:
            raise fault("tls_ca_file needs security 'starttls' or 'tls'")
        if (
            self.security == "none"
            and self.password_file is not None
            and not this_machine(self.host)
        ):
            raise fault("password_file needs security 'starttls' or 'tls'")
        return self

    @property
    def server_port(self) -> int:
        """The port, with the default in place."""
        return SMTP_PORTS[self.security] if self.port is None else self.port


class NotifyConfig(Table):
    """Who else is told, beside the page.

    Attributes:
        sounder: Program and arguments run for an alarm that must be heard; no shell.
        sounder_every_s: Repeat until acknowledged, this often [s].
        sounder_timeout_s: Stop the program if it runs longer [s].
        serial_port: Port that gets one text line for each alarm change.
        serial_baud: Its line speed [bit/s].
        mqtt_topic: Topic below which alarms are published; needs ``[mqtt]``.
        webhook: An address that gets JSON by HTTP POST.
        email: A mail server and who gets mail.
    """

    sounder: Annotated[list[Text], Field(min_length=1, max_length=50)] | None = None
    sounder_every_s: Annotated[float, Field(ge=0.2, le=3600, allow_inf_nan=False)] = 10.0
    sounder_timeout_s: Annotated[float, Field(ge=0.2, le=120, allow_inf_nan=False)] = 10.0
    serial_port: Text | None = None
    serial_baud: Annotated[int, Field(ge=300, le=4_000_000)] = 9600
    mqtt_topic: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    webhook: WebhookConfig | None = None
    email: EmailConfig | None = None
