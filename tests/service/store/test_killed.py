"""Killed again and again: what was acknowledged is there, once, and the file is whole."""

from __future__ import annotations

import contextlib
import random
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from service.store.database import Store

CHILD = Path(__file__).with_name("killed_child.py")
SEED = 20
KILLS = 4


@pytest.fixture
def child(url):
    """A writing process; yields its lines and a way to kill it."""

    @contextlib.contextmanager
    def start():
        process = subprocess.Popen(
            [sys.executable, str(CHILD), url], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        try:
            yield process
        finally:
            process.kill()
            process.communicate(timeout=30)

    return start


def acknowledged_until_killed(process, how_many):
    """Read so many acknowledgements, kill, and read the rest that was still on its way."""
    seqs = []
    for line in process.stdout:
        seqs.append(int(line))
        if len(seqs) == how_many:
            process.kill()
    assert len(seqs) >= how_many, process.stderr.read().decode()
    return seqs


def check(url, path, expected):
    store = Store.open(url)
    kept = list(store.readings())
    store.close()
    seqs = [reading.seq for reading in kept]
    assert len(seqs) == len(set(seqs))
    assert expected <= set(seqs)
    assert all(reading.value == reading.seq / 8 for reading in kept)
    with contextlib.closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_killed_while_committing(url, path, child):
    chance = random.Random(SEED)
    expected = set()
    for _ in range(KILLS):
        with child() as process:
            expected.update(acknowledged_until_killed(process, chance.randint(1, 400)))
        check(url, path, expected)


def test_killed_while_the_database_is_locked_elsewhere(url, path, child, locked):
    expected = set()
    with child() as process:
        expected.update(acknowledged_until_killed(process, 5))
    for kill in range(2):
        # Opened while it is locked, too: the spool then waits for the writer or the next start.
        with locked(), child() as process:
            expected.update(acknowledged_until_killed(process, 30 + 100 * kill))
        assert Path(f"{path}.spool").stat().st_size > 0
    check(url, path, expected)


def test_killed_while_the_spool_is_being_written_into_the_database(url, path, child, locked):
    expected = set()
    with child() as process:
        with locked():
            for line in process.stdout:
                expected.add(int(line))
                if len(expected) == 1500:
                    break
        expected.update(acknowledged_until_killed(process, 20))
    check(url, path, expected)
