"""The webhook against a real HTTP server, plain and with TLS, well and ill behaved."""

from __future__ import annotations

import base64
import json
import logging
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
import trustme

from service.judge.events import Outcome
from service.notify.forms import TrialNotice
from service.notify.outlet import QUEUE_LIMIT
from service.notify.webhook import WebAddress, Webhook

Alarm = Callable[..., Outcome]
Wait = Callable[[Callable[[], bool], str], None]
AT_US = 1_764_000_000_250_000


@dataclass
class Receiver:
    """An HTTP server that keeps what it gets and answers as told.

    ``answers`` holds a status, or a status with headers, for each request to come; then 204.
    """

    tls: ssl.SSLContext | None = None
    got: list[tuple[str, dict[str, str], dict[str, Any]]] = field(default_factory=list)
    answers: list[tuple[int, dict[str, str]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                receiver.got.append((self.path, dict(self.headers), json.loads(body)))
                status, headers = receiver.answers.pop(0) if receiver.answers else (204, {})
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        if self.tls is not None:
            self.server.socket = self.tls.wrap_socket(self.server.socket, server_side=True)
        # What a client does to a handshake is the client's affair here.
        self.server.handle_error = lambda *_: None  # type: ignore[method-assign]
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True)
        self.thread.start()

    @property
    def port(self) -> int:
        return self.server.server_address[1]

    @property
    def bodies(self) -> list[dict[str, Any]]:
        return [body for _, _, body in self.got]

    def close(self) -> None:
        self.server.shutdown()
        self.thread.join()
        self.server.server_close()


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    made = Receiver()
    yield made
    made.close()


@pytest.fixture
def start() -> Iterator[Callable[..., Webhook]]:
    with ExitStack() as stack:

        def make(url: str, verdicts: bool = False, attempt_s: float = 20.0, **more: Any) -> Webhook:
            outlet = Webhook(WebAddress(url, **more), verdicts, (0.01, 0.01), attempt_s)
            outlet.start()
            stack.callback(lambda: outlet.stop(10.0) or pytest.fail("it did not stop"))
            return outlet

        yield make


def test_an_alarm_is_posted_as_it_stands_on_the_bench(
    receiver: Receiver, start: Callable[..., Webhook], alarm: Alarm, verdict: Any, wait_until: Wait
) -> None:
    outlet = start(f"http://127.0.0.1:{receiver.port}/alarms?shop=mill")
    outlet.hear(verdict())  # not wanted
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().told == 1, "the alarm")
    ((path, headers, body),) = receiver.got
    assert path == "/alarms?shop=mill"
    assert headers["Content-Type"] == "application/json"
    assert headers["User-Agent"].startswith("heatwindow/")
    assert "Authorization" not in headers
    assert body == {
        "event": "alarm",
        "id": 1,
        "kind": "purge lost",
        "part_id": 3,
        "channel": None,
        "state": "unacknowledged",
        "since": "2025-11-24T16:00:00.250Z",
        "at": "2025-11-24T16:00:00.250Z",
        "text": "Pump engine manifold at 210 °C: no argon is flowing",
        "speak": True,
    }


def test_verdicts_where_they_are_wanted_in_order(
    receiver: Receiver, start: Callable[..., Webhook], alarm: Alarm, verdict: Any, wait_until: Wait
) -> None:
    outlet = start(f"http://127.0.0.1:{receiver.port}", verdicts=True)
    outlet.hear(alarm())
    outlet.hear(verdict())
    outlet.hear(alarm(state="acknowledged"))
    wait_until(lambda: outlet.status().told == 3, "three posts")
    assert [body["event"] for body in receiver.bodies] == ["alarm", "verdict", "alarm"]
    assert receiver.bodies[1]["verdict"] == "wait"
    assert [path for path, _, _ in receiver.got] == ["/", "/", "/"]


@pytest.mark.parametrize("status", [408, 425, 429, 500, 502, 503, 504])
def test_a_passing_trouble_is_tried_again(
    status: int, receiver: Receiver, start: Callable[..., Webhook], alarm: Alarm, wait_until: Wait
) -> None:
    receiver.answers = [(status, {}), (status, {"Retry-After": "0"})]
    outlet = start(f"http://127.0.0.1:{receiver.port}/")
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().told == 1, "the third attempt")
    assert len(receiver.got) == 3
    assert receiver.bodies[0] == receiver.bodies[1] == receiver.bodies[2]
    assert outlet.status().failed == 0
    assert outlet.status().working
    assert f"answered {status}" in str(outlet.status().last_error)


def test_attempts_are_limited(
    receiver: Receiver, start: Callable[..., Webhook], alarm: Alarm, wait_until: Wait
) -> None:
    receiver.answers = [(503, {})] * 3
    outlet = start(f"http://127.0.0.1:{receiver.port}/")
    outlet.hear(alarm(1))
    outlet.hear(alarm(2))
    wait_until(lambda: outlet.status().told == 1, "the second alarm")
    assert outlet.status().failed == 1
    assert [body["id"] for body in receiver.bodies] == [1, 1, 1, 2]


