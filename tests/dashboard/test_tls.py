"""The page behind a proxy that ends TLS, as on a network that somebody may listen on.

A real handshake against an authority made for the test (trustme), and a proxy that does what every
one does: it passes ``Host`` on as it was, and says whom and how it speaks for.
"""

from __future__ import annotations

import http.client
import json
import ssl
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
import trustme

from dashboard.app import create_app
from dashboard.server import PageServer
from service.commands.assembly import doors_of
from service.config.tables import DashboardConfig

ACT = {"kind": "begin pass", "heat_id": 4}


class Proxy:
    """Ends TLS in front of a page on this machine."""

    def __init__(self, page_port: int, authority: trustme.CA) -> None:
        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                self._pass_on()

            def do_POST(self) -> None:
                self._pass_on()

            def _pass_on(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                inner = http.client.HTTPConnection("127.0.0.1", page_port, timeout=20)
                named = dict(self.headers.items())
                named |= {"X-Forwarded-For": "10.0.0.9", "X-Forwarded-Proto": "https"}
                inner.request(self.command, self.path, body, named)
                answer = inner.getresponse()
                data = answer.read()
                self.send_response(answer.status)
                for name, value in answer.getheaders():
                    if name.lower() not in ("connection", "content-length", "transfer-encoding"):
                        self.send_header(name, value)
                self.send_header("Content-Length", str(len(data)))
                self.end_headers()
                self.wfile.write(data)
                inner.close()

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        authority.issue_cert("localhost").configure_cert(context)
        self.server.socket = context.wrap_socket(self.server.socket, server_side=True)
        self.port = self.server.server_address[1]
        self.thread = threading.Thread(target=self.server.serve_forever, daemon=True)


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def proxy(board, authority: trustme.CA) -> Iterator[Proxy]:
    page = PageServer(create_app(board.wiring()))
    page.start()
    proxy = Proxy(page.port, authority)
    proxy.thread.start()
    yield proxy
    proxy.server.shutdown()
    proxy.thread.join()
    proxy.server.server_close()
    page.stop()


def ask(proxy: Proxy, trusted: trustme.CA, path: str, body: object = None, **headers: str):
    """One request by TLS, as our page in a browser makes it."""
    context = ssl.create_default_context()
    trusted.configure_trust(context)
    there = http.client.HTTPSConnection("localhost", proxy.port, timeout=20, context=context)
    sent = {"Content-Type": "application/json", "X-Heatwindow": "1"}
    sent |= {"Origin": f"https://localhost:{proxy.port}", "Sec-Fetch-Site": "same-origin"}
    payload = None if body is None else json.dumps(body)
    method = "GET" if body is None else "POST"
    try:
        there.request(method, f"/api/v1/{path}", payload, sent | headers)
        answer = there.getresponse()
        return answer.status, answer.headers, json.loads(answer.read())
    finally:
        there.close()


def test_one_may_look_and_with_the_pin_change(proxy: Proxy, authority: trustme.CA, board) -> None:
    assert ask(proxy, authority, "bench")[0] == 200
    assert ask(proxy, authority, "actions", ACT)[0] == 401, "the proxy is not the machine's owner"
    status, headers, _ = ask(proxy, authority, "sign-in", {"pin": "246810"})
    assert status == 200
    cookie = headers["Set-Cookie"]
    assert "Secure" in cookie.split("; "), "never again without TLS"
    status, _, _ = ask(proxy, authority, "actions", ACT, Cookie=cookie.partition(";")[0])
    assert status == 200
    assert len(board.acted) == 1


def test_a_page_without_tls_is_another_origin(proxy: Proxy, authority: trustme.CA, board) -> None:
    for origin in (f"http://localhost:{proxy.port}", "https://localhost", "https://evil.example"):
        status, _, body = ask(proxy, authority, "actions", ACT, Origin=origin)
        assert (status, body["code"]) == (403, "foreign-origin"), origin
    assert board.acted == []


def test_a_proxy_answers_to_its_own_name_and_no_other(board) -> None:
    page = DashboardConfig(names=["Bench.example"])
    client = create_app(board.wiring(), doors_of(page)).test_client()
    for host, status in (("bench.example", 200), ("localhost", 200), ("other.example", 421)):
        assert client.get("/api/v1/bench", headers={"Host": host}).status_code == status
    # A name opens no door to the network: it is still served to this machine only.
    assert page.on_loopback
    assert client.get("/api/v1/bench", headers={"Host": "192.168.1.4"}).status_code == 421


def test_an_authority_nobody_knows_is_refused(proxy: Proxy) -> None:
    with pytest.raises(ssl.SSLCertVerificationError):
        ask(proxy, trustme.CA(), "bench")
