"""One HTTP POST of JSON for each alarm change, and if wanted for each verdict.

=========  ==========================================================================
``event``  further keys
=========  ==========================================================================
alarm      as on the bench, ``at``, and ``speak``: it must be heard
verdict    ``heat_id``, ``phase``, ``verdict``, ``heat``, ``purge``, ``at``, ``text``
test       ``at``, ``text``: somebody tries whether this arrives
=========  ==========================================================================

Any 2xx answer is success. 408, 425, 429 and 5xx are tried again, with the pause that
``Retry-After`` asks for; anything else would fail again and is given up at once (RFC 9110,
sections 10.2.3 and 15). An answer lost on its way makes a second delivery: at least once, never
exactly once. Redirects are not followed. The address is shown by its host only, because many
addresses of this kind are secrets themselves.
"""

from __future__ import annotations

import base64
import http.client
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from service import __version__
from service.judge.events import AlarmChange
from service.notify.forms import TrialNotice, alarm_json, encoded, trial_json, verdict_json
from service.notify.network import (
    ATTEMPT_S,
    NETWORK_PAUSES_S,
    STEP_S,
    NetworkOutlet,
    network_words,
    read_secret,
    tls_context,
)
from service.notify.outlet import Change, TellFailed

AGAIN = frozenset({408, 425, 429})
ANSWER_BYTES = 4096
"""So much of an answer is read; what it says is not ours to keep."""
BEARER = re.compile(r"[A-Za-z0-9\-._~+/]+=*")
"""A token as RFC 6750, section 2.1, allows it."""


@dataclass(frozen=True, slots=True)
class WebAddress:
    """Where to post, and who we are there.

    Attributes:
        url: ``http`` or ``https``, without user name or fragment.
        username: For basic authentication (RFC 7617); ``None`` with a password file: a bearer
            token (RFC 6750).
        password_file: Holds the password or the token.
        tls_ca_file: Authority to trust instead of the system's.
    """

    url: str
    username: str | None = None
    password_file: Path | None = None
    tls_ca_file: Path | None = None


class Webhook(NetworkOutlet):
    """Posts to one address.

    Args:
        address: Which.
        verdicts: Tell of verdicts too.
        pauses_s: Between attempts [s, real].
        attempt_s: Longest attempt [s, real].
    """

    def __init__(
        self,
        address: WebAddress,
        verdicts: bool = False,
        pauses_s: Sequence[float] = NETWORK_PAUSES_S,
        attempt_s: float = ATTEMPT_S,
    ) -> None:
        super().__init__("webhook", "webhook", pauses_s, attempt_s)
        parts = urlsplit(address.url)
        self._address = address
        self._secure = parts.scheme == "https"
        self._host = parts.hostname or ""
        self._port = parts.port
        self._target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        self._shown = f"{parts.scheme}://{parts.netloc.rpartition('@')[2]}"
        self._verdicts = verdicts

    def wants(self, change: Change) -> bool:
        """Alarms, and verdicts where they are wanted."""
        return self._verdicts or isinstance(change, AlarmChange)

    def deliver(self, change: Change) -> None:
        """Post one change.

        Raises:
            TellFailed: It was not taken.
        """
        if isinstance(change, AlarmChange):
            self._post({"event": "alarm", **alarm_json(change), "speak": change.speak})
        else:
            self._post({"event": "verdict", **verdict_json(change)})

    def deliver_trial(self, notice: TrialNotice) -> str:
        """Post a test notice.

        Raises:
            TellFailed: It was not taken.
        """
        status = self._post({"event": "test", **trial_json(notice)})
        return f"{self._shown} answered {status}"

    def _post(self, body: dict[str, object]) -> int:
        """The status of a successful answer."""
        headers = self._headers()
        line = self._line()
        status: list[int] = []

        def work() -> None:
            try:
                line.request("POST", self._target, encoded(body), headers)
                answer = line.getresponse()
                answer.read(ANSWER_BYTES)
                status.append(answer.status)
                _check(self._shown, answer)
            except OSError as error:
                raise TellFailed(f"{self._shown}: {network_words(error)}") from error
            except http.client.HTTPException as error:
                name = type(error).__name__
                raise TellFailed(f"{self._shown} gives no HTTP answer ({name})") from None
            finally:
                line.close()

        self.errand(work, lambda: line.sock)
        return status[0]

    def _line(self) -> http.client.HTTPConnection:
        if not self._secure:
            return http.client.HTTPConnection(self._host, self._port, timeout=STEP_S)
        context = tls_context(self._address.tls_ca_file)
        return http.client.HTTPSConnection(self._host, self._port, timeout=STEP_S, context=context)

    def _headers(self) -> dict[str, str]:
        headers = {
            "Content-Type": "application/json",
            "User-Agent": f"heatwindow/{__version__}",
            "Connection": "close",
        }
        file, username = self._address.password_file, self._address.username
        if file is None:
            return headers
        secret = read_secret(file)
        if username is not None:
            pair = base64.b64encode(f"{username}:{secret}".encode()).decode("ascii")
            headers["Authorization"] = f"Basic {pair}"
        elif BEARER.fullmatch(secret):
            headers["Authorization"] = f"Bearer {secret}"
        else:  # never shown: a library's own complaint about the header would
            raise TellFailed(f"{file} does not hold a token (RFC 6750, 2.1)")
        return headers


def _check(shown: str, answer: http.client.HTTPResponse) -> None:
    status = answer.status
    if 200 <= status < 300:
        return
    if 300 <= status < 400:
        text = f"{shown} redirects ({status}), which is not followed: give the address it ends at"
        raise TellFailed(text, lasting=True)
    again = status in AGAIN or status >= 500
    asked = answer.headers.get("Retry-After", "")
    wait_s = float(asked) if re.fullmatch(r"[0-9]{1,6}", asked) else None
    raise TellFailed(f"{shown} answered {status}", lasting=not again, wait_s=wait_s)
