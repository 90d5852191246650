"""The demo's welder at the page: taps and looks, over HTTP as any browser does."""

from __future__ import annotations

import http.client
import json
from typing import Any
from urllib.parse import urlsplit

ANSWER_S = 10.0
"""How long an answer may take [s]."""


class TapRefused(RuntimeError):
    """The service did not do what was asked; the message says what and why."""


class Page:
    """The service's API.

    Args:
        address: ``http://host:port`` as printed.
    """

    def __init__(self, address: str) -> None:
        parts = urlsplit(address)
        self._host = parts.hostname or "127.0.0.1"
        self._port = parts.port or 80

    def bench(self) -> dict[str, Any] | None:
        """What the page shows now; ``None`` while the service has nothing to show."""
        status, body = self._ask("GET", "/api/v1/bench", None)
        if status == 503:
            return None
        if status != 200:
            raise TapRefused(f"GET /api/v1/bench: {status} {_detail(body)}")
        answer: dict[str, Any] = json.loads(body)
        return answer

    def tap(self, kind: str, **fields: object) -> dict[str, Any]:
        """Send one operator action; the answer carries the ids it made.

        Raises:
            TapRefused: With what the service said.
        """
        status, body = self._ask("POST", "/api/v1/actions", {"kind": kind, **fields})
        if status != 200:
            raise TapRefused(f"{kind!r} was refused: {_detail(body)}")
        answer: dict[str, Any] = json.loads(body)
        return answer

    def _ask(self, method: str, path: str, body: object) -> tuple[int, bytes]:
        connection = http.client.HTTPConnection(self._host, self._port, timeout=ANSWER_S)
        headers = {"X-Heatwindow": "demo"}
        payload = None
        if body is not None:
            payload = json.dumps(body).encode()
            headers["Content-Type"] = "application/json"
        try:
            connection.request(method, path, body=payload, headers=headers)
            answer = connection.getresponse()
            return answer.status, answer.read()
        except (OSError, http.client.HTTPException) as error:
            raise TapRefused(f"{method} {path}: no answer ({error})") from error
        finally:
            connection.close()


def _detail(body: bytes) -> str:
    """The sentence in a problem document (RFC 9457), or the start of whatever came."""
    try:
        return str(json.loads(body)["detail"])
    except (ValueError, KeyError, TypeError):
        return body[:200].decode("utf-8", "replace")
