"""E-mail for alarms that must be heard: for who is not in the shop.

One mail for each alarm that is raised or worsens, and no more than one in so many seconds: what
comes meanwhile stands together in the next. An alarm that somebody acknowledges before its turn is
not mailed. Returns and verdicts are not mailed at all.

The connection is checked TLS (RFC 8314) or STARTTLS (RFC 3207) unless the config says otherwise; a
server that does not offer STARTTLS gets neither password nor mail.
"""

from __future__ import annotations

import datetime
import smtplib
import ssl
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid
from functools import partial
from pathlib import Path
from typing import Literal

from service.judge.events import AlarmChange, Outcome
from service.notify.forms import TrialNotice
from service.notify.network import (
    ATTEMPT_S,
    NETWORK_PAUSES_S,
    STEP_S,
    NetworkOutlet,
    network_words,
    read_secret,
    tls_context,
)
from service.notify.outlet import QUEUE_LIMIT, Change, TellFailed

Security = Literal["starttls", "tls", "none"]
OURSELVES = "[127.0.0.1]"
"""How we greet: a bench computer has no name of its own (address literal, RFC 5321, 4.1.3)."""
SUBJECT_CHARS = 150
FOOT = (
    "Sent by heatwindow. Look at its page before you decide; acknowledge the alarm there.\n"
    "It advises and is no safety system.\n"
)


@dataclass(frozen=True, slots=True)
class MailServer:
    """Who takes our mail.

    Attributes:
        host: Name or address.
        port: TCP port.
        security: TLS from the start, after STARTTLS, or none.
        username: Name to log in with, if any.
        password_file: Holds its password.
        tls_ca_file: Authority to trust instead of the system's.
    """

    host: str
    port: int
    security: Security = "starttls"
    username: str | None = None
    password_file: Path | None = None
    tls_ca_file: Path | None = None


class Mail(NetworkOutlet):
    """Sends mail through one server.

    Args:
        server: Which.
        sender: Our address.
        recipients: Theirs.
        every_s: At most one mail in so long [s, real]; a trial is not counted.
        pauses_s: Between attempts [s, real].
        attempt_s: Longest attempt [s, real].
    """

    def __init__(
        self,
        server: MailServer,
        sender: str,
        recipients: Sequence[str],
        *,
        every_s: float,
        pauses_s: Sequence[float] = NETWORK_PAUSES_S,
        attempt_s: float = ATTEMPT_S,
    ) -> None:
        super().__init__("email", "e-mail", pauses_s, attempt_s)
        self._server = server
        self._sender = sender
        self._recipients = list(recipients)
        self._every_s = every_s
        self._owed: dict[int, AlarmChange] = {}
        self._next_s = 0.0

    def hear(self, outcome: Outcome) -> None:
        """Note what has to be mailed; never blocks and never raises."""
        if not outcome.alarms:
            return
        with self._work:
            for change in outcome.alarms:
                self._note(change)
            self._work.notify_all()

    def _note(self, change: AlarmChange) -> None:
        owed = self._owed
        if change.speak:
            owed[change.alarm_id] = change
        elif change.alarm_id in owed:
            if change.state in ("acknowledged", "normal"):
                del owed[change.alarm_id]  # somebody has seen it
            else:
                owed[change.alarm_id] = change
        if len(owed) > QUEUE_LIMIT:
            del owed[next(iter(owed))]
            self._dropped += 1

    def waiting(self) -> int:
        """Alarms not mailed yet."""
        return len(self._owed)

    def _run(self) -> None:
        while not self._stopping.is_set():
            batch = self._wait_for_turn()
            if not batch:
                self.serve_trial()
                continue
            self.attempt(partial(self._send, _alarm_mail(batch)))
            self._next_s = time.monotonic() + self._every_s
        self._forget_trial()

    def _wait_for_turn(self) -> list[AlarmChange]:
        """What to mail, when its time has come; nothing for a trial or the end."""
        with self._work:
            while not self._stopping.is_set() and self._trial_due is None:
                left_s = None
                if self._owed:
                    left_s = self._next_s - time.monotonic()
                    if left_s <= 0:
                        batch, self._owed = list(self._owed.values()), {}
                        return batch
                self._work.wait(left_s)
        return []

    def deliver(self, change: Change) -> None:
        """Mail one alarm, without waiting for others.

        Raises:
            TellFailed: The server did not take it.
        """
        if isinstance(change, AlarmChange):
            self._send(_alarm_mail([change]))

    def deliver_trial(self, notice: TrialNotice) -> str:
        """Mail a test notice.

        Raises:
            TellFailed: The server did not take it.
        """
        text = f"{_clock(notice.at_us)}  {notice.text}\n\n{FOOT}"
        self._send(_mail("heatwindow: test notice", text, notice.at_us))
        return f"{self._server.host} has taken it, recipients: {len(self._recipients)}"

    def _send(self, mail: EmailMessage) -> None:
        server = self._server
        if mail["To"] is None:
            mail["From"], mail["To"] = self._sender, ", ".join(self._recipients)
        secret = None if server.password_file is None else read_secret(server.password_file)
        context = None if server.security == "none" else tls_context(server.tls_ca_file)
        line = _SecureLine(server.host, context) if server.security == "tls" else _Line(server.host)

        def work() -> None:
            try:
                self._talk(line, mail, secret, context)
            except smtplib.SMTPException as error:
                raise self._refused(error) from None
            except OSError as error:
                raise TellFailed(f"{self._where}: {network_words(error)}") from error
            finally:
                line.close()

        self.errand(work, lambda: line.sock)

    @property
    def _where(self) -> str:
        return f"{self._server.host} port {self._server.port}"

    def _talk(
        self,
        line: smtplib.SMTP,
        mail: EmailMessage,
        secret: str | None,
        context: ssl.SSLContext | None,
    ) -> None:
        server = self._server
        code, said = line.connect(server.host, server.port)
        if code != 220:
            raise smtplib.SMTPConnectError(code, said)
        if server.security == "starttls":
            line.starttls(context=context)
        if server.username is not None and secret is not None:
            try:
                line.login(server.username, secret)
            except UnicodeEncodeError:
                text = f"{self._where}: name and password must be ASCII for this server"
                raise TellFailed(text, lasting=True) from None
        refused = line.send_message(mail, self._sender, self._recipients)
        if refused:
            named = ", ".join(f"{to} ({code})" for to, (code, _) in refused.items())
            # The others have it; a second attempt would give it to them twice.
            raise TellFailed(f"{self._where} refuses {named}", lasting=True)
        with suppress(smtplib.SMTPException, OSError):  # it has the mail; a rude end is no failure
            line.quit()

    def _refused(self, error: smtplib.SMTPException) -> TellFailed:
        """The server's answer in words; what it says to a failed login is left out."""
        where = self._where
        match error:
            case smtplib.SMTPAuthenticationError(smtp_code=code):
                text = f"{where} does not take the name or the password ({code})"
                return TellFailed(text, lasting=code >= 500)
            case smtplib.SMTPNotSupportedError():
                return TellFailed(f"{where}: {error}".rstrip("."), lasting=True)
            case smtplib.SMTPRecipientsRefused(recipients=refused):
                codes = {code for code, _ in refused.values()}
                named = ", ".join(f"{to} ({code})" for to, (code, _) in refused.items())
                return TellFailed(f"{where} refuses {named}", lasting=min(codes) >= 500)
            case smtplib.SMTPResponseException(smtp_code=code, smtp_error=said):
                words = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)
                flat = " ".join(words.split())[:120]
                return TellFailed(f"{where} refuses: {code} {flat}", lasting=code >= 500)
            case smtplib.SMTPServerDisconnected():
                return TellFailed(f"{where} hung up")
            case _:
                return TellFailed(f"{where}: {type(error).__name__}")


