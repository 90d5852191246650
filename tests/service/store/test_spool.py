"""The spool file: torn, damaged, full."""

from __future__ import annotations

import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.judge.actions import CreatePart, PartFacts
from service.judge.events import AlarmChange, Outcome, VerdictChange
from service.store.entries import Arrived, Checkpoint, Lost, NotAnEntry, PackMark, decode, encode
from service.store.spool import MARK, Spool, SpoolFull, pack

BODIES = [b"one", b"", b"three " * 8, MARK, MARK + b"\x00\x00\x00\x03", b"last"]


def bodies(spool):
    return [body for body, _ in spool.read()]


@pytest.fixture
def spool(tmp_path):
    made = Spool(tmp_path / "shop.db.spool")
    yield made
    made.close()


def test_what_is_appended_is_read_in_order(spool):
    assert not spool
    spool.append(BODIES[:2])
    spool.append(BODIES[2:])
    assert spool
    assert bodies(spool) == BODIES
    places = [0, *(end for _, end in spool.read())]
    assert [[b for b, _ in spool.read(place)] for place in places] == [
        BODIES[index:] for index in range(len(BODIES) + 1)
    ]


def test_another_opening_finds_it(spool):
    spool.append(BODIES)
    again = Spool(spool.path)
    assert again
    assert bodies(again) == BODIES


def test_emptied_it_is_empty(spool):
    spool.append(BODIES)
    spool.clear()
    assert not spool
    assert bodies(spool) == []
    spool.append([b"new"])
    assert bodies(Spool(spool.path)) == [b"new"]


def test_torn_at_any_byte_every_whole_record_is_there(tmp_path):
    data = b"".join(map(pack, BODIES))
    ends = [sum(len(pack(b)) for b in BODIES[: n + 1]) for n in range(len(BODIES))]
    path = tmp_path / "torn.spool"
    for cut in range(len(data) + 1):
        path.write_bytes(data[:cut])
        whole = sum(end <= cut for end in ends)
        assert bodies(Spool(path)) == BODIES[:whole]
        # ... and what comes after a torn end is read as well.
        spool = Spool(path)
        spool.append([b"after"])
        spool.close()
        assert bodies(Spool(path)) == [*BODIES[:whole], b"after"]


def test_any_damaged_byte_costs_one_record_at_most(tmp_path):
    data = b"".join(map(pack, BODIES))
    path = tmp_path / "damaged.spool"
    for at in range(len(data)):
        path.write_bytes(data[:at] + bytes([data[at] ^ 0x41]) + data[at + 1 :])
        found = bodies(Spool(path))
        assert len(found) == len(BODIES) - 1
        assert all(body in BODIES for body in found)


@settings(deadline=None)
@given(st.lists(st.binary(max_size=40)), st.binary(max_size=60), st.binary(max_size=60))
def test_rubbish_around_records_is_skipped(tmp_path_factory, records, before, after):
    path = tmp_path_factory.mktemp("spool") / "rubbish.spool"
    path.write_bytes(before + b"".join(map(pack, records)) + after)
    assert bodies(Spool(path)) == records


def test_its_size_is_limited_and_a_refused_append_leaves_it_whole(tmp_path):
    spool = Spool(tmp_path / "small.spool", max_bytes=100)
    spool.append([b"x" * 50])
    with pytest.raises(SpoolFull, match="full at 100 bytes"):
        spool.append([b"y" * 50])
    assert bodies(spool) == [b"x" * 50]
    spool.close()


def test_a_half_written_append_is_taken_back(spool, monkeypatch):
    spool.append([b"good"])
    real = os.pwrite

    def half(fd, data, at):
        real(fd, bytes(data)[: len(data) // 2], at)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "pwrite", half)
    with pytest.raises(OSError, match="No space"):
        spool.append([b"never acknowledged"])
    monkeypatch.undo()
    assert spool.path.stat().st_size == len(pack(b"good"))
    spool.append([b"next"])
    assert bodies(spool) == [b"good", b"next"]


def test_short_writes_are_continued(spool, monkeypatch):
    real = os.pwrite
    monkeypatch.setattr(os, "pwrite", lambda fd, data, at: real(fd, bytes(data)[:3], at))
    spool.append(BODIES)
    assert bodies(spool) == BODIES


def test_every_kind_of_entry_survives_the_trip(shop):
    entries = [
        Arrived(
            (
                shop.reading(0.1 + 0.2, channel="ü\ud800", reason="a\nb"),
                shop.reading(None, unit=None),
                shop.reading(float("inf")),
            )
        ),
        Arrived((shop.reading(1.0),), PackMark("mqtt h:1", "ü\ud800", 2**63 - 1)),
        shop.acted(CreatePart(part_id=1, facts=PartFacts(name="Krümmer"))),
        Outcome(
            alarms=[AlarmChange(1, "no data", 2, None, "returned", 3, 4, 5, "x", False)],
            verdicts=[VerdictChange(8, 1, 2, "bench", "wait", "stop", "unknown", "y")],
        ),
        Lost(3, 1, 2, "why"),
        Checkpoint(5, b"\x00\xff"),
    ]
    assert [decode(encode(entry)) for entry in entries] == entries


@pytest.mark.parametrize("body", [b"", b"{}", b"[]", b'{"readings": [[1]]}', b"\xff", b"7"])
def test_what_is_no_entry_is_refused(body):
    with pytest.raises(NotAnEntry, match="not an entry of the spool"):
        decode(body)
