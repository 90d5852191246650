"""Plain text lines of simple instruments."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.wire.lines import LineAssembler
from service.wire.pack import RejectCause
from service.wire.plain import MAX_TEXT_LINE
from service.wire.profiles import LineProfile, make_profile

Found = tuple[str, str | None, float | None, str | None]


def read(profile: LineProfile, text: str) -> tuple[list[Found], list[RejectCause]]:
    packs = profile.decode(text.encode())
    found = [
        (each.name, each.unit, each.value, each.reason)
        for pack in packs
        for each in pack.measurements
    ]
    return found, [each.cause for pack in packs for each in pack.rejects]


def good(name: str, unit: str, value: float) -> Found:
    return name, unit, pytest.approx(value), None  # type: ignore[return-value]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("port2=312.5 Cel", [good("port2", "Cel", 312.5)]),
        ("port2 = 312.5C", [good("port2", "Cel", 312.5)]),
        ("port2=594.5 degF", [good("port2", "Cel", 312.5)]),
        (
            "a=1 A,b=-2.5e1 mV ; c=.5 %",
            [good("a", "A", 1), good("b", "mV", -25), good("c", "ppm", 5e3)],
        ),
        ("a=1 A b=2 A\tc=3 A", [good("a", "A", 1), good("b", "A", 2), good("c", "A", 3)]),
        ("argon=12 l/min, arc=off", [good("argon", "l/min", 12), good("arc", "on/off", 0)]),
        ("arc=on argon=12L/min", [good("arc", "on/off", 1), good("argon", "l/min", 12)]),
        ("node1:port2=open-circuit", [("node1:port2", None, None, "open-circuit")]),
        (
            "port2=open-circuit Cel, b=1 A",
            [("port2", "Cel", None, "open-circuit"), good("b", "A", 1)],
        ),
    ],
)
def test_name_value_unit(text: str, wanted: list[Found]) -> None:
    assert read(make_profile("name=value"), text) == (wanted, [])


@pytest.mark.parametrize(
    ("text", "kept", "cause"),
    [
        ("a=1 A, hello", 1, RejectCause.SYNTAX),
        ("hello", 0, RejectCause.SYNTAX),
        ("a=1", 0, RejectCause.UNIT),
        ("a=1 furlong, b=1 A", 1, RejectCause.UNIT),
        ("a=12..5 A", 0, RejectCause.SYNTAX),
        ("=5 A", 0, RejectCause.SYNTAX),
        ("a" * 121 + "=5 A", 0, RejectCause.LENGTH),
        ("a=1 A \x07", 0, RejectCause.SYNTAX),
        ("a=" + "1" * MAX_TEXT_LINE, 0, RejectCause.LENGTH),
    ],
)
def test_name_value_refusals(text: str, kept: int, cause: RejectCause) -> None:
    found, causes = read(make_profile("name=value"), text)
    assert (len(found), causes) == (kept, [cause])


@pytest.mark.parametrize("text", ["a=nan A", "a=inf A", "a=1e999 A"])
def test_no_number_makes_a_bad_reading(text: str) -> None:
    found, causes = read(make_profile("name=value"), text)
    assert [(unit, value) for _, unit, value, _ in found] == [("A", None)]
    assert found[0][3] in ("not-a-number", "out-of-range")
    assert causes == [RejectCause.RANGE]


def test_regex_with_names_and_units_in_the_line() -> None:
    profile = make_profile(r"regex:(?P<name>T\d)\s+(?P<value>\S+)\s*(?P<unit>C|F)\b")
    assert read(profile, "probe T1 312.5 C  T2 32 F") == (
        [good("T1", "Cel", 312.5), good("T2", "Cel", 0)],
        [],
    )
    assert read(profile, "nothing here") == ([], [RejectCause.SYNTAX])
    assert read(profile, "T1 OPEN C") == ([("T1", "Cel", None, "OPEN")], [])
    assert read(profile, "T1 3..5 C") == ([], [RejectCause.SYNTAX])


def test_regex_with_a_fixed_name_and_unit() -> None:
    profile = make_profile(r"regex:^(?P<value>[\d.]+)$", "oxygen", "ppm")
    assert read(profile, "48.0") == ([good("oxygen", "ppm", 48)], [])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("regex:(", "regular expression"),
        ("regex:(?P<name>a)", "needs a group"),
        ("regex:(?P<value>a)", "or a fixed name"),
        ("regex:", "is not one of"),
        ("morse", "'morse' is not one of senml"),
        ("csv:1,2", "is not a header"),
        ("csv:a,b", "is not a header"),
    ],
)
def test_a_faulty_profile_is_refused_in_words(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says.replace("(", r"\(")):
        make_profile(text)


def test_csv_wide() -> None:
    profile = make_profile("csv")
    assert read(profile, "time,port2 [Cel],argon (l/min),oxygen_ppm,note") == ([], [])
    found, causes = read(profile, "2026-03-01T08:15:00Z,312.5,12,,")
    assert found == [good("port2", "Cel", 312.5), good("argon", "l/min", 12)]
    assert not causes
    (pack,) = profile.decode(b"2026-03-01T09:15:00.25+01:00,open-circuit,12,50,")
    assert [each.time_us for each in pack.measurements] == [1_772_352_900_250_000] * 3
    assert pack.measurements[0].reason == "open-circuit"


def test_csv_long() -> None:
    profile = make_profile("csv")
    read(profile, "unit;channel;value;t")
    (pack,) = profile.decode(b"Cel;port2;312,5;1772352900")
    assert [(each.name, each.value, each.time_us) for each in pack.measurements] == [
        ("port2", 312.5, 1_772_352_900_000_000)
    ]


@pytest.mark.parametrize(
    ("row", "cause"),
    [
        ("08:15,1", RejectCause.TIME),
        ("2026-03-01T08:15:00,1", RejectCause.TIME),
        ("-5e9,x", RejectCause.SYNTAX),
        ("1,2,3", RejectCause.SYNTAX),
        ("1e300,1", RejectCause.TIME),
        (",1..2", RejectCause.SYNTAX),
    ],
)
def test_csv_refusals(row: str, cause: RejectCause) -> None:
    profile = make_profile("csv:time,a [A]")
    found, causes = read(profile, row)
    assert (found, causes) == ([], [cause])


def test_csv_seconds_from_the_logs_own_start_say_nothing_about_when() -> None:
    (pack,) = make_profile("csv:t_s,a [A]").decode(b"12.5,1")
    assert (pack.measurements[0].time_us, pack.measurements[0].offset_us) == (None, 0)


def test_csv_rows_before_any_header_are_refused_and_a_new_header_replaces_the_old() -> None:
    profile = make_profile("csv")
    assert read(profile, "1,2") == ([], [RejectCause.LABEL])
    read(profile, "a [A],b [A]")
    read(profile, "b [A],a [A]")
    assert read(profile, "1,2")[0] == [good("b", "A", 1), good("a", "A", 2)]
    profile.restart()
    assert read(profile, "1,2") == ([], [RejectCause.LABEL])
    given_header = make_profile("csv:a [A]")
    given_header.restart()
    assert read(given_header, "1")[0] == [good("a", "A", 1)]


def test_the_mark_before_a_files_first_line_costs_no_header() -> None:
    profile = make_profile("csv")
    assert read(profile, "\ufeffa [A],b [A]") == ([], [])
    assert read(profile, "1,2")[0] == [good("a", "A", 1), good("b", "A", 2)]


STREAMS = {
    "senml": b"".join(b'[{"n":"a","u":"A","v":%d}]\n' % value for value in range(5)),
    "name=value": b"a=0 A\na=1 A\r\na=2 A, a=3 A\na=4 A\n",
    "csv": b"time,a [A]\n" + b"".join(b"2026-03-01T08:15:0%dZ,%d\n" % (n, n) for n in range(5)),
    r"regex:(?P<name>a) (?P<value>\d) (?P<unit>A)": b"a 0 A\na 1 A; a 2 A\na 3 A\na 4 A\n",
}
"""The same five measurements in each form."""


@given(
    st.sampled_from(sorted(STREAMS)),
    st.lists(st.integers(1, 60), max_size=80),
    st.one_of(st.just([1] * 400), st.just([100_000])),
    st.binary(max_size=60).filter(lambda junk: junk not in (b"", b"\n")),
    st.binary(max_size=60),
    st.integers(0, 3) | st.just(100),
)
def test_cut_anywhere_with_junk_before_and_behind_and_an_endless_line_between(
    text: str, cuts: list[int], rest: list[int], before: bytes, behind: bytes, endless_at: int
) -> None:
    """Whole, byte by byte and in any pieces: the good lines give what they hold, no more."""
    profile, assembler = make_profile(text), LineAssembler(200)
    lines = STREAMS[text].splitlines(keepends=True)
    lines.insert(1 + endless_at, b"x" * 5000 + b"\n")  # a header keeps its place before the rows
    data = before + b"\n" + b"".join(lines) + behind
    found, place = [], 0
    for size in [*cuts, *rest]:
        for line in assembler.feed(data[place : place + size]):
            found += [m.value for pack in profile.decode(line) for m in pack.measurements]
        assert assembler.held_bytes <= 200
        place += size
    for line in assembler.feed(data[place:]):
        found += [m.value for pack in profile.decode(line) for m in pack.measurements]
    assert assembler.counts.too_long == 1
    assert found == [0, 1, 2, 3, 4]


PROFILES = ["senml", "name=value", "csv", "csv:a [A],b_c", r"regex:(?P<name>\w+) (?P<value>\S+)"]


@given(st.sampled_from(PROFILES), st.lists(st.binary(max_size=80), max_size=5))
def test_no_bytes_ever_raise(text: str, lines: list[bytes]) -> None:
    profile = make_profile(text)
    for line in lines:
        profile.decode(line)


@given(st.sampled_from(PROFILES), st.lists(st.text("a1=.,;[]() AC\t\"'-+e_", max_size=40)))
def test_no_likely_text_ever_raises(text: str, lines: list[str]) -> None:
    profile = make_profile(text)
    for line in lines:
        profile.decode(line.encode())