@pytest.mark.parametrize("status", [301, 307, 400, 401, 403, 404, 410, 422])
def test_what_would_fail_again_is_given_up_at_once(
    status: int, receiver: Receiver, start: Callable[..., Webhook], alarm: Alarm, wait_until: Wait
) -> None:
    receiver.answers = [(status, {"Location": f"http://127.0.0.1:{receiver.port}/secret"})]
    outlet = start(f"http://127.0.0.1:{receiver.port}/")
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert len(receiver.got) == 1
    assert str(status) in str(outlet.status().last_error)
    assert "secret" not in str(outlet.status().last_error)


def test_a_receiver_that_asks_for_time_gets_it(
    receiver: Receiver, start: Callable[..., Webhook], alarm: Alarm, wait_until: Wait
) -> None:
    """Longer than our own pause: a trial meanwhile shows that it waits, and is served."""
    receiver.answers = [(429, {"Retry-After": "600"})]
    outlet = start(f"http://127.0.0.1:{receiver.port}/")
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().working is False, "the first attempt")
    outlet.try_out(TrialNotice(AT_US))
    wait_until(lambda: outlet.status().trial.state == "told", "the trial in the pause")
    assert [body["event"] for body in receiver.bodies] == ["alarm", "test"]
    assert (outlet.status().told, outlet.status().failed) == (0, 0)


