"""The assembler fed whole, byte by byte, with junk before and behind, and without end."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from service.wire.lines import LineAssembler
from service.wire.pack import RejectCause

GOOD = [b'[{"n":"port2","u":"Cel","v":312.5}]', b"x", b"argon=12 l/min"]
STREAM = b"\n".join(GOOD) + b"\n"


def feed_in_pieces(assembler: LineAssembler, data: bytes, cuts: list[int]) -> list[bytes]:
    places = sorted(cut % (len(data) + 1) for cut in cuts)
    pieces = [
        data[start:end] for start, end in zip([0, *places], [*places, len(data)], strict=True)
    ]
    return [line for piece in pieces for line in assembler.feed(piece)]


@given(st.lists(st.integers(0, 10_000), max_size=40))
def test_however_the_bytes_are_cut(cuts: list[int]) -> None:
    assert feed_in_pieces(LineAssembler(), STREAM, cuts) == GOOD


def test_byte_by_byte() -> None:
    assembler = LineAssembler()
    assert [line for byte in STREAM for line in assembler.feed(bytes([byte]))] == GOOD
    assert assembler.counts.bytes_in == len(STREAM)
    assert assembler.counts.lines == 3


@given(st.binary(max_size=300), st.binary(max_size=300))
def test_junk_before_and_behind_costs_no_good_line(before: bytes, behind: bytes) -> None:
    assembler = LineAssembler()
    lines = assembler.feed(before + b"\n" + STREAM + behind)
    first = lines.index(GOOD[0])
    assert lines[first : first + 3] == GOOD
    assert assembler.feed(b"\n" + GOOD[0] + b"\n")[-1] == GOOD[0]


@given(st.lists(st.integers(1, 5000), min_size=1, max_size=30), st.integers(1, 200), st.booleans())
def test_an_endless_line_is_held_in_bounded_memory(
    sizes: list[int], limit: int, ends: bool
) -> None:
    assembler = LineAssembler(limit)
    total = 0
    for size in sizes:
        assert assembler.feed(b"x" * size) == []
        total += size
        assert assembler.held_bytes <= limit
    if total <= limit:
        return
    assert assembler.counts.too_long == 1
    assert [each.cause for each in assembler.take_rejects()] == [RejectCause.LENGTH]
    assert assembler.take_rejects() == []
    assert assembler.feed(b"\n" if ends else b"y\n") == []
    assert assembler.feed(b"a\n") == [b"a"]
    assert assembler.counts.bytes_dropped == total + (0 if ends else 1)


@given(st.lists(st.binary(max_size=50), max_size=30), st.integers(1, 60))
def test_every_line_that_fits_is_given_out_and_every_other_is_counted(
    pieces: list[bytes], limit: int
) -> None:
    wanted = [piece.replace(b"\n", b"") for piece in pieces]
    assembler = LineAssembler(limit)
    found = assembler.feed(b"".join(line + b"\n" for line in wanted))
    fitting = [line for line in wanted if len(line) <= limit]
    assert found == [
        line.removesuffix(b"\r") for line in fitting if line.removesuffix(b"\r").strip()
    ]
    counts = assembler.counts
    assert counts.lines + counts.blank + counts.too_long == len(wanted)


def test_carriage_returns_and_blank_lines() -> None:
    assembler = LineAssembler()
    assert assembler.feed(b"a\r\n\r\n \nb\n") == [b"a", b"b"]
    assert assembler.counts.blank == 2
    assert not assembler.take_rejects()


def test_a_half_line_does_not_join_what_comes_after_the_link_was_lost() -> None:
    assembler = LineAssembler()
    assembler.feed(b'[{"n":"a"')
    assembler.break_off()
    assert assembler.feed(b"b\n") == [b"b"]
    assert assembler.counts.broken_off == 1
    assert assembler.counts.bytes_dropped == 9
    assert [each.cause for each in assembler.take_rejects()] == [RejectCause.SYNTAX]
    assembler.break_off()  # nothing held: nothing to count
    assert assembler.counts.broken_off == 1
