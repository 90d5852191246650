"""The shop's own rules for packs. The standard's are in tests/reference/test_senml_rfc8428.py."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.units import WIRE_UNITS, to_inside
from service.wire.pack import RejectCause
from service.wire.resolve import MAX_PACK_BYTES
from service.wire.senml import Value, decode_line, decode_pack, encode_pack

GOOD = b'[{"n":"a","u":"Cel","v":1},{"n":"b","vb":true}]'
NAMES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9\-:./_]{0,20}", fullmatch=True)
NUMBERS = st.floats(-1e9, 1e9)


def causes(data: bytes) -> list[RejectCause]:
    return [each.cause for each in decode_pack(data).rejects]


@given(st.binary(max_size=400))
def test_no_bytes_ever_raise(data: bytes) -> None:
    pack = decode_pack(data)
    assert pack.measurements or pack.rejects
    decode_line(data)


_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=12,
)
_LABELS = [
    "bn",
    "bt",
    "bu",
    "bv",
    "bs",
    "bver",
    "n",
    "u",
    "v",
    "vs",
    "vb",
    "vd",
    "s",
    "t",
    "ut",
    "boot",
    "seq",
    "x_",
    "bx_",
    "x",
]


@given(st.lists(st.dictionaries(st.sampled_from(_LABELS), _json, max_size=6) | _json, max_size=6))
def test_no_json_ever_raises_and_every_measurement_is_sound(records: list[object]) -> None:
    pack = decode_pack(json.dumps(records).encode())
    for each in pack.measurements:
        assert each.value is None or math.isfinite(each.value)
        assert (each.value is None) == (each.reason is not None)
        assert each.name
        assert each.time_us is None or each.offset_us == 0


@given(st.integers(0, 60), st.integers(0, 255))
def test_one_flipped_byte_never_raises(place: int, value: int) -> None:
    data = bytearray(GOOD)
    data[place % len(data)] = value
    decode_pack(bytes(data))
    assert decode_line(bytes(data))


@given(
    st.lists(st.tuples(NAMES, st.sampled_from(sorted(WIRE_UNITS)), NUMBERS), min_size=1),
    st.integers(0, 2**63 - 1),
)
def test_what_is_encoded_is_decoded(values: list[tuple[str, str, float]], seq: int) -> None:
    data = encode_pack(
        [Value(name, value, unit) for name, unit, value in values],
        base_name="node1:",
        base_time_s=1_760_000_000.25,
        boot="f3a9",
        seq=seq,
    )
    pack = decode_pack(data)
    assert not pack.rejects
    assert (pack.boot, pack.seq) == ("f3a9", seq)
    for (name, unit, value), found in zip(values, pack.measurements, strict=True):
        assert found.name == f"node1:{name}"
        assert found.value == pytest.approx(to_inside(value, unit)[0])
        assert found.time_us == 1_760_000_000_250_000


def test_encoding_switches_faults_and_times() -> None:
    data = encode_pack(
        [Value("arc", True), Value("port2", "open-circuit", "Cel", time_s=-1.5), Value("", 1, "A")],
        base_name="n",
    )
    arc, port, bare = decode_pack(data).measurements
    assert (arc.unit, arc.value) == ("on/off", 1.0)
    assert (port.unit, port.value, port.reason) == ("Cel", None, "open-circuit")
    assert port.offset_us == -1_500_000
    assert bare.name == "n"


def test_encoding_refuses_what_json_cannot_say() -> None:
    with pytest.raises(ValueError, match="at least one"):
        encode_pack([])
    with pytest.raises(ValueError, match="not JSON compliant"):
        encode_pack([Value("a", math.nan, "Cel")])


@pytest.mark.parametrize(
    ("sent", "unit", "inside", "value"),
    [  # by the definitions of the units
        (373.15, "K", "Cel", 100.0),
        (0.0002, "m3/s", "l/min", 12.0),
        (0.2, "l/s", "l/min", 12.0),
        (0.005, "%", "ppm", 50.0),
        (0.00005, "/", "ppm", 50.0),
        (50, "ppm", "ppm", 50.0),
        (0.010153, "V", "mV", 10.153),
        (101_325, "Pa", "Pa", 101_325.0),
    ],
)
def test_units_become_the_shops(sent: float, unit: str, inside: str, value: float) -> None:
    found = decode_pack(json.dumps([{"n": "a", "u": unit, "v": sent}]).encode()).measurements[0]
    assert found.unit == inside
    assert found.value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("record", "cause", "says"),
    [
        ('{"n":"a","v":1}', RejectCause.UNIT, "no unit"),
        ('{"n":"a","u":"degF","v":1}', RejectCause.UNIT, "'degF' is not one of Cel, K"),
        ('{"n":"a","u":"Cel","v":"1"}', RejectCause.LABEL, "v '1' is not a number"),
        ('{"n":"a","u":"Cel","v":true}', RejectCause.LABEL, "v True is not a number"),
        ('{"n":"a","vb":1}', RejectCause.LABEL, "vb 1 is not a true or false"),
        ('{"n":"a","vs":1}', RejectCause.LABEL, "vs 1 is not a text"),
        ('{"n":1,"u":"Cel","v":1}', RejectCause.LABEL, "n 1 is not a text"),
        ('{"n":"a","u":"Cel","v":1,"v":2}', RejectCause.LABEL, "'v' stands twice"),
        ('{"n":"a","u":"Cel","v":1,"t":1e20}', RejectCause.TIME, "time 1e+20"),
        ('{"n":"a","u":"Cel","v":1,"t":NaN}', RejectCause.TIME, "time nan"),
        ('{"n":"a","u":"Cel","v":1,"t":-1e10}', RejectCause.TIME, "time -1"),
        ('{"n":"' + "a" * 121 + '","u":"Cel","v":1}', RejectCause.LENGTH, "121 characters"),
        ("7", RejectCause.SYNTAX, "7 is not an object"),
    ],
)
def test_a_bad_record_is_refused_alone_and_in_words(
    record: str, cause: RejectCause, says: str
) -> None:
    pack = decode_pack(f'[{{"n":"x","u":"A","v":1}},{record},{{"n":"y","u":"A","v":2}}]'.encode())
    assert [each.name for each in pack.measurements] == ["x", "y"]
    assert [each.cause for each in pack.rejects] == [cause]
    assert says in pack.rejects[0].text


@pytest.mark.parametrize(
    ("number", "reason"),
    [
        ("NaN", "not-a-number"),
        ("Infinity", "out-of-range"),
        ("-Infinity", "out-of-range"),
        ("1e999", "out-of-range"),
        ("9" * 400, "out-of-range"),
        ("-" + "9" * 400, "out-of-range"),
        ("1e305", "out-of-range"),  # finite in m3/s, not in l/min
    ],
)
def test_a_number_that_is_none_makes_a_bad_reading_and_is_counted(number: str, reason: str) -> None:
    pack = decode_pack(f'[{{"n":"a","u":"m3/s","v":{number}}}]'.encode())
    assert [(each.value, each.reason) for each in pack.measurements] == [(None, reason)]
    assert [each.cause for each in pack.rejects] == [RejectCause.RANGE]


@pytest.mark.parametrize(
    ("label", "bad", "good", "cause"),
    [
        ("bn", "5", '"c:"', RejectCause.LABEL),
        ("bt", '"now"', "0", RejectCause.LABEL),
        ("bt", "1e999", "0", RejectCause.TIME),
        ("bu", "5", '"A"', RejectCause.LABEL),
        ("bv", "NaN", "0", RejectCause.RANGE),
    ],
)
def test_a_broken_base_field_spoils_what_depends_on_it_until_it_is_set_anew(
    label: str, bad: str, good: str, cause: RejectCause
) -> None:
    text = f"""[{{"n":"a","u":"A","v":1}},{{"{label}":{bad},"n":"b","u":"A","v":2}},
      {{"n":"c","u":"A","v":3}},{{"{label}":{good},"n":"d","u":"A","v":4}}]"""
    pack = decode_pack(text.encode())
    assert [each.value for each in pack.measurements] == [1, 4]
    assert [each.cause for each in pack.rejects] == [cause, cause]


def test_a_base_field_given_twice_spoils_too() -> None:
    text = '[{"bn":"a","bn":"b","u":"A","v":1},{"n":"c","u":"A","v":2}]'
    assert causes(text.encode()) == [RejectCause.LABEL] * 2


def test_a_fault_keeps_its_unit_if_it_has_a_known_one() -> None:
    text = '[{"n":"a","u":"Cel","vs":"open-circuit"},{"n":"b","u":"degF","vs":"x"}]'
    first, second = decode_pack(text.encode()).measurements
    assert (first.unit, first.reason) == ("Cel", "open-circuit")
    assert (second.unit, second.reason) == (None, "x")


def test_a_fault_text_is_fit_to_be_shown_and_stored() -> None:
    text = json.dumps([{"n": "a", "vs": "x\n\0\ud800" + "y" * 200}, {"n": "b", "vs": " "}])
    first, second = decode_pack(text.encode()).measurements
    assert first.reason is not None
    assert first.reason.isprintable()
    assert len(first.reason) <= 120
    first.reason.encode()
    assert second.reason == "fault without a text"


@pytest.mark.parametrize(
    ("marks", "boot", "seq", "rejects"),
    [
        ('"boot":"a","seq":0', "a", 0, 0),
        ('"boot":"","seq":-1', None, None, 2),
        ('"boot":5,"seq":"1"', None, None, 2),
        ('"boot":"\\u0000","seq":true', None, None, 2),
        ('"seq":9223372036854775808', None, None, 1),
    ],
)
def test_the_senders_marks(marks: str, boot: str | None, seq: int | None, rejects: int) -> None:
    pack = decode_pack(f'[{{{marks},"n":"a","u":"A","v":1}}]'.encode())
    assert (pack.boot, pack.seq) == (boot, seq)
    assert [each.cause for each in pack.rejects] == [RejectCause.LABEL] * rejects
    assert len(pack.measurements) == 1


def test_marks_behind_the_first_record_are_any_extension() -> None:
    text = '[{"n":"a","u":"A","v":1},{"boot":7,"seq":"x","n":"b","u":"A","v":1}]'
    pack = decode_pack(text.encode())
    assert (pack.boot, pack.seq, pack.rejects) == (None, None, [])


def test_too_long_and_too_deep() -> None:
    assert causes(b" " * (MAX_PACK_BYTES + 1)) == [RejectCause.LENGTH]
    assert causes(b"[" * 200_000) == [RejectCause.SYNTAX]
    assert causes(b'[{"a":' * 30_000) == [RejectCause.SYNTAX]


@given(st.binary(max_size=60), st.binary(max_size=60))
def test_a_pack_with_junk_around_it_on_its_line_is_found(before: bytes, behind: bytes) -> None:
    """Only another pack's beginning in the junk could hide it, so there is none in this junk."""
    before, behind = before.replace(b"[", b"("), behind.replace(b"[", b"(")
    packs = decode_line(before + GOOD + behind)
    assert [each.name for pack in packs for each in pack.measurements] == ["a", "b"]
    clean = not (before + behind).strip(b" \t\r\n")
    assert bool(packs[0].rejects) is not clean