def test_nobody_there_is_named_without_the_secret_part_of_the_address(
    start: Callable[..., Webhook],
    alarm: Alarm,
    wait_until: Wait,
    caplog: pytest.LogCaptureFixture,
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    outlet = start(f"http://127.0.0.1:{port}/hooks/T0PSECRET?key=HUSH")
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert outlet.status().last_error == f"http://127.0.0.1:{port}: connection refused"
    assert "T0PSECRET" not in caplog.text
    assert "HUSH" not in caplog.text
    assert len(caplog.records) == 1, "each new sort of failure once, not every attempt"


@pytest.mark.parametrize(
    ("username", "secret", "header"),
    [
        (None, "mF_9.B5f-4.1JqM", "Bearer mF_9.B5f-4.1JqM"),  # RFC 6750, section 2.1
        ("Aladdin", "open sesame", "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ=="),  # RFC 7617, section 2
        ("mill", "grün", f"Basic {base64.b64encode('mill:grün'.encode()).decode()}"),
    ],
)
def test_who_we_are_comes_from_the_password_file_each_time(
    username: str | None,
    secret: str,
    header: str,
    receiver: Receiver,
    start: Callable[..., Webhook],
    alarm: Alarm,
    wait_until: Wait,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    file = tmp_path / "secret"
    file.write_text(f"{secret}\n", encoding="utf-8")
    receiver.answers = [(401, {})]
    with caplog.at_level(logging.DEBUG):
        outlet = start(f"http://127.0.0.1:{receiver.port}/", username=username, password_file=file)
        outlet.hear(alarm())
        wait_until(lambda: outlet.status().failed == 1, "the refusal")
    assert receiver.got[0][1]["Authorization"] == header
    assert secret not in caplog.text
    assert secret not in str(outlet.status())
    file.write_text("changed", encoding="utf-8")
    outlet.hear(alarm())
    wait_until(lambda: len(receiver.got) == 2, "the second")
    assert receiver.got[1][1]["Authorization"] != header


@pytest.mark.parametrize(
    "secret", ["T0PSECRET\nlines", "T0PSECRET more", "T0PSECRETü", "", "T0P\rSECRET"]
)
def test_what_is_no_token_is_never_sent_and_never_shown(
    secret: str,
    receiver: Receiver,
    start: Callable[..., Webhook],
    alarm: Alarm,
    wait_until: Wait,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    file = tmp_path / "token-file"
    file.write_bytes(secret.encode())
    outlet = start(f"http://127.0.0.1:{receiver.port}/", password_file=file)
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert receiver.got == []
    assert "token-file does not hold a token" in str(outlet.status().last_error)
    assert "T0P" not in caplog.text


def test_a_password_file_that_has_gone_is_named(
    receiver: Receiver, start: Callable[..., Webhook], alarm: Alarm, wait_until: Wait
) -> None:
    outlet = start(f"http://127.0.0.1:{receiver.port}/", password_file=Path("/no/such/file"))
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    assert "/no/such/file cannot be read" in str(outlet.status().last_error)


def test_a_secure_receiver_is_checked(
    start: Callable[..., Webhook], alarm: Alarm, wait_until: Wait, tmp_path: Path
) -> None:
    ours, theirs = trustme.CA(), trustme.CA()
    for name, authority in (("ours", ours), ("theirs", theirs)):
        authority.cert_pem.write_to_path(tmp_path / name)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    ours.issue_cert("127.0.0.1", "localhost").configure_cert(context)
    receiver = Receiver(tls=context)
    try:
        url = f"https://127.0.0.1:{receiver.port}/"
        trusting = start(url, tls_ca_file=tmp_path / "ours")
        trusting.hear(alarm())
        wait_until(lambda: trusting.status().told == 1, "the alarm")
        for more in ({"tls_ca_file": tmp_path / "theirs"}, {}):
            wary = start(url, **more)
            wary.hear(alarm())
            wait_until(lambda wary=wary: wary.status().failed == 1, "giving up")
            assert "its certificate is not trusted" in str(wary.status().last_error)
        assert len(receiver.got) == 1
    finally:
        receiver.close()


class Mute:
    """Takes connections and says nothing, or the same few bytes for ever."""

    def __init__(self, says: bytes = b"") -> None:
        self._says = says
        self._over = threading.Event()
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self.taken: list[socket.socket] = []
        self._threads = [threading.Thread(target=self._take, daemon=True)]
        self._threads[0].start()

    def _take(self) -> None:
        while True:
            try:
                line, _ = self._server.accept()
            except OSError:
                return
            self.taken.append(line)
            if self._says:
                dribble = threading.Thread(target=self._dribble, args=(line,), daemon=True)
                dribble.start()
                self._threads.append(dribble)

    def _dribble(self, line: socket.socket) -> None:
        while not self._over.wait(0.05):
            try:
                line.sendall(self._says)
            except OSError:
                return

    def close(self) -> None:
        self._over.set()
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        for thread in list(self._threads):
            thread.join()
        for line in self.taken:
            line.close()


@pytest.mark.parametrize(
    "says", [b"", b"HTTP/1.1 100 Continue\r\n\r\n", b"x"], ids=["mute", "dribbles", "junk"]
)
def test_a_receiver_that_never_ends_is_left_and_tried_again(
    says: bytes, start: Callable[..., Webhook], alarm: Alarm, wait_until: Wait
) -> None:
    mute = Mute(says)
    outlet = start(f"http://127.0.0.1:{mute.port}/", attempt_s=0.3)
    outlet.hear(alarm())
    wait_until(lambda: outlet.status().failed == 1, "giving up")
    # Told by its end, or by the thread of the attempt before, which may take its time to see it.
    assert "did not end within 0.3 s" in str(outlet.status().last_error) or "hang" in str(
        outlet.status().last_error
    )
    mute.close()


def test_stopping_does_not_wait_for_a_hung_receiver(alarm: Alarm, wait_until: Wait) -> None:
    mute = Mute()
    outlet = Webhook(WebAddress(f"http://127.0.0.1:{mute.port}/"), attempt_s=600.0)
    outlet.start()
    outlet.hear(alarm())
    wait_until(lambda: len(mute.taken) == 1, "the connection")
    assert outlet.stop(10.0)
    mute.close()


def test_hearing_never_waits_and_an_overflow_is_counted(alarm: Alarm, wait_until: Wait) -> None:
    mute = Mute()
    outlet = Webhook(WebAddress(f"http://127.0.0.1:{mute.port}/"), attempt_s=600.0)
    outlet.start()
    outlet.hear(alarm(0))
    wait_until(lambda: len(mute.taken) == 1, "the connection")
    for number in range(1, QUEUE_LIMIT + 8):
        outlet.hear(alarm(number))
    assert outlet.status().dropped == 7
    assert outlet.status().waiting == QUEUE_LIMIT
    assert outlet.stop(10.0)
    mute.close()


def test_a_trial_says_whether_it_went(
    receiver: Receiver, start: Callable[..., Webhook], wait_until: Wait
) -> None:
    outlet = start(f"http://127.0.0.1:{receiver.port}/secret")
    assert outlet.status().trial is None
    assert outlet.status().working is None, "nothing is known of it yet"
    outlet.try_out(TrialNotice(AT_US))
    wait_until(lambda: outlet.status().trial.state != "waiting", "the outcome")
    assert outlet.status().trial.state == "told"
    assert outlet.status().trial.text == f"http://127.0.0.1:{receiver.port} answered 204"
    (body,) = receiver.bodies
    assert (body["event"], body["at"]) == ("test", "2025-11-24T16:00:00.250Z")
    assert outlet.status().working
    receiver.answers = [(500, {})]
    outlet.try_out(TrialNotice(AT_US + 1))
    wait_until(lambda: outlet.status().trial.state == "failed", "the failure")
    assert len(receiver.got) == 2, "once, without a second attempt"
    assert "answered 500" in outlet.status().trial.text
    assert outlet.status().working is False
