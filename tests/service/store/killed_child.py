"""Writes readings until it is killed; says on standard output which ones were acknowledged.

Run as a program by ``test_killed.py``: ``killed_child.py DATABASE_URL``.
"""

from __future__ import annotations

import itertools
import os
import sys
import threading

from service.readings import Quality, Reading
from service.store.database import Store
from service.store.writer import Writer

MOST_UNACKNOWLEDGED = 20
"""As many as a broker has in flight."""


def main(url: str) -> None:
    store = Store.open(url)
    writer = Writer(store)
    writer.start()
    room = threading.Semaphore(MOST_UNACKNOWLEDGED)
    first, mono_us = store.next_seq(), store.last_mono_us() + 1_000_000

    def acknowledge(seq: int) -> None:
        os.write(1, b"%d\n" % seq)
        room.release()

    for seq in itertools.count(first):
        room.acquire()
        mono_us += 1000
        reading = Reading(
            "TC1", "Cel", seq / 8, Quality.GOOD, None, mono_us, mono_us, mono_us, seq, timed=True
        )
        writer.put_readings([reading], lambda seq=seq: acknowledge(seq))


if __name__ == "__main__":
    main(sys.argv[1])