@given(st.integers(1, len(GOOD) - 1))
def test_a_half_pack_before_a_whole_one_on_its_line(cut: int) -> None:
    """A board that is reset never ends its line, and the next one is glued to it."""
    packs = decode_line(GOOD[:cut] + GOOD)
    assert [each.name for pack in packs for each in pack.measurements][-2:] == ["a", "b"]
    assert [each.cause for each in packs[0].rejects] == [RejectCause.SYNTAX]


def test_packs_glued_together_are_all_taken() -> None:
    assert len(decode_line(GOOD + GOOD + b" " + GOOD)) == 3


def test_a_line_of_junk_is_one_refusal() -> None:
    (pack,) = decode_line(b"\xff\x00 hello")
    assert [each.cause for each in pack.rejects] == [RejectCause.SYNTAX]


def test_an_update_time_goes_with_its_record_only() -> None:
    """RFC 8428, section 4.2: ``ut`` has no base field."""
    pack = decode_pack(
        b'[{"n":"a","u":"Cel","v":1,"ut":2.5},{"n":"b","u":"Cel","v":1},'
        b'{"n":"c","u":"Cel","vs":"open-circuit","ut":0}]'
    )
    assert [each.update_us for each in pack.measurements] == [2_500_000, None, 0]


@pytest.mark.parametrize("update_s", ["-1", "NaN", "Infinity", "1e12"])
def test_an_impossible_update_time_costs_no_reading(update_s: str) -> None:
    pack = decode_pack(b'[{"n":"a","u":"Cel","v":20,"ut":%s}]' % update_s.encode())
    assert [(each.value, each.update_us) for each in pack.measurements] == [(20.0, None)]
    assert [reject.cause for reject in pack.rejects] == [RejectCause.RANGE]
    assert "ut " in pack.rejects[0].text
