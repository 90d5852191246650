"""A sender's marks are kept with the readings of its pack, and no longer than needed."""

from __future__ import annotations

import pytest

from service.store import pack_marks
from service.store.database import Store
from service.store.entries import Arrived, PackMark
from service.store.reading_rows import ReadingRows


def mark(number: int, link: str = "mqtt", boot: str = "a1") -> PackMark:
    return PackMark(link, boot, number)


def test_marks_come_back_by_link_in_order(url, store, writer, shop):
    for number in (5, 6, 4):
        writer.put_readings(shop.readings(2), mark=mark(number))
    writer.put_readings(shop.readings(1), mark=mark(5, "serial"))
    writer.put_readings(shop.readings(1))
    assert writer.flush(10)
    assert store.pack_marks() == {
        "mqtt": [mark(5), mark(6), mark(4)],
        "serial": [mark(5, "serial")],
    }
    store.close()
    again = Store.open(url)
    assert [each.number for each in again.pack_marks()["mqtt"]] == [5, 6, 4]
    again.close()


def test_marks_take_the_way_through_the_spool_with_their_readings(
    store, writer, shop, locked, eventually
):
    with locked():
        writer.put_readings(shop.readings(3), mark=mark(1))
        eventually(lambda: store.spool)
        assert store.pack_marks() == {"mqtt": [mark(1)]}, "found in the spool too"
    assert writer.flush(20)
    assert store.pack_marks() == {"mqtt": [mark(1)]}
    assert len(list(store.readings())) == 3


def test_a_mark_is_there_exactly_when_its_readings_are(store, shop, monkeypatch):
    """Both are in one transaction: a failing one leaves neither."""
    keeper = store.write_side.keeper
    keeper.keep([Arrived(tuple(shop.readings(1)), mark(1))])

    def full(*_given: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(ReadingRows, "plain", lambda *_given: None)
        broken.setattr(ReadingRows, "insert", full)
        with pytest.raises(OSError, match="No space"):
            keeper.keep([Arrived(tuple(shop.readings(1)), mark(2))])
    assert store.pack_marks() == {"mqtt": [mark(1)]}
    keeper.keep([Arrived(tuple(shop.readings(1)), mark(3))])
    assert store.pack_marks() == {"mqtt": [mark(1), mark(3)]}
    assert len(list(store.readings())) == 2


def test_only_the_newest_of_each_link_are_kept(store, writer, shop, monkeypatch):
    monkeypatch.setattr(pack_marks, "KEPT", 50)
    monkeypatch.setattr(pack_marks, "PRUNE_AFTER", 10)
    writer.put_readings(shop.readings(1), mark=mark(0, "quiet"))
    for number in range(500):
        writer.put_readings(shop.readings(1), mark=mark(number))
    assert writer.flush(20)
    kept = store.pack_marks()
    numbers = [each.number for each in kept["mqtt"]]
    assert numbers == list(range(numbers[0], 500))
    assert len(numbers) >= 50
    assert kept["quiet"] == [mark(0, "quiet")], "a busy link does not push out a quiet one's"


def test_pruning_stops_at_what_is_kept(store, writer, shop, monkeypatch):
    monkeypatch.setattr(pack_marks, "KEPT", 50)
    monkeypatch.setattr(pack_marks, "PRUNE_AFTER", 10)
    for round_ in range(30):
        for number in range(10):
            writer.put_readings(shop.readings(1), mark=mark(10 * round_ + number))
        assert writer.flush(10)
    assert len(store.pack_marks()["mqtt"]) < 70


def test_readings_without_any_still_wait_their_turn(writer, shop, locked, eventually):
    """An empty pack is acknowledged after what came before it."""
    acked: list[str] = []
    with locked():
        writer.put_readings(shop.readings(1), lambda: acked.append("readings"))
        writer.put_readings([], lambda: acked.append("empty"))
    eventually(lambda: len(acked) == 2)
    assert acked == ["readings", "empty"]
