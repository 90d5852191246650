"""The table of what breaks in a shop is whole, and every test it names is there."""

from __future__ import annotations

import re

from tests.field.behaviours import behaviours, missing, table

LAST = 47


def test_every_number_stands_there_once() -> None:
    assert [each["number"] for each in behaviours()] == list(range(1, LAST + 1))


def test_each_says_what_proves_it() -> None:
    for each in behaviours():
        assert each["short"].strip(), each["number"]
        assert each["tests"], each["number"]
        assert set(each) <= {"number", "short", "tests", "hands", "instead"}, each["number"]


def test_every_test_named_is_there() -> None:
    named = [test for each in behaviours() for test in each["tests"]]
    named += [
        t for each in behaviours() for t in re.findall(r"\btest_\w+", each.get("instead", ""))
    ]
    assert [test for test in named if missing(test)] == []


def test_a_name_that_is_not_there_is_found() -> None:
    assert missing("tests/field/test_behaviours.py::test_nothing_of_the_kind")
    assert missing("tests/field/nowhere.py::test_every_number_stands_there_once")


def test_the_table_has_a_row_for_each() -> None:
    assert len(table().splitlines()) == LAST + 2
