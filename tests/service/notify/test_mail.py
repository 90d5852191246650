"""E-mail through a real SMTP server (aiosmtpd): logged in, secured, refused, flooded, hung."""

from __future__ import annotations

import email.policy
import logging
import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from email import message_from_bytes
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

from service.judge.events import Outcome
from service.notify.forms import TrialNotice
from service.notify.mail import Mail, MailServer

Alarm = Callable[..., Outcome]
Wait = Callable[[Callable[[], bool], str], None]
AT_US = 1_764_000_000_250_000
SENDER, TO = "bench@mill.example", ["night@mill.example", "day@mill.example"]


class Postbox:
    """Takes mail; refuses as told."""

    def __init__(self) -> None:
        self.mails: list[EmailMessage] = []
        self.envelopes: list[Envelope] = []
        self.logins: list[tuple[bytes, bytes]] = []
        self.helo: list[str] = []
        self.data_answers: list[str] = []
        self.bad_recipients: dict[str, str] = {}
        self.password = b"open sesame"

    async def handle_RCPT(  # noqa: N802 - aiosmtpd's name
        self, _server: SMTP, session: Session, envelope: Envelope, address: str, _options: Any
    ) -> str:
        if address in self.bad_recipients:
            return self.bad_recipients[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        answer = self.data_answers.pop(0) if self.data_answers else "250 OK"
        if answer.startswith("250"):
            self.helo.append(str(session.host_name))
            self.envelopes.append(envelope)
            self.mails.append(message_from_bytes(envelope.content, policy=email.policy.default))
        return answer

    def login(
        self, _server: SMTP, _session: Session, _envelope: Envelope, _how: str, given: LoginPassword
    ) -> AuthResult:
        self.logins.append((given.login, given.password))
        return AuthResult(success=given.password == self.password, handled=False)


@pytest.fixture
def postbox() -> Postbox:
    return Postbox()


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> tuple[ssl.SSLContext, Path, Path]:
    """A server's context, the authority behind it, and another one."""
    folder = tmp_path_factory.mktemp("certificates")
    ours, theirs = trustme.CA(), trustme.CA()
    ours.cert_pem.write_to_path(folder / "ours")
    theirs.cert_pem.write_to_path(folder / "theirs")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    ours.issue_cert("127.0.0.1", "localhost").configure_cert(context)
    return context, folder / "ours", folder / "theirs"


@pytest.fixture
def serve(postbox: Postbox) -> Iterator[Callable[..., int]]:
    """Start a server and give its port; STARTTLS is offered only with ``tls_context``."""
    with ExitStack() as stack:

        def make(**more: Any) -> int:
            with socket.create_server(("127.0.0.1", 0)) as free:
                port = int(free.getsockname()[1])
            server = Controller(postbox, hostname="127.0.0.1", port=port, **more)
            server.start()
            stack.callback(server.stop)
            return port

        yield make


@pytest.fixture
def start() -> Iterator[Callable[..., Mail]]:
    with ExitStack() as stack:

        def make(
            port: int, security: str = "none", every_s: float = 0.0, attempt_s: float = 20.0,
            **more: Any,
        ) -> Mail:  # fmt: skip
            outlet = Mail(
                MailServer("127.0.0.1", port, security, **more),
                SENDER,
                TO,
                every_s=every_s,
                pauses_s=(0.01, 0.01),
                attempt_s=attempt_s,
            )
            outlet.start()
            stack.callback(lambda: outlet.stop(10.0) or pytest.fail("it did not stop"))
            return outlet

        yield make


def told(outlet: Mail, count: int = 1) -> Callable[[], bool]:
    return lambda: outlet.status().told == count


def test_an_alarm_arrives_as_a_mail(
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    alarm: Alarm,
    wait_until: Wait,
) -> None:
    outlet = start(serve())
    outlet.hear(alarm())
    wait_until(told(outlet), "the mail")
    (mail,) = postbox.mails
    assert postbox.envelopes[0].mail_from == SENDER
    assert postbox.envelopes[0].rcpt_tos == TO
    assert mail["From"] == SENDER
    assert mail["To"] == ", ".join(TO)
    assert mail["Subject"] == (
        "heatwindow: purge lost: Pump engine manifold at 210 °C: no argon is flowing"
    )
    assert mail["Date"].datetime.isoformat() == "2025-11-24T16:00:00+00:00"
    assert mail["Auto-Submitted"] == "auto-generated"
    text = mail.get_content()
    assert text.splitlines()[0] == (
        "2025-11-24 16:00:00 UTC  purge lost: Pump engine manifold at 210 °C: no argon is flowing"
    )
    assert "no safety system" in text
    assert postbox.helo == ["[127.0.0.1]"]


def test_what_comes_while_one_is_on_its_way_stands_together(
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    alarm: Alarm,
    wait_until: Wait,
) -> None:
    """The second mail waits for its time; an acknowledged alarm is not in it, a return is told."""
    outlet = start(serve(), every_s=1.5)
    outlet.hear(alarm(1))
    wait_until(told(outlet), "the first mail")
    for number in (2, 3, 4, 5):
        outlet.hear(alarm(number))
    outlet.hear(alarm(3, "acknowledged"))
    outlet.hear(alarm(4, "returned"))
    outlet.hear(alarm(5, "returned"))
    outlet.hear(alarm(5, "normal"))
    wait_until(told(outlet, 2), "the second mail")
    assert len(postbox.mails) == 2
    assert postbox.mails[1]["Subject"] == "heatwindow: 2 alarms: purge lost"
    lines = postbox.mails[1].get_content().splitlines()[:2]
    assert "over by itself" not in lines[0]
    assert lines[1].endswith("(over by itself, not yet seen)")


def test_returns_and_verdicts_make_no_mail(
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    alarm: Alarm,
    verdict: Any,
    wait_until: Wait,
) -> None:
    outlet = start(serve())
    outlet.hear(verdict())
    outlet.hear(alarm(1, "returned"))
    outlet.hear(alarm(1, "normal"))
    outlet.hear(alarm(2))
    wait_until(told(outlet), "the mail")
    assert len(postbox.mails) == 1


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_logged_in_over_a_checked_line(
    security: str,
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    certificates: tuple[ssl.SSLContext, Path, Path],
    alarm: Alarm,
    wait_until: Wait,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    context, ours, theirs = certificates
    (tmp_path / "password").write_text("open sesame\n", encoding="utf-8")
    asked = {"authenticator": postbox.login}
    if security == "tls":
        port = serve(ssl_context=context, auth_require_tls=False, **asked)
    else:
        port = serve(tls_context=context, require_starttls=True, auth_required=True, **asked)
    account = {"username": "mill", "password_file": tmp_path / "password"}
    with caplog.at_level(logging.DEBUG):
        outlet = start(port, security, tls_ca_file=ours, **account)
        outlet.hear(alarm())
        wait_until(told(outlet), "the mail")
        assert postbox.logins == [(b"mill", b"open sesame")]
        postbox.password = b"changed"
        outlet.hear(alarm())
        wait_until(lambda: outlet.status().failed == 1, "the refusal")
    assert "does not take the name or the password (535)" in str(outlet.status().last_error)
    assert "sesame" not in caplog.text
    assert "sesame" not in str(outlet.status())
    asked_before = len(postbox.logins)
    assert asked_before <= 3, "one attempt, by each way that the server offers (PLAIN, LOGIN)"
    wary = start(port, security, tls_ca_file=theirs, **account)
    wary.hear(alarm())
    wait_until(lambda: wary.status().failed == 1, "giving up")
    assert "its certificate is not trusted" in str(wary.status().last_error)
    assert len(postbox.logins) == asked_before, "no password for who cannot be trusted"
    assert len(postbox.mails) == 1


def test_no_mail_and_no_password_without_starttls(
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    alarm: Alarm,
    wait_until: Wait,
    tmp_path: Path,
) -> None:
    (tmp_path / "password").write_text("open sesame", encoding="utf-8")
    port = serve(authenticator=postbox.login, auth_require_tls=False)
    outlet = start(port, "starttls", username="mill", password_file=tmp_path / "password")
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert "STARTTLS extension not supported" in str(outlet.status().last_error)
    assert postbox.mails == []
    assert postbox.logins == []


def test_a_password_that_smtp_cannot_carry_is_told(
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    alarm: Alarm,
    wait_until: Wait,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    (tmp_path / "password").write_text("tür", encoding="utf-8")
    port = serve(authenticator=postbox.login, auth_require_tls=False)
    outlet = start(port, username="mill", password_file=tmp_path / "password")
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert "must be ASCII" in str(outlet.status().last_error)
    assert "tür" not in caplog.text


def test_a_passing_refusal_is_tried_again_and_a_lasting_one_is_not(
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    alarm: Alarm,
    wait_until: Wait,
) -> None:
    """RFC 5321, section 4.2.1: 4yz may be repeated, 5yz is not."""
    outlet = start(serve())
    postbox.data_answers = ["451 busy", "452 full", "250 OK"]
    outlet.hear(alarm(1))
    wait_until(told(outlet), "the third attempt")
    assert outlet.status().last_error.endswith("refuses: 452 full")
    postbox.data_answers = ["554 no thanks"]
    outlet.hear(alarm(2))
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert outlet.status().last_error.endswith("refuses: 554 no thanks")
    assert postbox.data_answers == []
    assert len(postbox.mails) == 1


def test_one_bad_address_is_named_and_the_others_get_one_mail(
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    alarm: Alarm,
    wait_until: Wait,
) -> None:
    postbox.bad_recipients = {TO[0]: "550 unknown"}
    outlet = start(serve())
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "the failure")
    assert f"refuses {TO[0]} (550)" in str(outlet.status().last_error)
    assert [envelope.rcpt_tos for envelope in postbox.envelopes] == [[TO[1]]]


@pytest.mark.parametrize(("answer", "attempts"), [("450 later", 3), ("550 unknown", 1)])
def test_every_address_refused(
    answer: str,
    attempts: int,
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    alarm: Alarm,
    wait_until: Wait,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    postbox.bad_recipients = dict.fromkeys(TO, answer)
    outlet = start(serve())
    sent: list[None] = []
    plain = outlet._send
    monkeypatch.setattr(outlet, "_send", lambda mail: (sent.append(None), plain(mail)))
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert len(sent) == attempts
    assert postbox.mails == []


def test_nobody_there_is_named(start: Callable[..., Mail], alarm: Alarm, wait_until: Wait) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    outlet = start(port)
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert outlet.status().last_error == f"127.0.0.1 port {port}: connection refused"


def test_a_server_that_never_greets_is_left(
    start: Callable[..., Mail], alarm: Alarm, wait_until: Wait
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as mute:
        outlet = start(mute.getsockname()[1], attempt_s=0.2)
        outlet.hear(alarm())
        wait_until(lambda: outlet.status().failed == 1, "giving up")
        assert "within 0.2 s" in str(outlet.status().last_error) or "hang" in str(
            outlet.status().last_error
        )


def test_stopping_does_not_wait_for_a_hung_server(alarm: Alarm, wait_until: Wait) -> None:
    with socket.create_server(("127.0.0.1", 0)) as mute:
        port = mute.getsockname()[1]
        outlet = Mail(MailServer("127.0.0.1", port, "none"), SENDER, TO, every_s=0, attempt_s=600.0)
        outlet.start()
        outlet.hear(alarm())
        line, _ = mute.accept()
        assert outlet.stop(10.0)
        line.close()


def test_a_trial_does_not_wait_for_its_turn_and_says_whether_it_went(
    postbox: Postbox,
    serve: Callable[..., int],
    start: Callable[..., Mail],
    alarm: Alarm,
    wait_until: Wait,
) -> None:
    outlet = start(serve(), every_s=3600.0)
    outlet.hear(alarm(1))
    wait_until(told(outlet), "the first mail")
    outlet.hear(alarm(2))
    outlet.try_out(TrialNotice(AT_US))
    wait_until(lambda: outlet.status().trial.state == "told", "the trial")
    assert outlet.status().trial.text == "127.0.0.1 has taken it, recipients: 2"
    assert postbox.mails[1]["Subject"] == "heatwindow: test notice"
    assert "no alarm" in postbox.mails[1].get_content()
    assert outlet.status().waiting == 1, "the alarm still waits for its time"
    postbox.data_answers = ["451 busy"]
    outlet.try_out(TrialNotice(AT_US))
    wait_until(lambda: outlet.status().trial.state == "failed", "the refusal")
    assert outlet.status().trial.text.endswith("refuses: 451 busy")
