"""Repeats against a plain set that never forgets."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from service.wire.duplicates import MAX_BOOTS, WINDOW, PackFilter
from service.wire.pack import Pack


@given(st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, WINDOW // 2)), max_size=60))
def test_like_a_set_within_the_window(marks: list[tuple[str, int]]) -> None:
    seen: set[tuple[str, int]] = set()
    passing = PackFilter()
    for boot, seq in marks:
        pack = Pack(boot=boot, seq=seq)
        assert passing.is_repeat(pack) == ((boot, seq) in seen)
        passing.passed(pack)
        seen.add((boot, seq))


def test_unmarked_packs_always_pass() -> None:
    passing = PackFilter()
    for pack in (Pack(), Pack(boot="a"), Pack(seq=1)):
        passing.passed(pack)
        assert not passing.is_repeat(pack)


def test_a_pack_that_was_not_handed_on_is_no_repeat_when_it_comes_again() -> None:
    passing = PackFilter()
    assert not passing.is_repeat(Pack(boot="a", seq=1))
    assert not passing.is_repeat(Pack(boot="a", seq=1))


def test_memory_is_bounded() -> None:
    passing = PackFilter()
    for seq in range(5 * WINDOW):
        passing.remember("a", seq)
    assert passing.is_repeat(Pack(boot="a", seq=0))  # long ago: a repeat all the same
    assert len(passing._boots["a"].recent) <= 2 * WINDOW
    for number in range(MAX_BOOTS + 10):
        passing.remember(f"boot{number}", 0)
    assert len(passing._boots) == MAX_BOOTS
    assert passing.is_repeat(Pack(boot=f"boot{MAX_BOOTS + 9}", seq=0))
