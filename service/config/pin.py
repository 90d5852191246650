"""The operator's PIN and the devices that have shown it: a small file beside the database.

Only a hash of the PIN that costs memory and time (Argon2id, RFC 9106) and digests of the signed-in
devices' tokens are kept, readable by the service's user alone. Wrong PINs make everybody wait
longer and longer, whoever asks.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import secrets
import threading
import time
from collections.abc import Callable
from pathlib import Path

import argon2
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy.engine import make_url

PIN = re.compile(r"[0-9]{6,12}")
PIN_RULE = "a PIN is 6 to 12 digits"
HANDS_MOST = 50
"""Devices that stay signed in; the one that signed in first has to do so again."""
FREE_TRIES = 5
WAIT_FIRST_S = 30.0
WAIT_MOST_S = 900.0

_HASHER = argon2.PasswordHasher(time_cost=3, memory_cost=32_768, parallelism=1)
"""32 MiB and a tenth of a second on a small board; one at a time, see ``_lock``."""


class PinRefused(Exception):
    """The PIN is wrong, none is set, or it is too soon; one sentence."""

    def __init__(self, text: str, wait_s: float = 0.0) -> None:
        super().__init__(text)
        self.wait_s = wait_s


class PinKeeper:
    """The file. Everything may be called from any thread.

    Args:
        database_url: Of the shop; the file lies beside its database.
        now_s: Seconds that never step, for the waiting after wrong PINs.
    """

    def __init__(self, database_url: str, now_s: Callable[[], float] = time.monotonic) -> None:
        database = Path(str(make_url(database_url).database))
        self.path = database.with_name(f"{database.stem}.pin.json")
        self._now_s = now_s
        self._lock = threading.Lock()
        self._wrong = 0
        self._not_before_s = 0.0

    def is_set(self) -> bool:
        """There is a PIN; without one nobody on the network may change anything."""
        return self._read()[0] is not None

    def set_pin(self, pin: str | None) -> None:
        """Set the PIN, or take it away; whoever was signed in is so no more.

        Raises:
            ValueError: It is no PIN.
            OSError: It cannot be written.
        """
        if pin is not None and not PIN.fullmatch(pin):
            raise ValueError(PIN_RULE)
        with self._lock:
            self._write(None if pin is None else _HASHER.hash(pin), [])

    def sign_in(self, pin: str) -> str:
        """A token for the device that knows the PIN; it stays good until the PIN is changed.

        Raises:
            PinRefused: Wrong, none set, or too soon after wrong ones.
            OSError: The token cannot be kept.
        """
        with self._lock:
            wait_s = self._not_before_s - self._now_s()
            if wait_s > 0:
                raise PinRefused(f"too many wrong PINs: try again in {wait_s:.0f} s", wait_s=wait_s)
            kept, hands = self._read()
            if kept is None:
                raise PinRefused("no PIN is set: set one with 'heatwindow pin' on the machine")
            if not _fits(kept, pin):
                self._count_wrong()
                raise PinRefused("that is not the PIN")
            self._wrong = 0
            token = secrets.token_urlsafe(32)
            self._write(kept, [*hands, _digest(token)][-HANDS_MOST:])
            return token

    def _count_wrong(self) -> None:
        self._wrong += 1
        if self._wrong >= FREE_TRIES:
            wait_s = min(WAIT_MOST_S, WAIT_FIRST_S * 2.0 ** (self._wrong - FREE_TRIES))
            self._not_before_s = self._now_s() + wait_s

    def knows(self, token: str) -> bool:
        """The device is signed in."""
        return _digest(token) in self._read()[1]

    def sign_out(self, token: str) -> None:
        """The device is signed in no more.

        Raises:
            OSError: That cannot be kept.
        """
        with self._lock:
            kept, hands = self._read()
            self._write(kept, [each for each in hands if each != _digest(token)])

    def _read(self) -> tuple[str | None, list[str]]:
        """Hash and digests; a file that is none lets nobody in."""
        try:
            found = json.loads(self.path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None, []
        if not isinstance(found, dict):
            return None, []
        kept, hands = found.get("pin"), found.get("hands")
        if not isinstance(kept, str) or not isinstance(hands, list):
            return None, []
        return kept, [each for each in hands if isinstance(each, str)]

    def _write(self, kept: str | None, hands: list[str]) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        fresh = self.path.with_name(f"{self.path.name}.new")
        with contextlib.suppress(FileNotFoundError):
            fresh.unlink()
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
        with open(os.open(fresh, flags, 0o600), "w", encoding="utf-8") as file:
            json.dump({"pin": kept, "hands": hands}, file)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self.path)


def _fits(kept: str, pin: str) -> bool:
    try:
        return _HASHER.verify(kept, pin)
    except (VerificationError, InvalidHashError):
        return False


def _digest(token: str) -> str:
    """A token is 256 random bits: one plain digest hides it well enough."""
    return hashlib.sha256(token.encode()).hexdigest()
