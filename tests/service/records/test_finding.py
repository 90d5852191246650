"""Finding heats among many, over a real database: words, dates, deviations, pages."""

from __future__ import annotations

import json
from itertools import count

import pytest
from sqlalchemy import create_engine, text

from service.judge.utc import utc_text
from service.records.events_over import events_over
from service.records.finding import Finder, Wanted
from service.records.gathered import Gathered
from service.records.shelf import Shelf
from service.store.database import Store
from tests.field.recorded_heat import record_heat

MANY = 4500
DAY_US = 86_400_000_000
ABOUT_US = 100_000_000


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """Two recorded heats, and thousands of later ones that are rows only."""
    path = tmp_path_factory.mktemp("found") / "shop.db"
    record_heat(path, again=True)
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        begun_us = connection.execute(text("SELECT begun_us FROM heat WHERE id = 2")).scalar_one()
        note = {"kind": "write note", "heat_id": 2, "text": "Zunder fiel ab", "by": None}
        connection.execute(
            text(
                "INSERT INTO journal (seq, mono_us, utc_us, kind, body) SELECT max(seq) + 1, "
                "max(mono_us) + :later, max(utc_us) + :later, 'write note', :body FROM journal"
            ),
            {"body": json.dumps(note | {"about_us": begun_us + ABOUT_US}), "later": DAY_US},
        )
        columns = "metal, created_us, changed_us"
        connection.execute(
            text(f"INSERT INTO part (id, name, {columns}) SELECT 2, :name, {columns} FROM part"),
            {"name": "KRÜMMER der Säge"},
        )
        for number in range(3, MANY + 1):
            at_us = begun_us + (number - 2) * DAY_US // 4
            connection.execute(
                text(
                    "INSERT INTO heat (id, part_id, begun_seq, begun_us, ended_us) "
                    "VALUES (:n, 2, 1, :at, :end)"
                ),
                {"n": number, "at": at_us, "end": at_us + 3_600_000_000},
            )
    engine.dispose()
    return path


@pytest.fixture(scope="module")
def store(path):
    store = Store.open_to_read(f"sqlite:///{path}")
    yield store
    store.close()


@pytest.fixture
def find(store):
    shelf = Shelf(store, lambda: 1_790_100_000_000_000)
    return lambda **asked: shelf.find(Wanted(**asked))


def ids(told) -> list[int]:
    return [each["heat_id"] for each in told["heats"]]


def test_every_heat_is_reached_by_pages(find):
    seen, before = [], None
    while True:
        told = find(before=before, most=1000)
        seen += ids(told)
        before = told["next"]
        if before is None:
            break
    assert seen == list(range(MANY, 0, -1))


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("slag",), [1]),
        (("SLAG", "pump"), [1]),
        (("slag", "sawmill"), []),
        (("manifold",), [2, 1]),
        (("krümmer", "77"), [77]),
        (("säge", "3"), [3]),
        (("100%",), []),
    ],
)
def test_words_are_looked_for_in_names_notes_and_numbers(find, words, found):
    assert ids(find(words=words)) == found


def test_a_date_is_a_word_and_a_range(find):
    (second,) = find(words=("manifold",), most=1)["heats"]
    day = second["began_at"][:10]
    told = find(words=(day,))
    assert {each["began_at"][:10] for each in told["heats"]} <= {day, _next(day)}
    assert 2 in ids(told)
    begun_us = 1_790_000_000_000_000
    within = find(from_us=begun_us + 30 * DAY_US, to_us=begun_us + 31 * DAY_US)
    assert len(within["heats"]) == 4


def _next(day: str) -> str:
    return f"{day[:8]}{int(day[8:]) + 1:02d}"


def test_a_deviation_is_looked_for_in_what_was_worked_out(store, find):
    record = Gathered(store).record(1)
    said = next(each.text for each in record.deviations if "verdict was" in each.text)
    told = find(deviation=said.upper(), before=3)
    assert ids(told) == [1]
    assert told["next"] is None


def test_an_answer_that_took_long_says_how_far_it_got(store):
    ticks = count()
    slow = Finder(store, Gathered(store), lambda: float(next(ticks)))
    seen, found, before = [], [], 3
    while before is not None:
        told = slow.find(Wanted(deviation="verdict was", before=before))
        assert told["next"] is None or told["next"] < before
        seen.append(before)
        found += ids(told)
        before = told["next"]
    assert found == [1]
    assert len(seen) > 1


def test_a_note_stands_at_the_moment_it_is_about(store, find):
    record = Gathered(store).record(2)
    (note,) = record.notes
    assert (note.text, note.at_us) == ("Zunder fiel ab", record.begun_us + ABOUT_US)
    told = events_over(store, (record.begun_us, record.to_us), None, 100)["events"]
    assert [each["at"] for each in told if each["kind"] == "note"] == [utc_text(note.at_us)]
    assert ids(find(words=("zunder",))) == [2]


def test_a_pinned_heat_is_told_as_one(find):
    assert not any(each["pinned"] for each in find(most=5)["heats"])
