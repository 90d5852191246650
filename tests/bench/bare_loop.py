"""The floor to measure against: the least program that does the same intake.

paho, JSON, one SQLite table, acknowledgement after the commit, committing whatever is queued:
no judge, no quality, no page. Run as ``bare_loop.py PORT DATABASE``; ends on SIGTERM.
"""

from __future__ import annotations

import json
import queue
import signal
import sqlite3
import sys
import threading
import time

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion


def main(port: int, database: str) -> None:
    arrived: queue.SimpleQueue[tuple[int, bytes]] = queue.SimpleQueue()
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    store = sqlite3.connect(database, isolation_level=None)
    store.execute("PRAGMA journal_mode=WAL")
    store.execute("PRAGMA synchronous=FULL")
    store.execute(
        "CREATE TABLE IF NOT EXISTS reading (channel TEXT, t_us INTEGER, value REAL, "
        "PRIMARY KEY (channel, t_us)) WITHOUT ROWID"
    )
    client = paho.Client(
        CallbackAPIVersion.VERSION2, client_id="bare-loop", clean_session=False, manual_ack=True
    )
    client.on_connect = lambda c, *_: c.subscribe("bench/#", qos=1)
    client.on_message = lambda _c, _u, message: arrived.put((message.mid, message.payload))
    client.on_subscribe = lambda *_: print("subscribed", flush=True)
    client.connect("127.0.0.1", port)
    client.loop_start()
    last_us = 0
    while not stop.is_set():
        try:
            batch = [arrived.get(timeout=0.1)]
        except queue.Empty:
            continue
        while True:
            try:
                batch.append(arrived.get_nowait())
            except queue.Empty:
                break
        rows = []
        for _, payload in batch:
            for record in json.loads(payload):
                last_us = max(last_us + 1, time.time_ns() // 1000)
                rows.append((record["n"], last_us, record["v"]))
        store.execute("BEGIN IMMEDIATE")
        store.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?)", rows)
        store.execute("COMMIT")
        for mid, _ in batch:
            client.ack(mid, 1)
    client.disconnect()
    client.loop_stop()


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2])
