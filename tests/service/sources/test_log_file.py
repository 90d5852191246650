"""A real file, written as loggers do."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from service.clock import SystemClock
from service.sources.log_file import LogFileLink
from service.wire.pack import RejectCause
from service.wire.profiles import make_profile
from tests.field.bench_parts import wait_until

HEADER = b"time,port2 [Cel]\n"


def row(value: int) -> bytes:
    return b"2026-03-01T08:15:%02dZ,%d\n" % (value, value)


def append(path: Path, data: bytes) -> None:
    with path.open("ab") as file:
        file.write(data)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "oven.csv"
    path.write_bytes(HEADER + row(1) + row(2))
    return path


def started(path: Path, intake, **options) -> LogFileLink:
    link = LogFileLink(path, make_profile("csv"), intake, SystemClock(), **options)
    link.start()
    return link


def test_only_new_rows_are_read_with_the_header_of_the_first_line(path, intake):
    append(path, row(3)[:9])
    link = started(path, intake)
    wait_until(lambda: link.status().ready, "the opening")
    append(path, row(3)[9:])
    append(path, row(4))
    assert intake.wait_for(2) == [3, 4]
    assert link.status().rejects == {}
    assert link.stop()


def test_from_the_start(path, intake):
    link = started(path, intake, from_start=True)
    assert intake.wait_for(2) == [1, 2]
    append(path, row(3))
    assert intake.wait_for(3) == [1, 2, 3]
    assert link.stop()


def test_a_file_that_comes_later_is_read_whole(tmp_path, intake):
    path = tmp_path / "late.csv"
    link = started(path, intake)
    wait_until(lambda: "cannot read" in link.status().state, "the missing file")
    path.write_bytes(HEADER + row(1))
    assert intake.wait_for(1) == [1]
    assert link.stop()


def test_a_rotated_and_a_shortened_file_are_read_anew(path, intake):
    link = started(path, intake, from_start=True)
    intake.wait_for(2)
    append(path, b"half a li")
    wait_until(lambda: link._lines.held_bytes == 9, "the half line")
    os.rename(path, path.with_suffix(".old"))
    path.write_bytes(HEADER + row(3))
    assert intake.wait_for(3) == [1, 2, 3]
    path.write_bytes(HEADER)
    wait_until(lambda: link.status().openings == 3, "the third opening")
    append(path, row(4))
    assert intake.wait_for(4) == [1, 2, 3, 4]
    assert link.status().rejects == {RejectCause.SYNTAX: 1}  # the half line
    assert link.stop()