class _Line(smtplib.SMTP):
    """Made without connecting, so that its socket can be shut from outside from the start."""

    def __init__(self, host: str) -> None:
        super().__init__(local_hostname=OURSELVES, timeout=STEP_S)
        self._host = host  # the name that a certificate is held against


class _SecureLine(smtplib.SMTP_SSL):
    def __init__(self, host: str, context: ssl.SSLContext | None) -> None:
        super().__init__(local_hostname=OURSELVES, timeout=STEP_S, context=context)
        self._host = host


def _alarm_mail(changes: Sequence[AlarmChange]) -> EmailMessage:
    """One mail for everything that has to be told now, oldest first."""
    first = changes[0]
    subject = f"{first.kind}: {first.text}"
    if len(changes) > 1:
        kinds = ", ".join(dict.fromkeys(change.kind for change in changes))
        subject = f"{len(changes)} alarms: {kinds}"
    lines = [_line(change) for change in changes]
    return _mail(f"heatwindow: {subject}", "\n".join([*lines, "", FOOT]), changes[-1].at_us)


def _line(change: AlarmChange) -> str:
    over = " (over by itself, not yet seen)" if change.state == "returned" else ""
    return f"{_clock(change.since_us)}  {change.kind}: {change.text}{over}"


def _mail(subject: str, text: str, at_us: int) -> EmailMessage:
    mail = EmailMessage()
    mail["Subject"] = " ".join(subject.split())[:SUBJECT_CHARS]
    mail["Date"] = format_datetime(_moment(at_us))
    mail["Message-ID"] = make_msgid(domain="heatwindow.invalid")
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: nobody's absence note shall answer
    mail.set_content(text)
    return mail


def _moment(at_us: int) -> datetime.datetime:
    return datetime.datetime.fromtimestamp(at_us // 1_000_000, datetime.UTC)


def _clock(at_us: int) -> str:
    return f"{_moment(at_us):%Y-%m-%d %H:%M:%S} UTC"
