"""Where an entry goes: into the database, else into the spool file, else it is held in memory.

::

    direct ──commit fails──▶ spooling ──file refuses──▶ holding
       ▲                        │  ▲                       │
       └──── spool drained ─────┘  └──── file takes it ────┘

While the spool holds anything, new entries go behind it, so that the database gets everything in
order. No threads here: the writer's thread calls ``keep`` and ``retry``.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence

from service.store.damage import is_damage
from service.store.drain import Drain
from service.store.entries import Entry, encode
from service.store.errors import is_storage_trouble, plain
from service.store.keeper import Keeper
from service.store.pending import BATCH_READINGS, Item, Pending
from service.store.reading_rows import Counts
from service.store.spool import Spool

log = logging.getLogger(__name__)

RETRY_S = 0.5
"""Pause between two attempts on a database that refuses [s]."""

REMIND_S = 60.0
"""A failure that repeats is logged this often [s]."""


class Safekeeping:
    """Keeps items and settles them in ``pending`` once they are on a disk."""

    def __init__(
        self,
        keeper: Keeper,
        spool: Spool,
        drain: Drain,
        pending: Pending,
        damaged: Callable[[str], None],
    ) -> None:
        self._keeper = keeper
        self._spool = spool
        self._drain = drain
        self._pending = pending
        self._damaged = damaged
        self._held: list[Item] = []
        self._retry_at_s = 0.0
        self._logged: dict[str, float] = {}
        self.counts = Counts()
        self.spooled = 0
        """Readings that have gone through the spool file, since the start."""
        self.trouble: str | None = None if not spool else "a spool was left to recover"
        """Why entries do not go straight into the database; ``None`` while they do."""
        self.good_s = time.monotonic()
        """When the database last took something, or nothing was asked of it [s, real]."""

    @property
    def direct(self) -> bool:
        """Entries go straight into the database."""
        return self.trouble is None

    def keep(self, items: Sequence[Item]) -> None:
        """Bring items to safety, or hold them until ``retry``."""
        if self.direct:
            if not items and not self._pending.overflowing:
                self.good_s = time.monotonic()
                return
            if self._commit(items):
                return
        if items:
            self._set_by(items)

    def retry(self) -> None:
        """Work towards the direct way, if it is time to try."""
        if self.direct or time.monotonic() < self._retry_at_s:
            return
        if self._spool:
            if self._held:
                self._set_by(())
            self._drain_piece()
        elif self._held:
            piece = self._held[:BATCH_READINGS]
            if self._commit(piece):
                del self._held[: len(piece)]
            else:
                self._set_by(())
        else:
            log.warning("the database takes readings again")
            self.trouble = None

    def pause_s(self) -> float:
        """How long nothing needs to be done [s]."""
        if self.direct:
            return RETRY_S
        return min(RETRY_S, max(0.0, self._retry_at_s - time.monotonic()))

    def _commit(self, items: Sequence[Item]) -> bool:
        lost = self._pending.take_lost()
        entries: list[Entry] = [item.entry for item in items if item.entry is not None]
        try:
            counts = self._keeper.keep([*entries, lost] if lost else entries)
        except Exception as error:  # noqa: BLE001 - whatever it was, the items must stay held
            if lost:
                self._pending.return_lost(lost)
            self._failed(error)
            return False
        self._took(counts)
        self._pending.settle(items)
        return True

    def _drain_piece(self) -> None:
        try:
            self._took(self._drain.step())
        except Exception as error:  # noqa: BLE001 - whatever it was, the spool must stay
            self._failed(error)

    def _took(self, counts: Counts) -> None:
        self.counts.add(counts)
        self.good_s = time.monotonic()

    def _failed(self, error: Exception) -> None:
        self.trouble = plain(error)
        self._retry_at_s = time.monotonic() + RETRY_S
        self._log("the database takes nothing", error)
        if is_damage(error):
            self._damaged(self.trouble)

    def _set_by(self, items: Sequence[Item]) -> None:
        """Into the spool file, behind what is held from before; or hold these too."""
        self._held.extend(items)
        try:
            self._spool.append([encode(item.entry) for item in self._held if item.entry])
        except Exception as error:  # noqa: BLE001 - whatever it was, the items must stay held
            self._log("the spool takes nothing", error)
            return
        self.spooled += sum(item.readings for item in self._held)
        settled, self._held = self._held, []
        self._pending.settle(settled)

    def _log(self, what: str, error: Exception) -> None:
        """Say a failure once a minute, with the traceback if it is not the storage's fault."""
        text = f"{what}: {plain(error)}"
        now_s = time.monotonic()
        if now_s - self._logged.get(text, -REMIND_S) < REMIND_S:
            return
        if len(self._logged) > 100:
            self._logged.clear()
        self._logged[text] = now_s
        log.error("%s", text, exc_info=None if is_storage_trouble(error) else error)

    def finish(self) -> int:
        """At the end: a last attempt on everything.

        Returns:
            Readings that are in no file and will be lost.
        """
        self._retry_at_s = 0.0
        while not self.direct and self._retry_at_s <= time.monotonic():
            self.retry()
        if self._held:
            self._set_by(())
        return sum(item.readings for item in self._held)
